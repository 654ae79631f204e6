"""Costs of movements laid out as tables, computed once and kept.

A set has many more postures than holds (strings, keys and fingers), since most can be held from
several places of the hand. What the fingers and the bow pay depends on the holds and on how far
the hand goes in only a few steps: whether it stays, and whether it goes far enough to pass a finger
over another. So these costs are worked out once for each pair of holds and each such step, for
many pairs of sets at once, and laid out over the postures when a time is known.

One CostTables serves one instrument, hand, limits and set of weights. It keeps the postures for
each demand, the costs A + B / t between the holds of each pair of them, and the tables of the
costs from posture to posture that were used last. Threads may share it. What is kept is never
changed, and is found by what it was made of, so it does not matter who made it, nor whether two
made it at once."""

from __future__ import annotations

import functools
from collections import OrderedDict
from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Generic, NamedTuple, TypeVar

import numpy as np

from tunebook.locks import shared_lock
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.fingering.moves import (
    STILL_MM,
    Holds,
    Passage,
    finger_moves,
    hands_holding,
    holds_of,
    shift_cost,
    shift_limit,
)
from tunebook.solve.fingering.posture_layers import build_postures
from tunebook.solve.fingering.postures import Array, Demand, PostureSet, Reach, grain
from tunebook.solve.weights import GRAIN, Weights, weights_for

MOST_KEPT = 500
"""Tables over the places of the hand that are kept of each kind."""


KeptTones = tuple[tuple[int, int], ...]
"""Pairs of tones, before and after, that sound on while others are struck anew."""


class Kind(NamedTuple):
    """What a link says besides its time, each as in Passage."""

    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: KeptTones = ()


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
    alike: dict[tuple[int, int, KeptTones], list[int]] = {}
    for number, (before, after, kind) in enumerate(asked):
        shape = (before.holds.width, after.holds.width, kind.kept)
        alike.setdefault(shape, []).append(number)
    found: dict[int, HoldMoves] = {}
    for (_, _, kept), numbers in alike.items():
        made = _together([asked[number] for number in numbers], kept, reach)
        found.update(zip(numbers, made, strict=True))
    return [found[number] for number in range(len(asked))]


def _together(asked: Sequence[Ask], kept: KeptTones, reach: Reach) -> list[HoldMoves]:
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
    moves = finger_moves(hands_holding(before, froms), hands_holding(after, tos), passage, reach)
    fixed, by_time = np.zeros(len(froms)), np.zeros(len(froms))
    for part, part_by_time in moves.steady.values():
        fixed += part
        by_time += part_by_time
    still = sum(moves.still.values(), np.zeros(len(froms)))
    sums = _Sums(fixed, by_time, still, moves.passing)
    ends = np.cumsum(sizes)
    return [
        _by_steps(sums.part(slice(end - size, end)), shape, reach)
        for end, size, shape in zip(ends, sizes, shapes, strict=True)
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


class _Sums(NamedTuple):
    """What all pairs of holds in a row cost, added up: (fixed, by time) wherever the hand goes,
    ``still`` more where it stays, and where one finger passes another."""

    fixed: Array
    by_time: Array
    still: Array
    passing: Sequence[tuple[Array, Array]]

    def part(self, cut: slice) -> _Sums:
        """The sums of some neighbours in the row."""
        passing = [(where[cut], shift_mm[cut]) for where, shift_mm in self.passing]
        return _Sums(self.fixed[cut], self.by_time[cut], self.still[cut], passing)


def _by_steps(sums: _Sums, shape: tuple[int, int], reach: Reach) -> HoldMoves:
    """One pair of sets, the steps of the hand's way told apart."""
    weights = reach.weights
    fixed, by_time, still, passing = sums
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
        self.way_mm = np.tile(np.abs(places_mm[:, None] - places_mm), 2)
        self.share = np.repeat([1.0, reach.weights.shift_freed], self.places)
        plain, self._by_time = shift_cost(self.way_mm, self.share, reach)
        turning, _ = shift_cost(self.way_mm, self.share, reach, is_turning=True)
        self._fixed = plain, turning
        if not reach.limits.allows_shifts:
            limit = shift_limit(self.way_mm, reach)
            self._fixed = plain + limit, turning + limit
        self._costs: dict[tuple[float, bool], Array] = {}
        self._steps: dict[tuple[float, ...], Array] = {}

    def costs(self, time_s: float, is_turning: bool) -> Array:
        """Costs when there is this time, and where the melody turns back or does not."""
        costs = self._costs.get((time_s, is_turning))
        if costs is None:
            if len(self._costs) >= MOST_KEPT:
                self._costs.clear()
            costs = self._fixed[is_turning] + self._by_time / time_s
            self._costs[time_s, is_turning] = costs
        return costs

    def steps(self, steps_mm: tuple[float, ...]) -> Array:
        """The number of the step that each way belongs to."""
        steps = self._steps.get(steps_mm)
        if steps is None:
            if len(self._steps) >= MOST_KEPT:
                self._steps.clear()
            steps = np.searchsorted(steps_mm, self.way_mm, side="right")
            self._steps[steps_mm] = steps
        return steps


def lay_out(before: Grid, after: Grid, moves: HoldMoves, link: Link, ways: HandWays) -> Array:
    """Costs from each posture of ``before`` to each of ``after``, shape (after, before)."""
    left = before.left % ways.places + ways.places if link.is_freed else before.left
    way = after.reached[:, None] + left
    pair = after.hold[:, None] * len(before.holds) + before.hold
    if moves.steps_mm:
        pair += ways.steps(moves.steps_mm).take(way) * moves.by_time.size
    costs = moves.fixed + moves.by_time / link.time_s
    laid = costs.take(pair)
    laid += ways.costs(link.time_s, link.is_turning).take(way)
    return grain(laid)


MOST_BYTES = 96_000_000
"""Memory that the tables of one instrument and hand may take before the oldest are dropped; a
third of it is for the costs between holds."""

Kept = TypeVar("Kept")

# One for all caches of this module: it is held for as long as an entry is put in its place.
_lock = shared_lock()


class Link(NamedTuple):
    """What the cost of a movement depends on besides the postures: time and kind of passage.
    ``kept`` pairs the tones before and after that a tie joins while others are struck anew,
    ``is_turning`` as in Passage."""

    time_s: float
    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: KeptTones = ()
    is_turning: bool = False

    @property
    def kind(self) -> Kind:
        """What decides on the fingers, all but the time."""
        return Kind(self.is_slurred, self.is_freed, self.is_held, self.kept)


class _ByteCache(Generic[Kept]):
    """Values by key; drops the longest unused when the limit is passed."""

    def __init__(self, most_bytes: int) -> None:
        self._kept: OrderedDict[Hashable, tuple[Kept, int]] = OrderedDict()
        self._most_bytes = most_bytes
        self._bytes = 0

    def get(self, key: Hashable) -> Kept | None:
        with _lock:
            found = self._kept.get(key)
            if found is None:
                return None
            self._kept.move_to_end(key)
            return found[0]

    def put(self, key: Hashable, value: Kept, size: int) -> None:
        with _lock:
            _, before = self._kept.pop(key, (None, 0))
            self._kept[key] = value, size
            self._bytes += size - before
            while self._bytes > self._most_bytes and len(self._kept) > 1:
                _, (_, dropped) = self._kept.popitem(last=False)
                self._bytes -= dropped


Move = tuple[PostureSet, PostureSet, Link]
"""Postures before, postures after, and how the one leads to the other."""


class _Store:
    """What is kept for one instrument, hand and weights, and for limits apart from substitution."""

    def __init__(self, reach: Reach) -> None:
        self.reach = reach
        self.ways = HandWays(reach)
        self.sets: dict[Demand, PostureSet | None] = {}
        self.grids: dict[Demand, Grid] = {}
        self.owns: _ByteCache[Array] = _ByteCache(MOST_BYTES // 12)
        self.holds: _ByteCache[HoldMoves] = _ByteCache(MOST_BYTES // 3)
        self.moves: _ByteCache[Array] = _ByteCache(MOST_BYTES - MOST_BYTES // 3)

    def grid(self, postures: PostureSet) -> Grid:
        grid = self.grids.get(postures.demand)
        if grid is None:
            made = grid_of(postures, self.ways.places)
            grid = self.grids.setdefault(postures.demand, made)
        return grid


class CostTables:
    """Postures and costs for one instrument, hand, limits and weights."""

    def __init__(
        self,
        instrument: Instrument,
        hand: Hand,
        limits: Limits | None = None,
        weights: Weights | None = None,
    ) -> None:
        limits = limits or Limits()
        self.weights = weights or weights_for(instrument.kind, hand)
        self.reach = Reach(instrument, hand, limits, self.weights)
        free = replace(limits, allows_substitution=True)
        self._store = _store_for(instrument, hand, free, self.weights)

    def postures(self, demand: Demand) -> PostureSet | None:
        """The postures for ``demand``, None when it cannot be played."""
        sets = self._store.sets
        if demand not in sets:
            return sets.setdefault(demand, build_postures(demand, self._store.reach))
        return sets[demand]

    def own_cost(self, postures: PostureSet, share: float, pause_cost: float, times: int) -> Array:
        """Cost of each posture for one event that is played so often, shape (postures,)."""
        key = (postures.demand, share, pause_cost, times)
        found = self._store.owns.get(key)
        if found is None:
            found = grain(postures.base * share + postures.pause * pause_cost) * times
            found.setflags(write=False)
            self._store.owns.put(key, found, found.nbytes)
        return found

    def moves(self, a: PostureSet, b: PostureSet, link: Link) -> Array:
        """Costs from each posture of ``a`` to each of ``b``, shape (b, a)."""
        return self.all_moves([(a, b, link)])[0]

    def all_moves(self, wanted: Sequence[Move]) -> list[Array]:
        """What ``moves`` gives for each of ``wanted``; together they are made more quickly."""
        store = self._store
        keys = [(a.demand, b.demand, link, self._rule(a, link)) for a, b, link in wanted]
        found = [store.moves.get(key) for key in keys]
        missing = [number for number, costs in enumerate(found) if costs is None]
        between = self._between_holds([wanted[number] for number in missing])
        for number, moves in zip(missing, between, strict=True):
            a, b, link = wanted[number]
            costs = lay_out(store.grid(a), store.grid(b), moves, link, store.ways)
            kept = _packed(costs)
            kept.setflags(write=False)
            store.moves.put(keys[number], kept, kept.nbytes)
            found[number] = costs
        return [costs.astype(float, copy=False) for costs in found if costs is not None]

    def _between_holds(self, wanted: Sequence[Move]) -> list[HoldMoves]:
        """The costs between holds for each of ``wanted``."""
        store = self._store
        keys = [(a.demand, b.demand, link.kind, self._rule(a, link)) for a, b, link in wanted]
        known = {key: store.holds.get(key) for key in keys}
        missing = {
            key: (store.grid(a), store.grid(b), link.kind)
            for key, (a, b, link) in zip(keys, wanted, strict=True)
            if known[key] is None
        }
        made = hold_moves(list(missing.values()), self.reach)
        for key, moves in zip(missing, made, strict=True):
            store.holds.put(key, moves, moves.fixed.nbytes + moves.by_time.nbytes)
            known[key] = moves
        return [moves for moves in (known[key] for key in keys) if moves is not None]

    def _rule(self, before: PostureSet, link: Link) -> bool:
        """Whether the limits forbid a substitution that might occur here: one without a new stroke,
        of a tone that sounds on or of the finger on a drone's key."""
        if self.reach.limits.allows_substitution:
            return False
        return link.is_held or before.finger.shape[1] > before.tones


def _packed(costs: Array) -> Array:
    """The same costs in half the room where that loses nothing: multiples of 1/GRAIN have no more
    digits than a short number holds as long as they are small."""
    return costs.astype(np.float32) if costs.max() < 2**24 / GRAIN else costs


@functools.lru_cache(maxsize=4)
def _store_for(instrument: Instrument, hand: Hand, limits: Limits, weights: Weights) -> _Store:
    """Tables that differ only in whether fingers may take over share what they have in common."""
    return _Store(Reach(instrument, hand, limits, weights))


@functools.lru_cache(maxsize=6)
def tables_for(
    instrument: Instrument, hand: Hand, limits: Limits, weights: Weights | None = None
) -> CostTables:
    """The tables for these, kept between tunes."""
    return CostTables(instrument, hand, limits, weights)
