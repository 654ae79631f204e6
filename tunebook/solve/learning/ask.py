"""What to ask a player: passages whose fingering would say most about her weights.

Some vectors of parameters that her marks leave possible are drawn around what was learnt from them
(around the usual ones where she has marked nothing). Each fingers all tunes. A passage of two bars
without marks is worth asking when these fingerings differ: when the ways are many and each is
likely (their entropy), and when they differ in many notes. Likes of a passage are asked once.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Iterator, Sequence, Set
from typing import NamedTuple

import numpy as np

from tunebook.solve.learning.lesson import Lesson, Sheet, as_printed, layers_of, missed
from tunebook.solve.learning.parameters import Array, parameters_for
from tunebook.solve.learning.passages import MOST_NOTES, Form, stand_alone
from tunebook.solve.learning.rates import HandCosts
from tunebook.solve.learning.study import SAME, World, learn, pose

DRAWS, KEPT = 24, 12
SPREAD = 0.4
"""How far a weight is drawn, as a standard deviation of its logarithm; our judgement."""
MOST_TUNES, MOST_A_TUNE = 24, 2
MOST_WAYS = 3
FEWEST_EVENTS, MOST_EVENTS = 4, MOST_NOTES
LEARNING_ROUNDS = 8


class Question(NamedTuple):
    """A passage to ask about: the sheet's name, indices of its first and last bar, and the ways to
    play it, the likeliest first, each with the stops of its notes; ``worth`` ranks questions."""

    name: str
    first: int
    last: int
    ways: tuple[Form, ...]
    worth: float


def questions(world: World, sheets: Sequence[Sheet], count: int) -> list[Question]:
    """The ``count`` passages most worth asking about, the best first; fewer where there are no
    more that differ."""
    step = max(1, -(-len(sheets) // MOST_TUNES))
    marked = [sheet for sheet in sheets if sheet.marks]
    chosen = {sheet.name: sheet for sheet in [*marked[:MOST_TUNES], *sheets[::step]]}
    lessons, rates = pose(world, SAME, list(chosen.values()))
    start = parameters_for(world.instrument.kind).usual
    if sum(lesson.marked for lesson in lessons):
        start = learn(world, SAME, marked[:MOST_TUNES], LEARNING_ROUNDS).vector
    answers = _answers(lessons, [HandCosts(rates, one) for one in _drawn(world, start)])
    found = [
        one
        for lesson, paths in zip(lessons, answers, strict=True)
        for one in _passages(lesson, paths)
    ]
    found.sort(key=lambda one: (-one[0].worth, one[0].name, one[0].first))
    answered = {alike for lesson in lessons for alike in _answered(lesson)}
    return list(_picked(found, answered))[:count]


def _drawn(world: World, start: Array) -> Iterator[Array]:
    """The vector to start from and others around it; the chance is the same in every run."""
    parameters = parameters_for(world.instrument.kind)
    chance = np.random.default_rng(1)
    yield start
    for _ in range(DRAWS - 1):
        other = (start + 0.05 * parameters.scale) * np.exp(chance.normal(0.0, SPREAD, len(start)))
        yield np.clip(other, parameters.least, parameters.most)


def _answers(lessons: Sequence[Lesson], costs: Sequence[HandCosts]) -> list[list[Sequence[int]]]:
    """For each lesson the solver's paths under those costs that depart from the fewest marks."""
    paths = [[as_printed(one, layers_of(one, each))[1].states for one in lessons] for each in costs]
    wrong = [
        sum(len(missed(lesson, path)) for lesson, path in zip(lessons, one, strict=True))
        for one in paths
    ]
    kept = sorted(range(len(paths)), key=lambda at: (wrong[at], at))[:KEPT]
    return [[paths[at][number] for at in kept] for number in range(len(lessons))]


def _passages(
    lesson: Lesson, paths: Sequence[Sequence[int]]
) -> Iterator[tuple[Question, Hashable]]:
    """Passages of two bars with more than one way, each with what is alike in its likes."""
    bars = _events_by_bar(lesson)
    for bar in bars:
        events = [*bars[bar], *bars.get(bar + 1, ())]
        is_marked = any(lesson.differs[number] is not None for number in events)
        if is_marked or not FEWEST_EVENTS <= len(events) <= MOST_EVENTS:
            continue
        if bar + 1 not in bars or not stand_alone(lesson.sheet.tune, bar):
            continue
        forms = Counter(_form(lesson, path, events) for path in paths)
        if len(forms) < 2:
            continue
        ways = tuple(form for form, _ in forms.most_common(MOST_WAYS))
        worth = _entropy(forms) * math.sqrt(_differing(ways))
        alike = tuple(lesson.demands[number] for number in events)
        yield Question(lesson.sheet.name, bar, bar + 1, ways, worth), alike


def _events_by_bar(lesson: Lesson) -> dict[int, list[int]]:
    bars: dict[int, list[int]] = {}
    for number, event in enumerate(lesson.problem.order.events):
        if event.piece == 0 and not event.is_grace:
            bars.setdefault(event.bar, []).append(number)
    return bars


def _answered(lesson: Lesson) -> Iterator[Hashable]:
    """What is alike in the likes of each passage of which every note is marked."""
    bars = _events_by_bar(lesson)
    for bar in bars:
        events = [*bars[bar], *bars.get(bar + 1, ())]
        if all(lesson.differs[number] is not None for number in events):
            yield tuple(lesson.demands[number] for number in events)


def _form(lesson: Lesson, path: Sequence[int], events: Sequence[int]) -> Form:
    problem = lesson.problem
    return tuple(
        (problem.order.events[number].refs[0], problem.sets[number].stops[path[number]])
        for number in events
    )


def _entropy(forms: Counter[Form]) -> float:
    whole = sum(forms.values())
    return -sum(count / whole * math.log(count / whole) for count in forms.values())


def _differing(ways: Sequence[Form]) -> int:
    """In how many notes the first two ways differ."""
    return sum(a != b for a, b in zip(ways[0], ways[1], strict=True))


def _picked(
    found: Sequence[tuple[Question, Hashable]], answered: Set[Hashable]
) -> Iterator[Question]:
    """The questions in order, likes and neighbours once, not too many of one tune, and none of
    which a like is ``answered``."""
    seen = set(answered)
    by_tune: dict[str, list[Question]] = {}
    for one, alike in found:
        others = by_tune.setdefault(one.name, [])
        is_near = any(abs(one.first - other.first) < 2 for other in others)
        if alike in seen or is_near or len(others) >= MOST_A_TUNE:
            continue
        seen.add(alike)
        others.append(one)
        yield one
