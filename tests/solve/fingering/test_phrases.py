"""The same phrase gets the same fingering, unless that costs more than is stated."""

from __future__ import annotations

from dataclasses import replace

from tune_maker import tune

from tunebook.read.abc.tune import read_abc
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


def test_of_two_forms_that_both_stand_once_the_one_that_all_can_have_is_taken() -> None:
    """The first form costs too much in the second place, the second little in the first."""
    music = (
        "X:1\nT:Twice\nM:3/4\nL:1/16\nK:D\n"
        "d2f2 a2gf e4|g2fe f2ed c2e2|d4 D4 D4|"
        "a3f d2f2 a4|b3g d2g2 b4|a3g e2g2 f2e2|f2ed A2d2 f4|"
        "a3f d2f2 a4|b3g d2g2 b4|g2fe c2e2 A2c2|d4 d8|]\n"
    )
    found = {}
    for amount in (0.0, KEYED.same_phrase):
        answer = choose_fingering(
            read_abc(music)[0], CGDA, HAND, whole_notes_per_second=0.433,
            weights=replace(KEYED, same_phrase=amount),
        )  # fmt: skip
        found[amount] = [
            [note.stops for note in answer.notes if note.bar_index == bar] for bar in (3, 7)
        ]
    free, alike = found.values()
    assert free[0] != free[1]
    assert alike[0] == alike[1] == free[1]
