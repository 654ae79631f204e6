from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.errors import SourcePlace
from tunebook.model.hand import Limits
from tunebook.model.tune import Bar, ChordSymbol, Key, Meter, Note, Pitch, Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.transpose import transpose_tune, without_pins

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


PINNED = (
    "X:1\nT:Pinned\nM:4/4\nL:1/4\nK:D\n"
    "[r:drone D4]!0!A [r:string D]B !2!c !3!d|[r:drone E4 finger 1]e f e c|"
    "[r:drone off]!0!A B A2|]\n"
)


def test_pins_that_can_be_kept_stay_when_a_tune_moves_and_the_others_are_said() -> None:
    harpa, hand = read_instrument("nyckelharpa-3row", "CGDA"), read_hand()
    moved = transpose_tune(read_abc(PINNED)[0], 2)
    answer = arrange(moved, harpa, hand, Limits())
    first, second, third, fourth = answer.notes[:4]
    assert harpa.string(second.stops[0].string_index).name == "D"
    assert (third.stops[0].finger, fourth.stops[0].finger) == (2, 3)
    assert first.stops[0].finger != 0
    asked = [(one.string_index, one.key, one.finger) for one in answer.drones_asked]
    assert asked == [(3, 2, None), (3, 4, 1)]
    assert [(span.stop.midi, span.onset) for span in answer.drone] == [(64, 0), (66, 1)]
    assert all(span.onset + span.duration <= 2 for span in answer.drone)
    assert [message.what for message in answer.messages] == [
        "bar 1, B4; bar 3, B4: finger 0 cannot be, no open string has this tone",
    ]


def test_drone_moves_along_and_says_what_of_its_pin_is_lost() -> None:
    harpa, hand = read_instrument("nyckelharpa-3row", "CGDA"), read_hand()
    text = PINNED.replace("[r:drone D4]", "[r:drone E4 finger 1 string D]")
    down = arrange(transpose_tune(read_abc(text)[0], -2), harpa, hand)
    assert {span.stop.midi for span in down.drone} == {62}
    (said,) = (one.what for one in down.messages if "an open string, it" in one.what)
    assert said.endswith(
        ": the drone E4, moved with the tune to D4 in this edition, is an open string, "
        "it cannot have finger 1"
    )
    far = arrange(transpose_tune(read_abc(text)[0], -3), harpa, hand)
    assert [(one.string_index, one.key) for one in far.drones_asked] == [(2, 6), (2, 6)]
    (said,) = (one.what for one in far.messages if "does not exist" in one.what)
    assert said.endswith(
        "E4, moved with the tune to C#4 in this edition, does not exist on string D"
    )


def test_silence_stays_silence_when_a_tune_moves() -> None:
    text = PINNED.replace("[r:drone D4]", "[r:drone off]").replace("[r:drone E4 finger 1]", "")
    for semitones in (-5, 3):
        moved = transpose_tune(read_abc(text)[0], semitones)
        assert arrange(moved, read_instrument("nyckelharpa-3row"), read_hand()).drone == ()


def test_tune_without_pins_has_none() -> None:
    free = without_pins(read_abc(PINNED)[0])
    notes = [note for bar in free.bars for note in bar.notes]
    assert not any(note.finger_pins or note.string_pin or note.drone_pin for note in notes)
    assert [note.pitches for note in notes] == [
        note.pitches for bar in read_abc(PINNED)[0].bars for note in bar.notes
    ]
