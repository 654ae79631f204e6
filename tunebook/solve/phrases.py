"""The same phrase gets the same fingering, unless that costs more than a stated amount.

The unit is the written bar: bars that ask for the same (tones, lengths, pins, drones) are likes.
Their usual form is the fingering that most of them have, counted as played. A bar that differs is
given the usual form when the whole tune then costs at most ``same_phrase`` (see ``weights``) more
for each bar that was changed. The price paid is part of the answer.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from tunebook.solve.layers import Layers, Path
from tunebook.solve.problem import Problem
from tunebook.solve.shortest_path import cheapest_within

LEAST_EVENTS = 2
MOST_TRIALS = 8

Form = tuple[int, ...]
"""Labels of a bar's events."""


def same_for_same(problem: Problem, path: Path) -> Path:
    """Give bars their usual form where it costs little; the path returned has its true cost."""
    changes = _wanted_changes(problem, path)
    if not changes:
        return path
    allowance = problem.tables.weights.same_phrase
    changes = _affordable(problem, changes, path.cost + allowance)
    if not changes:
        return path
    together = _solve_with(
        problem, [change for _, change in changes], path.cost + allowance * len(changes)
    )
    if together is not None:
        return together
    kept: list[tuple[list[int], Form]] = []
    best = path
    for _, change in changes[:MOST_TRIALS]:
        found = _solve_with(problem, [*kept, change], best.cost + allowance)
        if found is not None:
            kept.append(change)
            best = found
    return best


def _wanted_changes(problem: Problem, path: Path) -> list[tuple[int, tuple[list[int], Form]]]:
    """(bar, (its events, the form that its likes have)) for each bar that differs."""
    events = problem.course.events
    by_bar: dict[int, list[int]] = {}
    for index, event in enumerate(events):
        by_bar.setdefault(event.bar, []).append(index)
    likes: dict[tuple, list[int]] = {}
    for bar, members in by_bar.items():
        if len(members) >= LEAST_EVENTS:
            asked = tuple(
                (problem.sets[i].demand, events[i].duration, events[i].piece) for i in members
            )
            likes.setdefault(asked, []).append(bar)
    changes = []
    for bars in likes.values():
        if len(bars) < 2:
            continue
        forms = {bar: _form(problem, path, by_bar[bar]) for bar in bars}
        if len(set(forms.values())) == 1:
            continue
        votes: Counter[Form] = Counter()
        for bar in bars:
            votes[forms[bar]] += problem.course.times_played[by_bar[bar][0]]
        usual = votes.most_common(1)[0][0]
        changes += [(bar, (by_bar[bar], usual)) for bar in bars if forms[bar] != usual]
    return sorted(changes, key=lambda change: change[0])


def _affordable(
    problem: Problem, changes: list[tuple[int, tuple[list[int], Form]]], most: float
) -> list[tuple[int, tuple[list[int], Form]]]:
    """The changes for which a lower bound of the tune's cost is at most ``most``, least first."""
    layers = problem.layers
    found: list[tuple[float, tuple[int, tuple[list[int], Form]]]] = []
    for bar, (members, form) in changes:
        first, last = members[0], members[-1]
        costs = layers.reached[first - 1] if first else None
        for index in range(first, last + 1):
            way = np.zeros(1) if costs is None else (layers.steps[index - 1] + costs).min(axis=1)
            costs = way + layers.relaxed[index]
            if index in members:
                allowed = problem.sets[index].label == form[members.index(index)]
                costs = np.where(allowed, costs, np.inf)
        least = float("inf") if costs is None else float((costs + layers.ahead[last]).min())
        if least <= most:
            found.append((least, (bar, (members, form))))
    return [change for _, change in sorted(found, key=lambda item: (item[0], item[1][0]))]


def _form(problem: Problem, path: Path, members: list[int]) -> Form:
    return tuple(int(problem.sets[i].label[path.states[i]]) for i in members)


def _solve_with(problem: Problem, forced: list[tuple[list[int], Form]], most: float) -> Path | None:
    """The cheapest path with some events' labels given, if it costs at most ``most``."""
    states = list(problem.layers.states)
    for members, form in forced:
        for index, label in zip(members, form, strict=True):
            allowed = problem.sets[index].label == label
            states[index] = np.where(allowed, states[index], np.inf)
    layers = Layers(states, problem.layers.steps, problem.layers.leaps)
    return cheapest_within(layers, most)
