"""Changes from one chord shape to another, and which of a tune's are the hardest."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunebook.model.arrangement import ChordSpan, Stop
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.cost_tables import CostTables, tables_for
from tunebook.solve.movements import movement_terms
from tunebook.solve.postures import Demand, PostureSet
from tunebook.solve.shapes import choose_shapes
from tunebook.solve.views import Passage, choose, view_of


@dataclass(frozen=True, slots=True)
class ChordChange:
    """A change of chord with the shapes chosen for it and what it costs the hand."""

    before: ChordSpan
    after: ChordSpan
    cost: float


def hardest_changes(
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    most: int = 3,
) -> tuple[ChordChange, ...]:
    """The changes of chord that cost the hand most, the hardest first, each pair once.

    Spans without a shape get the two-string shapes of least movement first.
    """
    if any(not span.shape for span in chords):
        chords = choose_shapes(chords, instrument, hand, limits, strings=(2,))
    found: dict[frozenset, ChordChange] = {}
    for before, after in itertools.pairwise(chords):
        if not before.shape or not after.shape or before.shape == after.shape:
            continue
        cost = change_cost(before.shape, after.shape, instrument, hand, limits)
        pair = frozenset((before.shape, after.shape))
        if pair not in found or cost > found[pair].cost:
            found[pair] = ChordChange(before, after, cost)
    return tuple(sorted(found.values(), key=lambda change: -change.cost)[:most])


def change_cost(
    before: Sequence[Stop],
    after: Sequence[Stop],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    time_s: float = 1.0,
) -> float:
    """Cost of holding one shape, going to another in ``time_s``, and holding that; fingers as
    given, the hand placed as well as can be. Infinite when one of them cannot be held."""
    tables = tables_for(instrument, hand, limits or Limits())
    first, second = _as_held(before, tables), _as_held(after, tables)
    if not first or not second:
        return math.inf
    chosen = choose([p for p, _ in (*first, *second)], [row for _, row in (*first, *second)])
    count = len(first) + len(second)
    froms, tos = np.meshgrid(np.arange(len(first)), np.arange(len(first), count), indexing="ij")
    terms = movement_terms(
        view_of(chosen, froms.ravel()), view_of(chosen, tos.ravel()), Passage(), tables.reach
    )
    own = np.array([p.base[row] for p, row in first])[froms.ravel()]
    own = own + np.array([p.base[row] for p, row in second])[tos.ravel() - len(first)]
    moves = sum((fixed + by_time / time_s for fixed, by_time in terms.values()), np.zeros(own.size))
    return float((own + moves).min())


def _as_held(stops: Sequence[Stop], tables: CostTables) -> list[tuple[PostureSet, int]]:
    """The postures that hold these stops with these fingers."""
    postures = tables.postures(Demand(tuple(stop.midi for stop in stops)))
    if postures is None:
        return []
    wanted = tuple((stop.string_index, stop.key, stop.finger) for stop in stops)
    return [
        (postures, row)
        for row, posture in enumerate(postures.postures)
        if tuple(posture.slots) == wanted
    ]
