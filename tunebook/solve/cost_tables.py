"""Layers and tables of costs, computed once and kept.

One CostTables serves one instrument, hand, limits and set of weights. It keeps the postures for
each demand, the costs A + B / t between the holds of each pair of them, and the tables of the
costs from posture to posture that were used last.

Threads may share it. What is kept is never changed, and is found by what it was made of, so it does
not matter who made it, nor whether two made it at once.
"""

from __future__ import annotations

import functools
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from typing import Generic, NamedTuple, TypeVar

import numpy as np

from tunebook.locks import shared_lock
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.hold_moves import Grid, HandWays, HoldMoves, Kind, grid_of, hold_moves, lay_out
from tunebook.solve.posture_sets import build_postures
from tunebook.solve.postures import Array, Demand, PostureSet, Reach, grain
from tunebook.solve.weights import GRAIN, Weights, weights_for

MOST_BYTES = 96_000_000
"""Memory that the tables of one instrument and hand may take before the oldest are dropped; a
third of it is for the costs between holds."""

Kept = TypeVar("Kept")

# One for all caches of this module: it is held for as long as an entry is put in its place.
_lock = shared_lock()


class Link(NamedTuple):
    """What the cost of a movement depends on besides the postures: time and kind of passage.
    ``kept`` pairs the tones before and after that a tie joins while others are struck anew."""

    time_s: float
    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: tuple[tuple[int, int], ...] = ()

    @property
    def kind(self) -> Kind:
        """All but the time."""
        return Kind(self.is_slurred, self.is_freed, self.is_held, self.kept)


class _ByteCache(Generic[Kept]):
    """Values by key; drops the longest unused when the limit is passed."""

    def __init__(self, most_bytes: int) -> None:
        self._kept: OrderedDict[tuple, tuple[Kept, int]] = OrderedDict()
        self._most_bytes = most_bytes
        self._bytes = 0

    def get(self, key: tuple) -> Kept | None:
        with _lock:
            found = self._kept.get(key)
            if found is None:
                return None
            self._kept.move_to_end(key)
            return found[0]

    def put(self, key: tuple, value: Kept, size: int) -> None:
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
        self.weights = weights or weights_for(instrument.kind)
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
            costs = lay_out(
                store.grid(a), store.grid(b), moves, link.time_s, link.is_freed, store.ways
            )
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
