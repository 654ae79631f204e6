"""Keys, metres, tempi and places in words."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from books import D_DORIAN, arrangement, harpa

from tunebook.book.fonts.symbols import DOT, HALF
from tunebook.book.musical_text import (
    chord_text,
    further_voices,
    info_line,
    key_name,
    local_names,
    meter_name,
    pitch_name,
    source_line,
    stop_text,
    string_name,
    tempo_text,
    tuning_text,
    voices_note,
    with_signs,
    written_in,
)
from tunebook.model.arrangement import Stop, VoiceArrangement
from tunebook.model.tune import Key, Meter, Moved, Tempo, Voice
from tunebook.model.words import fixed_words

ENGLISH, SWEDISH = fixed_words("en"), fixed_words("sv")


@pytest.mark.parametrize(
    ("key", "english", "swedish"),
    [
        (Key(1, 0, "ionian", 2), "D major", "D-dur"),
        (Key(5, 0, "aeolian", 0), "A minor", "a-moll"),
        (D_DORIAN, "D dorian", "d-dorisk"),
        (Key(6, -1, "ionian", -2), "B♭ major", "B-dur"),
        (Key(6, 0, "aeolian", 2), "B minor", "h-moll"),
        (Key(3, 1, "aeolian", 3), "F♯ minor", "fiss-moll"),
        (Key(2, -1, "ionian", -3), "E♭ major", "Ess-dur"),
        (Key(0, 0, "none"), "", ""),
    ],
)
def test_keys_in_words(key: Key, english: str, swedish: str) -> None:
    assert key_name(key, ENGLISH) == english
    assert key_name(key, SWEDISH) == swedish


@pytest.mark.parametrize(
    ("symbol", "shown"),
    [("Bb", "B♭"), ("F#m", "F♯m"), ("D/F#", "D/F♯"), ("Bbm7", "B♭m7"), ("Gdim", "Gdim")],
)
def test_accidentals_become_signs(symbol: str, shown: str) -> None:
    assert with_signs(symbol) == shown


def test_metres_are_figures() -> None:
    assert meter_name(Meter(4, 4, "C")) == "4/4"
    assert meter_name(Meter(2, 2, "C|")) == "2/2"
    assert meter_name(Meter(7, 8, "2+2+3/8", (2, 2, 3))) == "2+2+3/8"
    assert meter_name(Meter(0, 4, "none")) == ""


def test_a_default_tempo_stands_in_brackets() -> None:
    tune = arrangement("Polska")
    assert tempo_text(tune) == "♩ = 104"
    assert tempo_text(replace(tune, tempo_is_default=True)) == "(♩ = 104)"


def test_the_tempo_counts_the_beat_of_the_tune() -> None:
    tune = arrangement("Polska")
    halves = replace(tune.tune, tempo=Tempo(Fraction(1, 2), 60.0))
    assert tempo_text(replace(tune, tune=halves, whole_notes_per_second=0.5)) == f"{HALF} = 60"
    jig = replace(tune.tune, meter=Meter(6, 8, "6/8"), tempo=None)
    assert tempo_text(replace(tune, tune=jig, whole_notes_per_second=0.75)) == f"♩{DOT} = 120"


def test_words_of_the_tempo_are_kept() -> None:
    tune = arrangement("Polska")
    with_text = replace(tune.tune, tempo=Tempo(Fraction(1, 4), 104.0, "Lugnt"))
    assert tempo_text(replace(tune, tune=with_text)) == "Lugnt ♩ = 104"


def test_the_line_of_facts_leaves_out_what_is_not_known() -> None:
    tune = arrangement("Låt", key=Key(0, 0, "none"), rhythm="")
    assert info_line(tune, ENGLISH) == "3/4 · ♩ = 104"


def test_the_source_names_composer_and_place_once() -> None:
    tune = arrangement("Låt").tune
    assert source_line(tune) == "trad., Lerhult"
    assert source_line(replace(tune, origin="trad.")) == "trad."
    assert source_line(replace(tune, composer="", origin="")) == ""


def test_stops_in_words() -> None:
    assert stop_text(Stop(62, 3, 0, 0), harpa(), ENGLISH) == "open D"
    assert stop_text(Stop(71, 4, 2, 1), harpa(), SWEDISH) == "H4 (A-strängen, nyckel 2)"


def test_pitches_and_tunings() -> None:
    assert pitch_name(60, ENGLISH) == "C4"
    assert pitch_name(70, ENGLISH) == "B♭4"
    assert tuning_text(harpa(), SWEDISH) == "C G D A"


@pytest.mark.parametrize(
    ("name", "english", "swedish"),
    [
        ("B4", "B4", "H4"),
        ("Bb3", "B♭3", "B3"),
        ("A#3", "A♯3", "A♯3"),
        ("CGDA", "CGDA", "CGDA"),
        ("BbFBF#", "B♭FBF♯", "BFHF♯"),
        ("Kvällsstämning", "Kvällsstämning", "Kvällsstämning"),
    ],
)
def test_b_natural_and_b_flat_have_the_names_of_the_language(
    name: str, english: str, swedish: str
) -> None:
    # H and B: common practice in Swedish, no source.
    assert local_names(name, ENGLISH) == english
    assert local_names(name, SWEDISH) == swedish
    assert local_names(name, fixed_words("sv", note_names="b")) == english
    assert local_names(name, fixed_words("en", note_names="h")) == swedish


@pytest.mark.parametrize(
    ("symbol", "swedish"),
    [("Bm", "Hm"), ("Bb7", "B7"), ("Bbm7/D", "Bm7/D"), ("G/B", "G/H"), ("Ebmaj7/Bb", "E♭maj7/B")],
)
def test_chord_symbols_follow_the_names_of_notes(symbol: str, swedish: str) -> None:
    assert chord_text(symbol, SWEDISH) == swedish
    assert chord_text(symbol, ENGLISH) == with_signs(symbol)


def test_a_low_string_is_called_so_in_both_languages() -> None:
    low = replace(harpa().string(1), name="low B")
    assert string_name(low, ENGLISH) == "low B"
    assert string_name(low, SWEDISH) == "låga H"


def test_a_fingerboard_has_no_keys_in_either_language() -> None:
    fiddle = replace(harpa(), kind="fingerboard")
    for language, keyed in (("en", ("key", "row")), ("sv", ("nyck", "rad", "knaver"))):
        words = fixed_words(language, "fingerboard")
        assert stop_text(Stop(71, 4, 2, 1), fiddle, words).endswith("1)")
        said = [*words.legend.values(), *words.techniques.values(), *words.reason_jumps]
        said += [words.first_position_text, words.key_counts, words.no_keys, words.one_key]
        said += [words.key_place, words.reason_highest, words.reason_barre]
        said += words.foot.values()
        said += [words.fingerboard_text, words.report.tune_text]
        for text in said:
            assert not re.search(rf"\b({'|'.join(keyed)})", text, re.I), text


@pytest.mark.parametrize(
    ("moved", "english", "swedish"),
    [
        (Moved(5, Key(1, 0, "ionian", 2)), "written in D", "noterad i D"),
        (Moved(-2, Key(6, -1, "ionian", -2)), "written in B♭", "noterad i B"),
        (Moved(2, Key(6, 0, "aeolian", 2)), "written in B", "noterad i h"),
        (Moved(-12, D_DORIAN), "written an octave higher", "noterad en oktav högre"),
        (Moved(24, D_DORIAN), "written two octaves lower", "noterad två oktaver lägre"),
    ],
)
def test_a_transposed_tune_says_where_it_is_written(
    moved: Moved, english: str, swedish: str
) -> None:
    one = arrangement("Vals", moved=moved)
    assert written_in(one.tune, ENGLISH) == english
    assert written_in(one.tune, SWEDISH) == swedish
    assert f", {english} · " in info_line(one, ENGLISH)
    assert written_in(arrangement("Vals").tune, ENGLISH) == ""


def test_voices_are_named_by_what_plays_them_where_it_is_another_instrument() -> None:
    alone = arrangement("Vals")
    assert further_voices(alone.tune, ENGLISH) == ""
    assert voices_note(alone, "second", SWEDISH) == "melodi"
    fiddle = replace(harpa(), title="Fiddle", kind="fingerboard", tuning_name="GDAE")
    voices = tuple(
        VoiceArrangement(Voice(place=alone.tune.place, id=str(number), bars=alone.tune.bars), one)
        for number, one in ((2, alone), (3, replace(alone, instrument=fiddle)))
    )

    def together(*chosen: VoiceArrangement):
        tune = replace(alone.tune, voices=tuple(one.voice for one in chosen))
        return replace(alone, tune=tune, voices=chosen)

    for words, one, two in ((ENGLISH, "second voice", "further voices"),
                            (SWEDISH, "stämma", "flera stämmor")):  # fmt: skip
        assert further_voices(together(voices[0]).tune, words) == one
        assert further_voices(together(*voices).tune, words) == two
        assert voices_note(together(voices[0]), "both", words) == one
        assert voices_note(together(voices[0]), "second", words) == one
        assert voices_note(together(*voices), "melody", words) == ""
        assert voices_note(together(voices[0], voices[0]), "both", words) == two
    assert voices_note(together(voices[1]), "both", SWEDISH) == "stämma: fiol (GDAE)"
    assert voices_note(together(*voices), "both", ENGLISH) == "voice 3: fiddle (GDAE)"
