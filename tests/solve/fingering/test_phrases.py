"""The same phrase gets the same fingering, unless that costs more than is stated."""

from __future__ import annotations

from dataclasses import replace

from tune_maker import tune

from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.weights import KEYED

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand()
# The bar of E and B stands twice in the open, once after a bar that leaves the hand high.
TUNE = tune(
    [
        "D4 F#4 E4 B4", "D4 F#4 E4 B4", "A5 B5 A5 G5", "D4 F#4 E4 B4", "E5 G5 A5 B5",
    ]
)  # fmt: skip


def forms(amount: float) -> tuple[set[tuple[int, ...]], float]:
    found = choose_fingering(
        TUNE, CGDA, HAND, whole_notes_per_second=0.8,
        weights=replace(KEYED, same_phrase=amount, past_next=0.0),
    )  # fmt: skip
    bars: dict[int, list[int]] = {0: [], 1: [], 3: []}
    for note in found.notes:
        if note.bar_index in bars:
            bars[note.bar_index].append(10 * note.stops[0].string_index + note.stops[0].finger)
    return {tuple(bar) for bar in bars.values()}, found.consistency_cost


def test_like_bars_differ_where_the_context_pays_for_it() -> None:
    different, paid = forms(0.0)
    assert len(different) == 2
    assert paid == 0.0


def test_like_bars_are_made_alike_at_a_stated_price() -> None:
    alike, paid = forms(5.0)
    assert len(alike) == 1
    assert 0.0 < paid <= 5.0


def test_likeness_is_not_bought_above_the_price() -> None:
    _, needed = forms(5.0)
    different, paid = forms(needed * 0.9)
    assert len(different) == 2
    assert paid == 0.0
