"""Layers and tables of costs, computed once and kept.

One CostTables serves one instrument, hand, limits and set of weights. It keeps the postures for
each demand, the costs A + B / t between the holds of each pair of them, and the tables of the
costs from posture to posture that were used last.
"""

from __future__ import annotations

import functools
from collections import OrderedDict
from collections.abc import Sequence
from typing import Generic, NamedTuple, TypeVar

from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.hold_moves import Grid, HandWays, HoldMoves, grid_of, hold_moves, lay_out
from tunebook.solve.posture_sets import build_postures
from tunebook.solve.postures import Array, Demand, PostureSet, Reach, grain
from tunebook.solve.weights import Weights, weights_for

MOST_BYTES = 96_000_000
"""Memory that the tables of one instrument and hand may take before the oldest are dropped; a
quarter of it is for the costs between holds."""

Kept = TypeVar("Kept")


class Link(NamedTuple):
    """What the cost of a movement depends on besides the postures: time and kind of passage.
    ``kept`` pairs the tones before and after that a tie joins while others are struck anew."""

    time_s: float
    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: tuple[tuple[int, int], ...] = ()


class _ByteCache(Generic[Kept]):
    """Values by key; drops the longest unused when the limit is passed."""

    def __init__(self, most_bytes: int) -> None:
        self._kept: OrderedDict[tuple, tuple[Kept, int]] = OrderedDict()
        self._most_bytes = most_bytes
        self._bytes = 0

    def get(self, key: tuple) -> Kept | None:
        found = self._kept.get(key)
        if found is None:
            return None
        self._kept.move_to_end(key)
        return found[0]

    def put(self, key: tuple, value: Kept, size: int) -> None:
        self._kept[key] = value, size
        self._bytes += size
        while self._bytes > self._most_bytes and len(self._kept) > 1:
            _, (_, dropped) = self._kept.popitem(last=False)
            self._bytes -= dropped


Move = tuple[PostureSet, PostureSet, Link]
"""Postures before, postures after, and how the one leads to the other."""


class CostTables:
    """Postures and costs for one instrument, hand, limits and weights."""

    def __init__(
        self,
        instrument: Instrument,
        hand: Hand,
        limits: Limits | None = None,
        weights: Weights | None = None,
    ) -> None:
        self.weights = weights or weights_for(instrument.kind)
        self.reach = Reach(instrument, hand, limits or Limits(), self.weights)
        self._sets: dict[Demand, PostureSet | None] = {}
        self._grids: dict[int, Grid] = {}
        self._ways = HandWays(self.reach)
        self._holds: _ByteCache[HoldMoves] = _ByteCache(MOST_BYTES // 4)
        self._moves: _ByteCache[Array] = _ByteCache(MOST_BYTES - MOST_BYTES // 4)

    def postures(self, demand: Demand) -> PostureSet | None:
        """The postures for ``demand``, None when it cannot be played."""
        if demand not in self._sets:
            self._sets[demand] = build_postures(demand, self.reach, len(self._sets))
        return self._sets[demand]

    def posture_cost(self, postures: PostureSet, share: float, pause_cost: float) -> Array:
        """Cost of each posture for one event, shape (postures,)."""
        if share == 1.0 and not pause_cost:
            return postures.base
        return grain(postures.base * share + postures.pause * pause_cost)

    def moves(self, a: PostureSet, b: PostureSet, link: Link) -> Array:
        """Costs from each posture of ``a`` to each of ``b``, shape (b, a)."""
        return self.all_moves([(a, b, link)])[0]

    def all_moves(self, wanted: Sequence[Move]) -> list[Array]:
        """What ``moves`` gives for each of ``wanted``; together they are made more quickly."""
        keys = [(a.serial, b.serial, link) for a, b, link in wanted]
        found = [self._moves.get(key) for key in keys]
        missing = [number for number, costs in enumerate(found) if costs is None]
        between = self._between_holds([wanted[number] for number in missing])
        for number, moves in zip(missing, between, strict=True):
            a, b, link = wanted[number]
            before, after = self._grid(a), self._grid(b)
            costs = lay_out(before, after, moves, link.time_s, link.is_freed, self._ways)
            self._moves.put(keys[number], costs, costs.nbytes)
            found[number] = costs
        return [costs for costs in found if costs is not None]

    def _between_holds(self, wanted: Sequence[Move]) -> list[HoldMoves]:
        """The costs between holds for each of ``wanted``."""
        keys = [(a.serial, b.serial, *link[1:]) for a, b, link in wanted]
        known = {key: self._holds.get(key) for key in keys}
        missing = {
            key: (self._grid(a), self._grid(b), link[1:])
            for key, (a, b, link) in zip(keys, wanted, strict=True)
            if known[key] is None
        }
        made = hold_moves(list(missing.values()), self.reach)
        for key, moves in zip(missing, made, strict=True):
            self._holds.put(key, moves, moves.fixed.nbytes + moves.by_time.nbytes)
            known[key] = moves
        return [moves for moves in (known[key] for key in keys) if moves is not None]

    def _grid(self, postures: PostureSet) -> Grid:
        if postures.serial not in self._grids:
            self._grids[postures.serial] = grid_of(postures, self._ways.places)
        return self._grids[postures.serial]


@functools.lru_cache(maxsize=6)
def tables_for(
    instrument: Instrument, hand: Hand, limits: Limits, weights: Weights | None = None
) -> CostTables:
    """The tables for these, kept between tunes."""
    return CostTables(instrument, hand, limits, weights)
