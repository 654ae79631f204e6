"""The accompaniment: pattern by tune type, bass tones, pairs."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import FingeredNote
from tunebook.model.book import HandChoice
from tunebook.model.tune import ChordSymbol, Meter, Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.harmony.names import spell_tone
from tunebook.solve.shapes.accompaniment import accompany, pattern_for

PLACE = SourcePlace("trial.abc", 1)
WALTZ = 'X:1\nT:Trial\nR:waltz\nM:3/4\nL:1/8\nK:D\nA2|"D"d4 f2|"G"g4 b2|"A7"a4 e2|"D"d4|]\n'


def accompanied(text: str, tuning: str = "CGDA") -> tuple[Tune, tuple[FingeredNote, ...]]:
    tune = read_abc(text)[0]
    notes = accompany(
        tune, choose_chords(tune), read_instrument("nyckelharpa-3row", tuning),
        read_hand(HandChoice()), whole_notes_per_second=0.5,
    )  # fmt: skip
    return tune, notes


def starts(rhythm: str, meter: Meter) -> list[tuple[Fraction, bool]]:
    return [(hit.at, hit.is_low) for hit in pattern_for(rhythm, meter)]


def test_waltz_is_low_pair_pair() -> None:
    quarter = Fraction(1, 4)
    assert starts("waltz", Meter(3, 4)) == [(0 * quarter, True), (quarter, False),
                                            (2 * quarter, False)]  # fmt: skip


def test_polska_plays_one_and_three() -> None:
    assert starts("polska från byn", Meter(3, 4)) == [(Fraction(0), True), (Fraction(1, 2), False)]


@pytest.mark.parametrize("rhythm", ["schottis", "gånglåt", "reel", ""])
def test_four_beats_are_low_pair_low_pair(rhythm: str) -> None:
    assert [low for _, low in starts(rhythm, Meter(4, 4))] == [True, False, True, False]


def test_jig_counts_dotted_beats() -> None:
    assert starts("jig", Meter(6, 8)) == [(Fraction(0), True), (Fraction(3, 8), False)]


@pytest.mark.parametrize("beats, unit", [(2, 4), (3, 2), (9, 8), (12, 8), (5, 8), (7, 8), (2, 2)])
def test_pattern_stays_within_the_bar(beats: int, unit: int) -> None:
    meter = Meter(beats, unit)
    hits = pattern_for("", meter)
    assert hits and all(hit.at + hit.length <= meter.length for hit in hits)


def test_free_metre_has_no_pattern() -> None:
    assert pattern_for("", Meter(0, 4)) == ()


def test_bass_is_the_root_and_pairs_belong_to_the_chord() -> None:
    tune, notes = accompanied(WALTZ)
    roots = {1: 2, 2: 7, 3: 9, 4: 2}
    triads = {1: {2, 6, 9}, 2: {7, 11, 2}, 3: {9, 1, 4, 7}, 4: {2, 6, 9}}
    for fingered in notes:
        midis = [pitch.midi % 12 for pitch in fingered.note.pitches]
        if fingered.note.onset == tune.bars[fingered.bar_index].onset:
            assert midis == [roots[fingered.bar_index]]
        else:
            assert len(midis) == 2 and set(midis) <= triads[fingered.bar_index]


def test_pickup_is_silent_and_short_bar_is_cut() -> None:
    tune, notes = accompanied(WALTZ)
    assert min(note.bar_index for note in notes) == 1
    last = tune.bars[-1]
    assert all(n.note.onset + n.note.duration <= last.onset + last.duration for n in notes)


def test_notes_point_into_their_bars() -> None:
    tune, notes = accompanied(WALTZ)
    for bar in tune.bars:
        inside = [note for note in notes if note.bar_index == bar.index]
        assert [note.note_index for note in inside] == list(range(len(inside)))
        assert all(bar.onset <= note.note.onset < bar.onset + bar.duration for note in inside)


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_every_stop_sounds_its_pitch(tuning: str) -> None:
    instrument = read_instrument("nyckelharpa-3row", tuning)
    _, notes = accompanied(WALTZ, tuning)
    for fingered in notes:
        assert len(fingered.stops) == len(fingered.note.pitches)
        for stop, pitch in zip(fingered.stops, fingered.note.pitches, strict=True):
            assert instrument.string(stop.string_index).open_midi + stop.key == pitch.midi


def test_second_low_tone_of_a_chord_is_its_fifth() -> None:
    text = 'X:1\nT:Trial\nM:4/4\nL:1/8\nK:D\n"D"d4 f4|"G"g4 "A"a4|"D"d8|]\n'
    _, notes = accompanied(text)
    lows = [n.note.pitches[0].midi % 12 for n in notes if len(n.note.pitches) == 1]
    assert lows == [2, 9, 7, 9, 2, 9]


def test_tune_without_chords_has_no_accompaniment() -> None:
    tune = read_abc(WALTZ)[0]
    assert not accompany(
        tune, (), read_instrument("nyckelharpa-3row"), read_hand(HandChoice()),
        whole_notes_per_second=0.5,
    )  # fmt: skip


def test_tones_are_spelled_in_their_chord() -> None:
    e_major = ChordSymbol(PLACE, "E7", 2, 0, "major", "7")
    assert [spell_tone(m, e_major).name for m in (64, 68, 71, 74)] == ["E4", "G#4", "B4", "D5"]
    c_minor = ChordSymbol(PLACE, "Cm", 0, 0, "minor")
    assert [spell_tone(m, c_minor).name for m in (60, 63, 67)] == ["C4", "Eb4", "G4"]
    over_bass = ChordSymbol(PLACE, "D/C#", 1, 0, "major", "", (0, 1))
    assert spell_tone(61, over_bass).name == "C#4"
    assert all(spell_tone(midi, c_minor).midi == midi for midi in range(40, 90))


def test_one_accompanies_with_the_open_string_where_there_is_one() -> None:
    text = (
        'X:1\nT:T\nR:polska\nM:3/4\nL:1/4\nQ:1/4=110\nK:D\n"G"G B d|"D"A F D|"G"B G B|"D"F A F|]\n'
    )
    for tuning in ("CGDA", "CGCA"):
        _, notes = accompanied(text, tuning)
        opens = {one.open_midi for one in read_instrument("nyckelharpa-3row", tuning).strings}
        single = [one.stops[0] for one in notes if len(one.stops) == 1]
        assert any(stop.midi in opens for stop in single)
        assert all(stop.finger == 0 for stop in single if stop.midi in opens)
