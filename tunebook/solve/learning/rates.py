"""What each parameter counts in every posture and every movement of one hand: tables of rates.

A cost is a sum of rates times parameters, and of what no parameter moves. The rates are found by
the solver's own tables: once as usual, and once with each weight made one greater. They are worked
out once for a hand; afterwards the costs under any weights are a product of tables, and the terms
of a path a sum of rows.

Under other weights other places of the hand are good enough to be looked at (see HAND_SLACK), so
the sets hold all places that can be reached, and those that are too dear are closed for a while.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.fingering.move_tables import Grid, HandWays, Kind, Link, grid_of, hold_moves
from tunebook.solve.fingering.moves import shift_cost, shift_limit
from tunebook.solve.fingering.posture_layers import build_postures
from tunebook.solve.fingering.postures import (
    HAND_SLACK,
    Array,
    Demand,
    PostureSet,
    Reach,
    grain,
)
from tunebook.solve.learning.parameters import COUNT, NAMES, product, to_directions
from tunebook.solve.weights import weights_for

POSTURE_WEIGHTS = {
    "stop": "stop",
    "open_string": "open_string",
    "little_finger": "little_finger",
    "stretch": "stretch",
    "lean": "stretch",
    "squeeze": "squeeze",
    "level": "squeeze",
    "crossed_posture": "crossed",
    "crossed_wrong_way": "crossed",
    "reversed_posture": "order",
    "barre": "barre",
    "above_home": "home",
    "below_home": "home",
    "high_key": "high_key",
    "past_next": "high_key",
    "trill_bound": "trill",
    "trill_little_finger": "trill",
}
"""Weights that a posture's cost depends on, and the term in which each of them stands."""

TRILL = [NAMES.index(name) for name, term in POSTURE_WEIGHTS.items() if term == "trill"]
"""What a trill costs has no say in which places of the hand are looked at."""

FINGER_WEIGHTS = (
    "stretch", "squeeze", "crossed_wrong_way", "passing", "passing_in_place", "slide",
    "slide_speed", "jump", "jump_speed", "jump_slurred", "crossed", "sequence_reach",
    "weak_neighbours", "weak_neighbours_speed", "substitution", "substitution_restruck",
    "substitution_speed", "string_change", "string_skip", "string_change_slurred",
)  # fmt: skip
"""Weights of what the fingers and the bow do from one event to the next."""

FIXED = COUNT
"""The column of what no parameter moves."""

MoveKey = tuple[Demand, Demand, Kind]
StepKey = tuple[Demand, Demand, Link]


class OwnRates(NamedTuple):
    """A set of postures: where its rows begin in the table of rates; ``order`` puts those together
    that hold the same, which begin at ``firsts``; ``is_free`` where no finger presses."""

    postures: PostureSet
    start: int
    order: Array
    firsts: Array
    is_free: Array


class MoveRates(NamedTuple):
    """From one set to another: rows of the tables of rates of fingers, by time and of the hand's
    way, each of shape (after, before)."""

    fixed: Array
    by_time: Array
    way: Array


class HandRates:
    """The rates of one hand on one instrument within limits. ``own`` has a row a posture,
    ``fixed`` and ``by_time`` one a pair of holds, ``way`` and ``way_by_time`` one a way of the
    hand; each has a column a parameter, and one for the rest."""

    def __init__(self, instrument: Instrument, hand: Hand, limits: Limits) -> None:
        self._world = instrument, hand, limits
        self._reach = self._reach_with()
        self._passes = [(one, self._reach_with(*one.values())) for one in _passes()]
        self.ways = HandWays(self._reach)
        self._grids: dict[Demand, Grid] = {}
        self.sets: dict[Demand, OwnRates] = {}
        self.moves: dict[MoveKey, MoveRates] = {}
        self.own = self.fixed = self.by_time = np.zeros((0, COUNT + 1))
        self.way, self.way_by_time = self._way_rates()

    def _reach_with(self, *bumped: str) -> Reach:
        """The reach under the usual weights, those in ``bumped`` one greater; all places of the
        hand are kept."""
        instrument, hand, limits = self._world
        usual = weights_for(instrument.kind)
        more = {name: getattr(usual, name) + 1.0 for name in bumped}
        return Reach(instrument, hand, limits, replace(usual, **more), math.inf)

    def add(self, demands: Iterable[Demand], moves: Iterable[MoveKey]) -> None:
        """Work out what is not yet known of these demands and movements."""
        rows = [self.own]
        for demand in dict.fromkeys(demands):
            if demand not in self.sets:
                rates, self.sets[demand] = self._own_rates(demand, sum(map(len, rows)))
                rows.append(rates)
        self.own = np.concatenate(rows)
        wanted = [key for key in dict.fromkeys(moves) if key not in self.moves]
        if wanted:
            self._add_moves(wanted)

    def _own_rates(self, demand: Demand, start: int) -> tuple[Array, OwnRates]:
        found = _built(demand, self._reach)
        rates = np.zeros((len(found), COUNT + 1))
        for names, reach in self._passes:
            bumped = _built(demand, reach)
            for term, name in names.items():
                if term in bumped.terms:
                    usual = found.terms.get(term, 0.0)
                    rates[:, NAMES.index(name)] = bumped.terms[term] - usual
        whole = np.sum(list(found.terms.values()), axis=0)
        rates = _with_rest(rates, whole, self._usual)
        order = np.argsort(found.label, kind="stable")
        firsts = np.nonzero(np.diff(found.label[order], prepend=-1))[0]
        is_free = (found.finger == 0).all(axis=1)
        return rates, OwnRates(found, start, order, firsts, is_free)

    @property
    def _usual(self) -> Array:
        weights = self._reach.weights
        return np.array([getattr(weights, name) for name in NAMES])

    def _add_moves(self, wanted: Sequence[MoveKey]) -> None:
        """Rates of what fingers and bow do, for all of ``wanted`` together."""
        asked = [(self._grid(a), self._grid(b), kind) for a, b, kind in wanted]
        usual = hold_moves(asked, self._reach)
        bumped = {name: hold_moves(asked, self._reach_with(name)) for name in FINGER_WEIGHTS}
        fixed, by_time = [self.fixed], [self.by_time]
        for at, (key, (before, after, kind)) in enumerate(zip(wanted, asked, strict=True)):
            starts = sum(map(len, fixed)), sum(map(len, by_time))
            found = usual[at]
            for part, rows in (("fixed", fixed), ("by_time", by_time)):
                whole = getattr(found, part).ravel()
                rates = np.zeros((len(whole), COUNT + 1))
                for name in FINGER_WEIGHTS:
                    more = getattr(bumped[name][at], part).ravel()
                    rates[:, NAMES.index(name)] = more - whole
                rows.append(_with_rest(rates, whole, self._usual))
            self.moves[key] = self._laid_out(before, after, kind, found.steps_mm, starts)
        self.fixed, self.by_time = np.concatenate(fixed), np.concatenate(by_time)

    def _laid_out(
        self,
        before: Grid,
        after: Grid,
        kind: Kind,
        steps_mm: tuple[float, ...],
        starts: tuple[int, int],
    ) -> MoveRates:
        """Which rows belong to each pair of postures, as in ``move_tables.lay_out``."""
        places = self.ways.places
        left = before.left % places + places if kind.is_freed else before.left
        way = after.reached[:, None] + left
        pair = after.hold[:, None] * len(before.holds) + before.hold
        by_time = pair + starts[1]
        fixed = pair + starts[0]
        if steps_mm:
            size = len(before.holds) * len(after.holds)
            fixed = fixed + self.ways.steps(steps_mm).take(way) * size
        return MoveRates(fixed, by_time, way)

    def _grid(self, demand: Demand) -> Grid:
        if demand not in self._grids:
            self._grids[demand] = grid_of(self.sets[demand].postures, self.ways.places)
        return self._grids[demand]

    def _way_rates(self) -> tuple[Array, Array]:
        """Rates of the hand's own way, fixed and by time, in the order of HandWays: the ways of
        steps that do not turn, then of those that do."""
        limit = shift_limit(self.ways.way_mm, self._reach)
        if self._reach.limits.allows_shifts:
            limit = np.zeros_like(limit)
        found = []
        for is_turning in (False, True):
            usual = self._way_costs(is_turning)
            for part, names in enumerate((("shift", "shift_turning"), ("shift_speed",))):
                whole = usual[part] + (np.zeros_like(limit) if part else limit)
                rates = np.zeros((whole.size, COUNT + 1))
                for name in names:
                    more = self._way_costs(is_turning, name)[part] - usual[part]
                    rates[:, NAMES.index(name)] = more.ravel()
                found.append(_with_rest(rates, whole.ravel(), self._usual))
        return np.concatenate(found[::2]), np.concatenate(found[1::2])

    def _way_costs(self, is_turning: bool, *bumped: str) -> tuple[Array, Array]:
        reach = self._reach_with(*bumped)
        return shift_cost(self.ways.way_mm, self.ways.share, reach, is_turning)

    def way_rows(self, moves: MoveRates, link: Link) -> Array:
        """The rows of the hand's way for a link."""
        return moves.way + self.ways.way_mm.size if link.is_turning else moves.way


def _built(demand: Demand, reach: Reach) -> PostureSet:
    found = build_postures(demand, reach)
    if found is None:
        raise ValueError("only what can be played has rates")
    return found


def _passes() -> list[dict[str, str]]:
    """Weights by term so that all are named, and no two of a pass stand in the same term."""
    passes: list[dict[str, str]] = []
    for name, term in POSTURE_WEIGHTS.items():
        free = next((one for one in passes if term not in one), None)
        if free is None:
            free = {}
            passes.append(free)
        free[term] = name
    return passes


def _with_rest(rates: Array, whole: Array, usual: Array) -> Array:
    """The rates by parameter, with what no weight moves in the last column."""
    rates[:, FIXED] = whole - product(rates[:, :COUNT], usual)
    rates[:, :COUNT] = to_directions(rates[:, :COUNT])
    return rates


class HandCosts:
    """All costs of a hand under one vector of parameters, laid out when they are asked for."""

    def __init__(self, rates: HandRates, vector: Array) -> None:
        self._rates = rates
        self.prices = prices = np.append(vector, 1.0)
        self._own = product(rates.own, prices)
        self._fixed, self._by_time = product(rates.fixed, prices), product(rates.by_time, prices)
        self._way = product(rates.way, prices)
        self._way_by_time = product(rates.way_by_time, prices)
        self._postures: dict[Demand, Array] = {}
        self._moves: dict[StepKey, Array] = {}

    def postures(self, demand: Demand) -> Array:
        """The cost of each posture for one event; those whose place of the hand is too dear are
        closed (inf), as the solver leaves them out."""
        found = self._postures.get(demand)
        if found is None:
            own = self._rates.sets[demand]
            costs = self._own[own.start : own.start + len(own.postures)]
            rates = self._rates.own[own.start : own.start + len(own.postures)]
            placed = costs - product(rates[:, TRILL], self.prices[TRILL])
            least = np.minimum.reduceat(placed[own.order], own.firsts)
            is_near = placed <= least[own.postures.label] + HAND_SLACK + 1e-9
            found = grain(np.where(is_near | own.is_free, costs, np.inf))
            self._postures[demand] = found
        return found

    def moves(self, key: StepKey) -> Array:
        """The cost from each posture to each of the next set, shape (after, before)."""
        found = self._moves.get(key)
        if found is None:
            before, after, link = key
            rates = self._rates.moves[before, after, link.kind]
            found = self._fixed.take(rates.fixed)
            found += self._by_time.take(rates.by_time) / link.time_s
            way = self._rates.way_rows(rates, link)
            found += self._way.take(way) + self._way_by_time.take(way) / link.time_s
            found = grain(found)
            self._moves[key] = found
        return found
