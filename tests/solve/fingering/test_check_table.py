"""Fingerings that players agree on; each case names its source."""

from __future__ import annotations

from fractions import Fraction

import pytest
from tune_maker import line, tune

from tunebook.model.book import HandChoice
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import DroneDemand, Fingering, choose_fingering

SLOW, FAST = 0.1, 1.0
"""Whole notes a second: an eighth lasts 1.25 s and 0.125 s."""

HAND = read_hand()
OTHER_WAY = read_hand(HandChoice(higher_finger_on_higher_string=False))


def solve(names: str, tuning: str, speed: float, drone=None, hand=HAND, fields=None) -> Fingering:
    instrument = read_instrument("nyckelharpa-3row", tuning)
    bar = [
        (name, Fraction(1, 8), (fields or {}).get(i, {})) for i, name in enumerate(names.split())
    ]
    demands = ()
    if drone is not None:
        demands = (DroneDemand(Fraction(0), Fraction(len(bar), 8), *drone),)
    return choose_fingering(
        tune([bar]), instrument, hand, whole_notes_per_second=speed, drone=demands
    )


def fingers(fingering: Fingering) -> list[int]:
    return [stop.finger for note in fingering.notes for stop in note.stops]


def holders(fingering: Fingering) -> set[int]:
    return {span.stop.finger for span in fingering.drone}


def test_a_fifth_across_two_rows_is_crossed_when_fast() -> None:
    # Common practice, no source.
    found = solve("E4 B4", "CGDA", FAST)
    assert fingers(found) == [1, 2]
    assert "crossed" in found.notes[1].ways


def test_a_falling_fifth_across_two_rows_is_crossed_when_fast() -> None:
    assert fingers(solve("B4 E4", "CGDA", FAST)) == [2, 1]


def test_a_fifth_is_crossed_the_other_way_by_a_hand_that_prefers_it() -> None:
    assert fingers(solve("E4 B4", "CGDA", FAST, hand=OTHER_WAY)) == [2, 1]
    assert fingers(solve("B4 E4", "CGDA", FAST, hand=OTHER_WAY)) == [1, 2]


@pytest.mark.parametrize("hand", [HAND, OTHER_WAY])
def test_a_slow_fifth_is_a_row_jump(hand) -> None:
    # Our judgement: with time to lift, the same finger simply goes over.
    found = solve("E4 B4", "CGDA", SLOW, hand=hand)
    assert fingers(found) == [1, 1]
    assert found.notes[1].ways == ("row_jump",)


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_a_double_stop_at_the_same_key_takes_two_fingers(speed: float) -> None:
    # Common practice, no source.
    assert fingers(solve("A3+E4", "CGDA", speed)) == [1, 2]
    assert fingers(solve("A3+E4", "CGDA", speed, hand=OTHER_WAY)) == [2, 1]


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_index_holds_a3_under_a_scale_on_the_d_string(speed: float) -> None:
    # Common practice, no source.
    found = solve("D4 E4 F#4 G4 F#4 E4 D4", "CGDA", speed, drone=(2, 2))
    assert holders(found) == {1}
    assert fingers(found) == [0, 2, 3, 4, 3, 2, 0]


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_ring_finger_holds_c4_under_a_scale_on_the_d_string(speed: float) -> None:
    # Common practice, no source.
    found = solve("D4 E4 F#4 G4 F#4 E4 D4", "CGDA", speed, drone=(2, 5))
    assert holders(found) == {3}
    assert fingers(found) == [0, 1, 2, 4, 2, 1, 0]


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_index_holds_e4_under_a_scale_on_the_a_string(speed: float) -> None:
    # Common practice, no source.
    found = solve("B4 C#5 D5", "CGDA", speed, drone=(3, 2))
    assert holders(found) == {1}
    assert fingers(found) == [2, 3, 4]


@pytest.mark.parametrize("speed", [SLOW, FAST])
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("hand", [HAND, OTHER_WAY])
def test_first_position_on_the_a_string(speed: float, tuning: str, hand) -> None:
    # Common practice, no source.
    found = solve("A4 B4 C#5 D5 E5 D5 C#5 B4 A4", tuning, speed, hand=hand)
    assert fingers(found) == [0, 1, 2, 3, 4, 3, 2, 1, 0]


@pytest.mark.parametrize("speed", [SLOW, FAST])
@pytest.mark.parametrize("hand", [HAND, OTHER_WAY])
def test_octaves_lie_under_a_third_of_fingers(speed: float, hand) -> None:
    # American Nyckelharpa Association, "Spela bättre! 3".
    assert fingers(solve("D4+D5", "CGCA", speed, hand=hand)) == [1, 3]
    assert fingers(solve("E4+E5", "CGCA", speed, hand=hand)) in ([1, 3], [2, 4])


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_the_octave_above_open_c_takes_one_finger(speed: float) -> None:
    # American Nyckelharpa Association, "Spela bättre! 3".
    found = fingers(solve("C4+C5", "CGCA", speed))
    assert found[0] == 0 and found[1] > 0


@pytest.mark.parametrize("speed", [SLOW, FAST])
def test_a_scale_in_octaves_goes_with_fingers_2_and_4_when_pinned(speed: float) -> None:
    # American Nyckelharpa Association, "Spela bättre! 3": up to A10 with C7.
    names = "C4+C5 D4+D5 E4+E5 F4+F5 G4+G5"
    pins = {index: {"finger_pins": (2, 4)} for index in range(1, 5)}
    found = solve(names, "CGCA", speed, fields=pins)
    assert [[s.finger for s in note.stops] for note in found.notes[1:]] == [[2, 4]] * 4
    assert [[s.key for s in note.stops] for note in found.notes][-1] == [7, 10]
    assert not found.messages


def test_a_slow_line_and_a_fast_line_both_start_in_first_position() -> None:
    instrument = read_instrument("nyckelharpa-3row", "CGDA")
    for speed in (SLOW, FAST):
        found = choose_fingering(
            line("D4 E4 F#4 G4 A4 B4"), instrument, HAND, whole_notes_per_second=speed
        )
        assert fingers(found) == [0, 1, 2, 3, 0, 1]
