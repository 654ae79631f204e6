"""A path through the layers with what each of its movements costs, term by term."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunebook.solve.movements import movement_terms
from tunebook.solve.postures import POSTURE_TERMS, Array, Posture
from tunebook.solve.problem import Problem
from tunebook.solve.views import Chosen, choose, view_of

LIMIT, MOVED_TONE = "limit", "moved_tone"
"""Terms of a broken limit and of a tied tone that has to be struck again: they steer the search
and are never counted in a shown cost."""

NOTHING = 1e-9
"""Smaller costs are rounding, not reasons."""

_OWN = (*POSTURE_TERMS, "drone_pause")


@dataclass(frozen=True)
class Walk:
    """One posture for each event. ``terms[i]`` are the costs of event i and of the movement into
    it as it is first played; ``totals`` are sums over the tune as played, limits left out;
    ``breaks_limits[i]`` says that event i lies beyond the limits, ``breaks_ties[i]`` that a tone
    tied to it had to be struck again."""

    rows: tuple[int, ...]
    postures: tuple[Posture, ...]
    terms: tuple[dict[str, float], ...]
    totals: dict[str, float]
    breaks_limits: tuple[bool, ...]
    breaks_ties: tuple[bool, ...]


def walk_of(problem: Problem, rows: Sequence[int]) -> Walk:
    """Price the path that takes posture ``rows[i]`` for event i."""
    course, sets = problem.course, problem.sets
    chosen = choose(sets, rows)
    own = _own_terms(problem, chosen)
    moved_names, moved = _movement_costs(problem, chosen)
    # The order of the names decides in which order the cost is added up.
    named = {
        name for layer in {id(layer): layer for layer in sets}.values() for name in layer.terms
    }
    totals = {name: 0.0 for name in POSTURE_TERMS if name in named}
    for names, table, counts in (
        (_OWN, own, course.event_counts), (moved_names, moved, course.way_counts),
    ):  # fmt: skip
        for name, costs, is_used in zip(
            names, table, np.count_nonzero(table, axis=1).tolist(), strict=True
        ):
            if is_used:
                totals[name] = totals.get(name, 0.0) + float(costs @ counts)
    terms = _terms_by_event(own, moved_names, _entered(problem, moved))
    broken = tuple([found.pop(LIMIT, 0.0) > 0 for found in terms])
    retied = tuple([found.pop(MOVED_TONE, 0.0) > 0 for found in terms])
    totals = {name: cost for name, cost in totals.items() if name not in (LIMIT, MOVED_TONE)}
    return Walk(
        tuple(rows),
        tuple([layer.postures[row] for layer, row in zip(sets, rows, strict=True)]),
        tuple(terms),
        {name: cost for name, cost in totals.items() if cost},
        broken,
        retied,
    )


def event_costs(problem: Problem, rows: Sequence[int]) -> list[float]:
    """The sums of the terms of each event, as ``walk_of`` has them."""
    chosen = choose(problem.sets, rows)
    own = _own_terms(problem, chosen)
    moved_names, moved = _movement_costs(problem, chosen)
    own[np.abs(own) <= NOTHING] = 0.0
    entered = _entered(problem, moved)
    for number, name in enumerate(moved_names):
        if name in POSTURE_TERMS:
            # Terms of one name are added up first, and stand where the event's own would.
            costs = own[POSTURE_TERMS.index(name)]
            is_joined = costs != 0.0
            costs[is_joined] += entered[number, is_joined]
            entered[number, is_joined] = 0.0
        if name in (LIMIT, MOVED_TONE):
            entered[number] = 0.0
    own[POSTURE_TERMS.index(LIMIT)] = 0.0
    sums: list[float] = np.add.reduce(np.concatenate([own, entered]), axis=0).tolist()
    return sums


def _terms_by_event(
    own: Array, moved_names: Sequence[str], entered: Array
) -> list[dict[str, float]]:
    """What each event costs by name: its own terms, then those of the movement into it."""
    terms: list[dict[str, float]] = [{} for _ in range(own.shape[1])]
    for names, table in ((_OWN, own), (moved_names, entered)):
        rows, events = np.nonzero(np.abs(table) > NOTHING)
        costs = table[rows, events].tolist()
        for row, event, cost in zip(rows.tolist(), events.tolist(), costs, strict=True):
            found = terms[event]
            name = names[row]
            found[name] = found.get(name, 0.0) + cost
    return terms


def _own_terms(problem: Problem, chosen: Chosen) -> Array:
    """Costs of the postures, shape (terms, events), by the names of _OWN."""
    costs = np.empty((len(_OWN), len(chosen.pause)))
    np.multiply(chosen.costs, problem.course.shares, out=costs[:-1])
    np.multiply(chosen.pause, problem.course.pauses, out=costs[-1])
    return costs


def _entered(problem: Problem, moved: Array) -> Array:
    """Costs of the movement into each event as it is first played, shape (terms, events)."""
    ways, events = problem.course.entries
    entered = np.zeros((len(moved), len(problem.sets)))
    costs = moved[:, ways]
    entered[:, events] = np.where(np.abs(costs) > NOTHING, costs, 0.0)
    return entered


def _movement_costs(problem: Problem, chosen: Chosen) -> tuple[list[str], Array]:
    """Names of the movement terms and their costs, shape (terms, ways)."""
    course = problem.course
    if not course.ways:
        return [], np.zeros((0, 0))
    starts, ends = course.ends
    before, after = view_of(chosen, starts), view_of(chosen, ends)
    terms = movement_terms(before, after, course.passage, problem.tables.reach)
    costs = np.zeros((len(terms), len(course.ways)))
    for number, (fixed, by_time) in enumerate(terms.values()):
        costs[number] = fixed + by_time / course.times_s
    return list(terms), costs
