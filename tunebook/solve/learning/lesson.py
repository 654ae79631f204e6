"""One fingered tune as a lesson: her cheapest path that keeps to the marks against all others.

The melody is fingered as if there were no drone. A lesson is posed once for a hand; under any
parameters it then gives the cheapest path, the cheapest one that agrees with the marks, and the
cheapest when each note that disagrees is made cheaper (loss-augmented: Taskar, Chatalbashev, Koller
& Guestrin, "Learning structured prediction models: a large margin approach", ICML 2005).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tunebook.model.tune import Tune
from tunebook.solve.fingering.choose import same_for_same
from tunebook.solve.fingering.move_tables import CostTables
from tunebook.solve.fingering.postures import Array, Demand, PostureSet
from tunebook.solve.fingering.problem import Problem, pose_problem
from tunebook.solve.learning.marks import Mark
from tunebook.solve.learning.parameters import product
from tunebook.solve.learning.rates import HandCosts, HandRates
from tunebook.solve.search.layers import Layers, Path, layers_with_leaps
from tunebook.solve.search.shortest_path import cheapest_path
from tunebook.solve.transpose import without_pins


class Sheet(NamedTuple):
    """A marked tune: its name, the tune, its speed in whole notes a second, and its marks."""

    name: str
    tune: Tune
    speed: float
    marks: tuple[Mark, ...]


@dataclass(frozen=True, eq=False)
class Lesson:
    """A sheet posed for a hand. ``problem`` has the sets of its rates and no costs of its own;
    ``differs`` says by event which postures are not as marked (None where nothing is marked);
    ``impossible`` are marks that no posture is like."""

    sheet: Sheet
    problem: Problem
    demands: tuple[Demand, ...]
    differs: tuple[Array | None, ...]
    impossible: tuple[Mark, ...]

    @property
    def marked(self) -> int:
        """How many notes are marked so that it can be."""
        return sum(one is not None for one in self.differs)


def pose_lesson(sheet: Sheet, tables: CostTables, rates: HandRates) -> Lesson | None:
    """The lesson of a sheet, its costs in ``rates``; None when nothing of it can be played."""
    problem = pose_problem(without_pins(sheet.tune), tables, sheet.speed)
    if not problem.sets:
        return None
    demands = tuple(found.demand for found in problem.sets)
    ways = problem.order.ways
    rates.add(demands, [(demands[w.start], demands[w.end], w.link.kind) for w in ways])
    sets = tuple(rates.sets[demand].postures for demand in demands)
    by_place = {mark.ref: mark for mark in sheet.marks}
    differs: list[Array | None] = []
    impossible: list[Mark] = []
    for event, postures in zip(problem.order.events, sets, strict=True):
        mark = by_place.get(event.refs[0]) if event.piece == 0 else None
        found = None if mark is None else _differing(mark, postures)
        if mark is not None and found is not None and found.all():
            impossible.append(mark)
            found = None
        differs.append(found)
    solved = {event.refs[0] for event in problem.order.events}
    impossible += [mark for mark in sheet.marks if mark.ref not in solved]
    posed = replace(problem, sets=sets, layers=Layers((), ()))
    return Lesson(sheet, posed, demands, tuple(differs), tuple(impossible))


def _differing(mark: Mark, postures: PostureSet) -> Array:
    """Which postures are not as marked."""
    _, first = np.unique(postures.label, return_index=True)
    by_label = np.array([not mark.agrees(postures.stops[row]) for row in first.tolist()])
    return np.asarray(by_label[postures.label])


def layers_of(lesson: Lesson, costs: HandCosts) -> Layers:
    """The search for this lesson under these costs."""
    order, demands = lesson.problem.order, lesson.demands
    states: list[Array] = [
        costs.postures(demand) * (share * times)
        for demand, share, times in zip(demands, order.shares, order.times_played, strict=True)
    ]
    made = [
        costs.moves((demands[way.start], demands[way.end], way.link)) * way.times
        for way in order.ways
    ]
    steps, leaps = made[: len(order.steps)], made[len(order.steps) :]
    ends = ((way.start, way.end) for way in order.leaps)
    return layers_with_leaps(states, steps, zip(ends, leaps, strict=True))


def where_missed(
    lesson: Lesson, layers: Layers, extra: float, waived: Collection[int] = ()
) -> Layers:
    """The same search where each posture that is not as marked costs ``extra`` more (less where it
    is below 0) each time that its note is played, the bars in ``waived`` left out."""
    order = lesson.problem.order
    states = list(layers.states)
    for at, (event, differs) in enumerate(zip(order.events, lesson.differs, strict=True)):
        if differs is not None and event.bar not in waived:
            states[at] = states[at] + differs * (extra * order.times_played[at])
    return Layers(states, layers.steps, layers.leaps)


def as_printed(lesson: Lesson, layers: Layers) -> tuple[Path, Path]:
    """The cheapest path, and the solver's answer: the same with bars alike made alike."""
    best = cheapest_path(layers)
    return best, same_for_same(replace(lesson.problem, layers=layers), best)


def bars_for_likeness(lesson: Lesson, best: Path, printed: Path) -> frozenset[int]:
    """Bars that the solver fingers otherwise than is cheapest, for the sake of bars alike, and in
    which it agrees with her: they say nothing against the weights."""
    changed: dict[int, bool] = {}
    facts = zip(
        lesson.problem.order.events,
        lesson.problem.sets,
        best.states,
        printed.states,
        lesson.differs,
        strict=True,
    )
    for event, postures, a, b, differs in facts:
        if postures.label[a] != postures.label[b]:
            changed.setdefault(event.bar, True)
        if differs is not None and differs[b]:
            changed[event.bar] = False
    return frozenset(bar for bar, is_explained in changed.items() if is_explained)


def rates_of_path(lesson: Lesson, rates: HandRates, states: Sequence[int]) -> Array:
    """What the path counts of each parameter over the tune as played, shape (COUNT + 1,)."""
    order, demands = lesson.problem.order, lesson.demands
    rows = [rates.sets[demand].start + state for demand, state in zip(demands, states, strict=True)]
    weights = np.array(order.shares) * order.event_counts
    total = product(rates.own[rows].T, weights)
    fixed, by_time, way = [], [], []
    for one in order.ways:
        moves = rates.moves[demands[one.start], demands[one.end], one.link.kind]
        place = states[one.end], states[one.start]
        fixed.append(moves.fixed[place])
        by_time.append(moves.by_time[place])
        way.append(rates.way_rows(moves, one.link)[place])
    if fixed:
        times, slow = order.way_counts, order.way_counts / order.times_s
        total = total + product((rates.fixed[fixed] + rates.way[way]).T, times)
        total = total + product((rates.by_time[by_time] + rates.way_by_time[way]).T, slow)
    return total


def missed(lesson: Lesson, states: Sequence[int], waived: Collection[int] = ()) -> list[int]:
    """The events that the path plays otherwise than marked, bars in ``waived`` left out."""
    events = zip(lesson.problem.order.events, lesson.differs, states, strict=True)
    return [
        number
        for number, (event, differs, state) in enumerate(events)
        if differs is not None and differs[state] and event.bar not in waived
    ]
