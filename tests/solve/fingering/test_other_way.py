"""The next best way through a bar, told by what it spares and what it asks."""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.arrangement import DroneDemand, DroneSpan
from tunebook.model.book import HandChoice
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.other_way import LITTLE_FINGER, other_way_through, sounds_under

TEXT = "X:1\nT:Trial\nM:4/4\nL:1/8\nQ:1/4=90\nK:D\nd2e2f2g2|a2f2d2A2|\n"
ANSWER = arrange(
    read_abc(TEXT)[0], read_instrument("nyckelharpa-3row", "CGDA"), read_hand(HandChoice())
)


def test_other_way_differs_in_the_bar_and_counts_what_both_do() -> None:
    found = other_way_through(ANSWER, 0)
    assert found is not None
    printed = {(one.bar_index, one.note_index): one.stops for one in ANSWER.notes}
    assert any(one.bar_index == 0 for one in found.notes)
    assert all(one.stops != printed[one.bar_index, one.note_index] for one in found.notes)
    counted = {name: (before, after) for name, before, after in found.counted}
    fours = sum(stop.finger == 4 for one in found.notes for stop in one.stops)
    assert counted[LITTLE_FINGER][1] >= fours


def test_bar_without_another_way_has_none() -> None:
    text = TEXT.replace("d2e2f2g2", "[d2A2][d2A2]z4").replace("[d2A2]", "!0!A4", 1)
    tune = read_abc(text.replace("[d2A2]", "z4"))[0]
    answer = arrange(tune, ANSWER.instrument, ANSWER.hand)
    assert other_way_through(answer, 0) is None


def test_a_way_that_leaves_the_drone_says_so() -> None:
    # The ring finger holds G on the D string, so that the little finger takes the D beside it.
    text = "X:1\nT:Held\nM:3/4\nL:1/8\nQ:1/4=126\nK:G\nB2A2G2|d3cB2|d3cB2|G6|]\n"
    tune = read_abc(text)[0]
    demand = DroneDemand(Fraction(3, 4), Fraction(3, 2), 3, 5)
    options = {"whole_notes_per_second": 126 / 240, "drone": [demand], "other_ways": 3}
    found = choose_fingering(tune, ANSWER.instrument, ANSWER.hand, bars=(1, 1), **options)
    stopped = [way for way in found.other_ways if _length(way.drone) < _length(found.drone)]
    assert stopped, "one of the ways spares the hand the drone"
    before = [one for one in found.notes if sounds_under(one, found.drone)]
    assert any(not sounds_under(one, stopped[0].drone) for one in before)


def _length(drone: tuple[DroneSpan, ...]) -> Fraction:
    return sum((span.duration for span in drone), Fraction(0))
