"""Staves for those who accompany: slashes by beat, the melody's first bars, a clef by choice."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tunebook.model.book import Edition
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.read.settings.tunes_file import read_settings
from tunebook.solve.arrange import arrange
from tunebook.solve.shapes.accompaniment import pattern_for
from tunebook.write.lilypond.bars import print_bars
from tunebook.write.lilypond.slashes import beat_of, slashed
from tunebook.write.lilypond.source import write_source

HARPA, HAND = read_instrument("nyckelharpa-3row"), read_hand()
ACCOMPANIST = {one.name: one for one in read_settings(None)[0].editions}["accompanist"]


def tune_of(meter: str, music: str, rhythm: str = "") -> str:
    return f"X:1\nT:Steg\nR:{rhythm}\nM:{meter}\nL:1/8\nK:D\n{music}\n"


def source(text: str, edition: Edition = ACCOMPANIST) -> str:
    arranged = arrange(read_abc(text)[0], HARPA, HAND, chords="all", accompaniment=True)
    return write_source(arranged, edition, line_width_pt=499.0).score.text()


def staff(text: str, name: str) -> str:
    """The text of one staff."""
    start = text.index(f'"{name}"')
    following = re.search(r"\n    \\context", text[start:])
    return text[start : start + following.start() if following else len(text)]


# Beats of a whole bar as dancers count them: common practice, no source.
@pytest.mark.parametrize(
    ("meter", "bar", "beats"),
    [
        ("3/4", "d2f2a2", 3), ("2/4", "d2f2", 2), ("4/4", "d2f2a2f2", 4), ("6/8", "dfadfa", 2),
        ("9/8", "dfadfadfa", 3), ("2/2", "d4f4", 2), ("3/8", "dfa", 3),
    ],
)  # fmt: skip
def test_there_is_a_slash_for_each_beat(meter: str, bar: str, beats: int) -> None:
    tune = read_abc(tune_of(meter, f'"D"{bar}|"A"{bar}|"D"{bar}|]'))[0]
    printed = slashed(print_bars(tune.bars))
    assert [len(one.bar.notes) for one in printed.bars] == [beats] * 3
    for one in printed.bars:
        assert sum(note.duration for note in one.bar.notes) == one.length
        # Strokes of the accompaniment fall on slashes or between two of them.
        beat = beat_of(one.bar)
        hits = pattern_for(tune.rhythm, one.bar.meter)
        assert hits and all((hit.at / beat).denominator <= 2 for hit in hits)


def test_signs_for_all_stand_with_their_slash_and_the_players_own_do_not() -> None:
    music = (
        '[P:A]A2|:!segno!"D"!upbow!d2 "^lugnt"!3!f2 !trill!.a2|[r:note vila]"G"!p!g3 !fermata!f e2'
        '|1 "D"d4 A2:|2 "D"d4 "^Fine"d2!coda!||[M:2/4]|:"A"!f!c2 !D.S.!e2|!D.C.!"D"d4|]'
    )
    slashes = staff(source(tune_of("3/4", music)), "MelodyStaff")
    for sign in ("scripts.segno", "\\fermata", "\\p", "\\f", "lugnt", "Fine", "scripts.coda",
                 "D.S.", "D.C.", "\\time 2/4", "\\partLabel"):  # fmt: skip
        assert sign in slashes, sign
    for own in ("upbow", "trill", "staccato", "vila"):
        assert own not in slashes, own
    printed = slashed(print_bars(read_abc(tune_of("3/4", music))[0].bars))
    first, second = printed.bars[1].bar.notes, printed.bars[2].bar.notes
    assert first[0].decorations == ("segno",) and second[1].decorations == ("fermata",)


@pytest.mark.parametrize("pickup", ["A2", "(3ABc", "{g}A2", "A/B/c"])
def test_signs_on_a_pickup_stand_without_a_slash(pickup: str) -> None:
    signs = '!segno!!mf!"^lugnt"!upbow!!trill!'
    music = f'{signs}{pickup}|"D"d2f2!fermata!a2|"A7"e6|"D"d6|]'
    slashes = staff(source(tune_of("3/4", music)), "MelodyStaff")
    first = slashes[: slashes.index("b'4")]
    for sign in ("scripts.segno", "\\mf", "lugnt"):
        assert sign in first and slashes.count(sign) == 1, sign
    assert "upbow" not in slashes and "trill" not in slashes
    assert slashes.count("b'4") == 9


def test_a_pickup_has_no_slash_and_a_short_last_bar_its_whole_beats() -> None:
    tune = read_abc(tune_of("3/4", 'A2|"D"d2f2a2|"A"e4|]'))[0]
    counts = [len(one.bar.notes) for one in slashed(print_bars(tune.bars)).bars]
    assert counts == [0, 3, 2]
    odd = read_abc(tune_of("3/4", '"D"d2f2a2|"A"e3|]'))[0]
    assert [len(one.bar.notes) for one in slashed(print_bars(odd.bars)).bars] == [3, 1]
    free = read_abc("X:1\nT:t\nM:none\nL:1/4\nK:D\nd f a d'|]\n")[0]
    assert beat_of(free.bars[0]) == Fraction(1, 4)


def test_the_melody_is_a_cue_of_two_bars_and_its_upbeat() -> None:
    text = source(tune_of("3/4", 'A2|"D"d2f2a2|"G"g4b2|"A7"a2g2e2|"D"d6|]'))
    cue = staff(text, "Cue")
    assert cue.count("\\startStaff") == 3
    assert [name in cue for name in ("fs''", "b''")] == [True, True]
    assert "e''" not in cue, "the third bar is not shown"
    melody = staff(text, "MelodyStaff")
    assert "Pitch_squash_engraver" in melody and "\\improvisationOn" in melody
    assert melody.count("b'4") == 12 and "fs''" not in melody
    assert not re.search(r"b'4-\d", melody), "slashes have no fingers"
    assert re.search(r"-\d", staff(text, "SecondStaff")), "the accompaniment has"


def test_chords_stand_between_the_cue_and_the_slashes() -> None:
    text = source(tune_of("3/4", '"D"d2f2a2|"G"g4b2|"A7"a2g2e2|"D"d6|]'))
    places = [text.index(name) for name in ('"Cue"', "ChordNames", '"MelodyStaff"')]
    assert places == sorted(places)


def test_repeats_and_chords_stand_as_over_the_melody() -> None:
    music = '|:"D"d2f2a2|"G"g4b2|1"A7"a2g2e2:|2"D"d6|]'
    whole = replace(ACCOMPANIST, melody="whole")
    for sign in ("\\repeat", ".|:", ":|.", "noChordSymbol", '"1."'):
        text = tune_of("3/4", music)
        assert (sign in source(text)) == (sign in source(text, whole)), sign


@pytest.mark.parametrize("clef", ["treble", "alto", "bass"])
def test_all_staves_have_the_clef_that_is_chosen(clef: str) -> None:
    text = tune_of("3/4", '"D"d2f2a2|[K:clef=bass]"G"g4b2|"D"d6|]')
    for edition in (ACCOMPANIST, replace(ACCOMPANIST, melody="whole")):
        found = re.findall(r'\\clef "?([a-z]+)', source(text, replace(edition, clef=clef)))
        is_high = clef == "bass" and edition.melody == "cue"  # a cue has no use for ledger lines
        assert len(found) >= 2 and set(found) == ({clef, "treble"} if is_high else {clef})
        assert found.count("treble") == 1 or clef == "treble" or not is_high


def test_words_and_drones_are_left_to_those_who_play_the_melody() -> None:
    text = source(tune_of("3/4", '"D"d2f2a2|"D"d6|]\nw:lå la la lå'))
    assert "Lyrics" not in text and "Drone" not in text


def test_lines_have_room_for_what_is_played() -> None:
    """Two strokes a beat take more room than a slash."""

    def bars_per_line(rhythm: str) -> tuple[int, ...]:
        bar = '"D"d2f2|"A"e2c2|'
        tune = read_abc(tune_of("2/4", bar * 7 + '"D"d2f2|"D"d4|]', rhythm))[0]
        arranged = arrange(tune, HARPA, HAND, chords="all", accompaniment=True)
        return write_source(arranged, ACCOMPANIST, line_width_pt=350.0).bars_per_line

    calm, quick = bars_per_line("marsch"), bars_per_line("polkett")
    assert sum(calm) == sum(quick) == 16
    assert max(quick) < max(calm)
