from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.errors import SourcePlace
from tunebook.model.tune import Bar, ChordSymbol, Key, Meter, Note, Pitch, Tune
from tunebook.solve.transpose import transpose_tune

PLACE = SourcePlace("a.abc", 1, 1)
D_MAJOR = Key(1, 0, "ionian", 2, (1, 0, 0, 1, 0, 0, 0))


def tune_of(*pitches: Pitch, key: Key = D_MAJOR) -> Tune:
    quarter = Fraction(1, 4)
    chord = ChordSymbol(PLACE, "A7/C#", 5, 0, "major", "7", (0, 1))
    notes = tuple(
        Note(PLACE, (pitch,), at * quarter, quarter, quarter, chord=chord if at == 0 else None)
        for at, pitch in enumerate(pitches)
    )
    bar = Bar(PLACE, 0, 1, notes, Fraction(0), len(notes) * quarter, Meter(), key)
    return Tune(PLACE, "1", ("T",), "", "", "", key, Meter(), quarter, None, (bar,), (0,))


def names(tune: Tune) -> list[str]:
    return [note.pitches[0].name for note in tune.bars[0].notes]


def test_d_major_up_a_fourth_is_g_major() -> None:
    moved = transpose_tune(tune_of(Pitch(4, 1), Pitch(4, 3, 1), Pitch(5, 0, 1)), 5)
    assert names(moved) == ["G4", "B4", "F#5"]
    assert (moved.key.tonic_name, moved.key.fifths) == ("G", 1)
    assert moved.key.alters == (0, 0, 0, 1, 0, 0, 0)


def test_d_major_down_a_tone_is_c_major_and_chords_follow() -> None:
    moved = transpose_tune(tune_of(Pitch(5, 0, 1)), -2)
    assert names(moved) == ["B4"]
    assert moved.bars[0].notes[0].chord.symbol == "G7/B"


def test_up_a_semitone_takes_the_signature_with_fewer_accidentals() -> None:
    moved = transpose_tune(tune_of(Pitch(4, 1), Pitch(4, 3, 1)), 1)
    assert (moved.key.tonic_name, moved.key.fifths) == ("Eb", -3)
    assert names(moved) == ["Eb4", "G4"]


def test_b_sharp_keeps_its_sounding_octave() -> None:
    moved = transpose_tune(tune_of(Pitch(4, 5, 1), key=Key(2, 0, "ionian", 4)), 2)
    assert moved.bars[0].notes[0].pitches[0].midi == Pitch(4, 5, 1).midi + 2


@given(
    st.integers(-12, 12),
    st.builds(Pitch, st.integers(2, 6), st.integers(0, 6), st.integers(-2, 2)),
    st.integers(-6, 6),
)
def test_every_pitch_moves_by_exactly_the_semitones(
    semitones: int, pitch: Pitch, fifths: int
) -> None:
    key = Key(0, 0, "ionian", fifths)
    moved = transpose_tune(tune_of(pitch, key=key), semitones).bars[0].notes[0].pitches[0]
    assert moved.midi == pitch.midi + semitones
    assert abs(moved.alter) <= 2


@pytest.mark.parametrize("semitones", [-7, -1, 3, 12])
def test_there_and_back_is_the_same_tune(semitones: int) -> None:
    tune = tune_of(Pitch(4, 1), Pitch(4, 3, 1), Pitch(4, 6, -1))
    back = transpose_tune(transpose_tune(tune, semitones), -semitones)
    assert names(back) == names(tune)
    assert back.key == tune.key
