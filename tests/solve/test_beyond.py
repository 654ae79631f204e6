from __future__ import annotations

from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.second_opinion.pricing import verify_arrangement

FIRST = Limits(highest_position=0, allows_shifts=False, allows_crossed_stops=False)
TUNE = read_abc("X:1\nT:T\nM:4/4\nL:1/8\nQ:1/4=100\nK:D\nABcd e2A2|efga b2a2|ABcd e2A2|d8|]\n")[0]
HARPA, HAND = read_instrument("nyckelharpa-3row"), read_hand(HandChoice())


def fingers(limits: Limits, bar: int) -> list[int]:
    answer = arrange(TUNE, HARPA, HAND, limits, drones="none", chords="none")
    return [one.stops[0].finger for one in answer.notes if one.bar_index == bar]


def test_a_bar_beyond_the_limits_is_fingered_as_without_them() -> None:
    assert fingers(FIRST, 1) == fingers(Limits(), 1)


def test_bars_within_the_limits_keep_them() -> None:
    assert fingers(FIRST, 0) == [0, 1, 2, 3, 4, 0]


def test_only_bars_that_need_it_are_marked_and_the_price_is_right() -> None:
    answer = arrange(TUNE, HARPA, HAND, FIRST, drones="none", chords="none")
    assert 1 in {one.bar_index for one in answer.notes if one.beyond_limits}
    assert 0 not in {one.bar_index for one in answer.notes if one.beyond_limits}
    assert verify_arrangement(answer) == ()
    assert all(not any(one.note.finger_pins) for one in answer.notes)
