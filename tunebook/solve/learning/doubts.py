"""Marks that ask for a question back: what no hand could play, what costs so much that it may be a
slip of the pen, and like bars that are marked otherwise."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from tunebook.model.choices import Doubtful
from tunebook.model.hand import Limits
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.lesson import Lesson, Sheet, layers_of, missed, where_missed
from tunebook.solve.learning.marks import Mark
from tunebook.solve.learning.parameters import Array
from tunebook.solve.learning.rates import HandCosts
from tunebook.solve.learning.study import Spans, World, pose
from tunebook.solve.search.shortest_path import cheapest_path

DEAR = 4.0
"""A mark that costs so much more than leaving it may be a slip; our judgement (a row jump at
walking pace costs 1)."""


class Doubt(NamedTuple):
    """A question to the player: of which tune and why, at which note, what is marked there, and at
    which note a bar alike is marked otherwise."""

    name: str
    why: Doubtful
    ref: NoteRef
    mark: Mark
    other: NoteRef | None = None


def doubts(
    world: World, factors: Spans, vector: Array, sheets: Sequence[Sheet]
) -> tuple[Doubt, ...]:
    """All doubts about the marks of the sheets, seen with the learnt hand."""
    lessons, rates = pose(world, factors, sheets)
    costs = HandCosts(rates, vector)
    found: list[Doubt] = []
    for lesson in lessons:
        name = lesson.sheet.name
        found += [Doubt(name, "impossible", mark.ref, mark) for mark in lesson.impossible]
        found += _dear(lesson, costs)
        found += _unlike(lesson)
    if world.limits != Limits():
        return tuple(_by_limits(found, world, factors, vector, sheets))
    return tuple(found)


def _by_limits(
    found: Sequence[Doubt], world: World, factors: Spans, vector: Array, sheets: Sequence[Sheet]
) -> Iterator[Doubt]:
    """The same where a mark that costs much only for the limits is told to go beyond them."""
    names = {one.name for one in found if one.why == "dear"}
    doubtful = [sheet for sheet in sheets if sheet.name in names]
    free = doubts(replace(world, limits=Limits()), factors, vector, doubtful)
    dear = {(one.name, one.ref) for one in free if one.why == "dear"}
    for one in found:
        is_beyond = one.why == "dear" and (one.name, one.ref) not in dear
        yield one._replace(why="beyond") if is_beyond else one


def _dear(lesson: Lesson, costs: HandCosts) -> Iterator[Doubt]:
    """Marks that the cheapest path departs from even when that costs DEAR."""
    layers = where_missed(lesson, layers_of(lesson, costs), DEAR)
    marks = {mark.ref: mark for mark in lesson.sheet.marks}
    for event in missed(lesson, cheapest_path(layers).states):
        ref = lesson.problem.order.events[event].refs[0]
        yield Doubt(lesson.sheet.name, "dear", ref, marks[ref])


def _unlike(lesson: Lesson) -> Iterator[Doubt]:
    """The first mark of each bar that differs from that of a bar alike, which comes from the same
    tone and goes on to the same."""
    marks = {mark.ref: mark for mark in lesson.sheet.marks}
    bars: dict[int, list[int]] = {}
    events, demands = lesson.problem.order.events, lesson.demands
    for number, event in enumerate(events):
        if event.piece == 0:
            bars.setdefault(event.bar, []).append(number)
    first: dict[tuple[Hashable, ...], list[int]] = {}
    for numbers in bars.values():
        around = demands[max(0, numbers[0] - 1)], demands[min(len(demands) - 1, numbers[-1] + 1)]
        alike = (around, *((demands[number], events[number].duration) for number in numbers))
        before = first.setdefault(alike, numbers)
        for old, new in zip(before, numbers, strict=True):
            a, b = marks.get(events[old].refs[0]), marks.get(events[new].refs[0])
            if a is not None and b is not None and _contradict(a, b):
                yield Doubt(lesson.sheet.name, "unlike", b.ref, b, a.ref)
                break


def _contradict(a: Mark, b: Mark) -> bool:
    if a.fingers and b.fingers and a.fingers != b.fingers:
        return True
    return a.string is not None and b.string is not None and a.string != b.string
