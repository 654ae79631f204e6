"""Costs of movements between holds, the hand's place apart, and the whole tables made of them.

A set has many more postures than holds (strings, keys and fingers), since most can be held from
several places of the hand. What the fingers and the bow pay depends on the holds and on how far
the hand goes in only a few steps: whether it stays, and whether it goes far enough to pass a finger
over another. So these costs are worked out once for each pair of holds and each such step, for
many pairs of sets at once, and laid out over the postures when a time is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from tunebook.solve.finger_moves import STILL_MM, FingerMoves, finger_moves
from tunebook.solve.movements import shift_cost, shift_limit
from tunebook.solve.postures import Array, PostureSet, Reach, grain
from tunebook.solve.views import Holds, Passage, holds_of, holds_view

MOST_KEPT = 500
"""Tables over the places of the hand that are kept of each kind."""


class Kind(NamedTuple):
    """What a link says besides its time, each as in Passage."""

    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: tuple[tuple[int, int], ...] = ()


class Grid(NamedTuple):
    """A set of postures as the tables need it: its holds, and for each posture its hold, the row
    of its hand's place when it is left (places, then places of a free hand) and when reached."""

    holds: Holds
    hold: Array
    left: Array
    reached: Array


class HoldMoves(NamedTuple):
    """Costs A + B / t between the holds of two sets. ``fixed`` has shape (steps of the hand's way,
    holds after, holds before); step s begins at a way of ``steps_mm[s - 1]``, the first at none.
    ``by_time`` has the shape (holds after, holds before)."""

    fixed: Array
    by_time: Array
    steps_mm: tuple[float, ...]


Ask = tuple[Grid, Grid, Kind]
"""Set before, set after, kind of link."""


def grid_of(postures: PostureSet, places: int) -> Grid:
    """The grid of ``postures`` on a hand with so many places."""
    place = postures.hand_key.astype(np.intp)
    is_open = (postures.finger == 0).all(axis=1)
    left = np.where(is_open, place + places, place)
    return Grid(holds_of(postures), postures.label, left, place * (2 * places))


def hold_moves(asked: Sequence[Ask], reach: Reach) -> list[HoldMoves]:
    """The costs for each of ``asked``, worked out together where slots are equally many."""
    alike: dict[tuple, list[int]] = {}
    for number, (before, after, kind) in enumerate(asked):
        shape = (before.holds.packed.shape[2], after.holds.packed.shape[2], kind.kept)
        alike.setdefault(shape, []).append(number)
    found: dict[int, HoldMoves] = {}
    for (_, _, kept), numbers in alike.items():
        made = _together([asked[number] for number in numbers], kept, reach)
        found.update(zip(numbers, made, strict=True))
    return [found[number] for number in range(len(asked))]


def _together(
    asked: Sequence[Ask], kept: tuple[tuple[int, int], ...], reach: Reach
) -> list[HoldMoves]:
    """Costs for sets with equally many slots and the same tones kept, all pairs in one row."""
    before, froms = _rows([(one[0].holds, len(one[1].holds)) for one in asked], is_inner=True)
    after, tos = _rows([(one[1].holds, len(one[0].holds)) for one in asked], is_inner=False)
    shapes = [(len(one[1].holds), len(one[0].holds)) for one in asked]
    sizes = [rows * columns for rows, columns in shapes]
    kinds = [kind for _, _, kind in asked]
    passage = Passage(
        is_slurred=np.repeat([kind.is_slurred for kind in kinds], sizes),
        is_freed=np.repeat([kind.is_freed for kind in kinds], sizes),
        is_held=np.repeat([kind.is_held for kind in kinds], sizes),
        kept=tuple((p, q, True) for p, q in kept),
    )
    moves = finger_moves(holds_view(before, froms), holds_view(after, tos), passage, reach)
    fixed, by_time = np.zeros(len(froms)), np.zeros(len(froms))
    for part, part_by_time in moves.steady.values():
        fixed += part
        by_time += part_by_time
    still = sum(moves.still.values(), np.zeros(len(froms)))
    ends = np.cumsum(sizes)
    return [
        _by_steps(moves, fixed[cut], by_time[cut], still[cut], cut, shape, reach)
        for cut, shape in (
            (slice(end - size, end), shape)
            for end, size, shape in zip(ends, sizes, shapes, strict=True)
        )
    ]


def _rows(sets: Sequence[tuple[Holds, int]], *, is_inner: bool) -> tuple[list[Holds], Array]:
    """All different holds in a row, and for each pair of holds the entry that belongs to it."""
    starts: dict[int, int] = {}
    distinct: list[Holds] = []
    total = 0
    index = []
    for holds, times in sets:
        if id(holds) not in starts:
            starts[id(holds)] = total
            distinct.append(holds)
            total += len(holds)
        entries = np.arange(starts[id(holds)], starts[id(holds)] + len(holds))
        index.append(np.tile(entries, times) if is_inner else np.repeat(entries, times))
    return distinct, np.concatenate(index)


def _by_steps(
    moves: FingerMoves,
    fixed: Array,
    by_time: Array,
    still: Array,
    cut: slice,
    shape: tuple[int, int],
    reach: Reach,
) -> HoldMoves:
    """One pair of sets cut out of the row, the steps of the hand's way told apart."""
    weights = reach.weights
    passing = [(where[cut], shift_mm[cut]) for where, shift_mm in moves.passing]
    passing = [(where, shift_mm) for where, shift_mm in passing if where.any()]
    steps = {STILL_MM} if still.any() else set()
    for where, shift_mm in passing:
        steps.update(shift_mm[where].tolist())
    steps_mm = tuple(sorted(steps - {0.0}))
    made = []
    for least_mm in (0.0, *steps_mm):
        costs = fixed + still if least_mm < STILL_MM else fixed
        for where, shift_mm in passing:
            cost = np.where(least_mm >= shift_mm, weights.passing, weights.passing_in_place)
            costs = costs + np.where(where, cost, 0.0)
        made.append(costs)
    return HoldMoves(np.array(made).reshape(-1, *shape), by_time.reshape(shape), steps_mm)


class HandWays:
    """Ways between all places of the hand: what they cost, and which step they belong to. Tables
    have a row for each place that is reached and a column for each that is left, those of a free
    hand after the others."""

    def __init__(self, reach: Reach) -> None:
        places_mm = np.array(reach.hand_places_mm)
        self.places = len(places_mm)
        self._way_mm = np.tile(np.abs(places_mm[:, None] - places_mm), 2)
        share = np.repeat([1.0, reach.weights.shift_freed], self.places)
        self._fixed, self._by_time = shift_cost(self._way_mm, share, reach)
        if not reach.limits.allows_shifts:
            self._fixed = self._fixed + shift_limit(self._way_mm, reach)
        self._costs: dict[float, Array] = {}
        self._steps: dict[tuple[float, ...], Array] = {}

    def costs(self, time_s: float) -> Array:
        """Costs when there is this time."""
        costs = self._costs.get(time_s)
        if costs is None:
            if len(self._costs) >= MOST_KEPT:
                self._costs.clear()
            costs = self._costs[time_s] = self._fixed + self._by_time / time_s
        return costs

    def steps(self, steps_mm: tuple[float, ...]) -> Array:
        """The number of the step that each way belongs to."""
        steps = self._steps.get(steps_mm)
        if steps is None:
            if len(self._steps) >= MOST_KEPT:
                self._steps.clear()
            steps = np.searchsorted(steps_mm, self._way_mm, side="right")
            self._steps[steps_mm] = steps
        return steps


def lay_out(
    before: Grid, after: Grid, moves: HoldMoves, time_s: float, is_freed: bool, ways: HandWays
) -> Array:
    """Costs from each posture of ``before`` to each of ``after``, shape (after, before)."""
    left = before.left % ways.places + ways.places if is_freed else before.left
    way = after.reached[:, None] + left
    pair = after.hold[:, None] * len(before.holds) + before.hold
    if moves.steps_mm:
        pair += ways.steps(moves.steps_mm).take(way) * moves.by_time.size
    costs = moves.fixed + moves.by_time / time_s
    laid = costs.take(pair)
    laid += ways.costs(time_s).take(way)
    return grain(laid)
