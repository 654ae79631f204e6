"""Layers and tables of costs, computed once and kept.

One CostTables serves one instrument, hand, limits and set of weights. It keeps the postures for
each demand, and for each pair of them the tables A and B of the costs A + B / t.
"""

from __future__ import annotations

import functools
from collections import OrderedDict
from typing import NamedTuple

import numpy as np

from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.movements import Passage, column_view, movement_terms, row_view
from tunebook.solve.posture_sets import build_postures
from tunebook.solve.postures import Array, Demand, PostureSet, Reach, grain
from tunebook.solve.weights import Weights, weights_for

MOST_BYTES = 96_000_000
"""Memory that the tables of one instrument and hand may take before the oldest are dropped."""


class Link(NamedTuple):
    """What the cost of a movement depends on besides the postures: time and kind of passage.
    ``kept`` pairs the tones before and after that a tie joins while others are struck anew."""

    time_s: float
    is_slurred: bool = False
    is_freed: bool = False
    is_held: bool = False
    kept: tuple[tuple[int, int], ...] = ()


class _ByteCache:
    """Arrays by key; drops the longest unused when the limit is passed."""

    def __init__(self, most_bytes: int) -> None:
        self._kept: OrderedDict[tuple, tuple[Array, ...]] = OrderedDict()
        self._most_bytes = most_bytes
        self._bytes = 0

    def get(self, key: tuple) -> tuple[Array, ...] | None:
        found = self._kept.get(key)
        if found is not None:
            self._kept.move_to_end(key)
        return found

    def put(self, key: tuple, arrays: tuple[Array, ...]) -> None:
        self._kept[key] = arrays
        self._bytes += sum(array.nbytes for array in arrays)
        while self._bytes > self._most_bytes and len(self._kept) > 1:
            _, dropped = self._kept.popitem(last=False)
            self._bytes -= sum(array.nbytes for array in dropped)


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
        self._parts = _ByteCache(MOST_BYTES // 2)
        self._moves = _ByteCache(MOST_BYTES // 2)

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
        key = (a.serial, b.serial, link)
        found = self._moves.get(key)
        if found is None:
            fixed, by_time = self._split(a, b, link)
            found = (np.ascontiguousarray(grain(fixed + by_time / link.time_s).T),)
            self._moves.put(key, found)
        return found[0]

    def _split(self, a: PostureSet, b: PostureSet, link: Link) -> tuple[Array, ...]:
        key = (a.serial, b.serial, link[1:])
        found = self._parts.get(key)
        if found is None:
            terms = movement_terms(
                column_view(a),
                row_view(b),
                Passage(
                    link.is_slurred,
                    link.is_freed,
                    link.is_held,
                    tuple((p, q, True) for p, q in link.kept),
                ),
                self.reach,
            )
            shape = (len(a), len(b))
            fixed, by_time = np.zeros(shape), np.zeros(shape)
            for part, part_by_time in terms.values():
                fixed += part
                by_time += part_by_time
            found = (fixed, by_time)
            self._parts.put(key, found)
        return found


@functools.lru_cache(maxsize=6)
def tables_for(
    instrument: Instrument, hand: Hand, limits: Limits, weights: Weights | None = None
) -> CostTables:
    """The tables for these, kept between tunes."""
    return CostTables(instrument, hand, limits, weights)
