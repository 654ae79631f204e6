"""A path through the layers with what each of its movements costs, term by term."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunebook.solve.movements import Passage, Terms, movement_terms, path_view, take
from tunebook.solve.postures import Array, Posture
from tunebook.solve.problem import Problem, event_share, pause_cost

LIMIT, MOVED_TONE = "limit", "moved_tone"
"""Terms of a broken limit and of a tied tone that has to be struck again: they steer the search
and are never counted in a shown cost."""


NOTHING = 1e-9
"""Smaller costs are rounding, not reasons."""


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
    names, own = _own_terms(problem, rows)
    moved_names, moved, entries = _movement_costs(problem, rows)
    counts = np.array(course.times_played, dtype=float)
    totals: dict[str, float] = {}
    for name, costs in zip(names, own, strict=True):
        totals[name] = totals.get(name, 0.0) + float(costs @ counts)
    way_counts = np.array([way.times for way in (*course.steps, *course.leaps)], dtype=float)
    for name, costs in zip(moved_names, moved, strict=True):
        totals[name] = totals.get(name, 0.0) + float(costs @ way_counts)
    terms: list[dict[str, float]] = [{} for _ in rows]
    for term, event in zip(*np.nonzero(np.abs(own) > NOTHING), strict=True):
        terms[event][names[term]] = float(own[term, event])
    for term, way in zip(*np.nonzero(np.abs(moved) > NOTHING), strict=True):
        entered = entries[way]
        if entered is not None:
            found = terms[entered]
            name = moved_names[term]
            found[name] = found.get(name, 0.0) + float(moved[term, way])
    broken = tuple(found.pop(LIMIT, 0.0) > 0 for found in terms)
    retied = tuple(found.pop(MOVED_TONE, 0.0) > 0 for found in terms)
    totals = {name: cost for name, cost in totals.items() if name not in (LIMIT, MOVED_TONE)}
    return Walk(
        tuple(rows),
        tuple(layer.postures[row] for layer, row in zip(sets, rows, strict=True)),
        tuple(terms),
        {name: cost for name, cost in totals.items() if cost},
        broken,
        retied,
    )


def _own_terms(problem: Problem, rows: Sequence[int]) -> tuple[list[str], Array]:
    """Names of the posture terms and their costs, shape (terms, events)."""
    names = sorted({name for layer in problem.distinct_sets for name in layer.terms})
    costs = np.zeros((len(names) + 1, len(rows)))
    index = {name: number for number, name in enumerate(names)}
    weights = problem.tables.weights
    for event_index, (event, layer, row) in enumerate(
        zip(problem.course.events, problem.sets, rows, strict=True)
    ):
        share = event_share(event, weights)
        for name, values in layer.terms.items():
            value = values[row]
            if value:
                costs[index[name], event_index] = share * value
        if layer.pause[row]:
            costs[-1, event_index] = pause_cost(event, problem.speed, weights)
    return [*names, "drone_pause"], costs


def _movement_costs(
    problem: Problem, rows: Sequence[int]
) -> tuple[list[str], Array, list[int | None]]:
    """Names of the movement terms, their costs (terms, ways), and the event that each way enters
    when it is first played (None when that event has been entered by another way before)."""
    course = problem.course
    ways = [*course.steps, *course.leaps]
    if not ways:
        return [], np.zeros((0, 0)), []
    view = path_view(problem.sets, rows)
    before = take(view, np.array([way.start for way in ways]))
    after = take(view, np.array([way.end for way in ways]))
    links = [way.link for way in ways]
    passage = Passage(
        np.array([link.is_slurred for link in links]),
        np.array([link.is_freed for link in links]),
        np.array([link.is_held for link in links]),
        tuple(
            (before, after, np.array([(before, after) in link.kept for link in links]))
            for before, after in sorted({pair for link in links for pair in link.kept})
        ),
    )
    terms: Terms = movement_terms(before, after, passage, problem.tables.reach)
    time_s = np.array([link.time_s for link in links])
    names = list(terms)
    costs = np.array([np.broadcast_to(a + b / time_s, time_s.shape) for a, b in terms.values()])
    entries: list[int | None] = []
    entered: set[int] = set()
    for way in ways:
        is_first = way.times > 0 and way.end not in entered and way.end > way.start
        entries.append(way.end if is_first else None)
        if is_first:
            entered.add(way.end)
    return names, costs, entries
