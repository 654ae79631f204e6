"""The next best way through a bar, told by what it spares and what it asks."""

from __future__ import annotations

from tunebook.model.book import HandChoice
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.other_way import LITTLE_FINGER, other_way_through

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
