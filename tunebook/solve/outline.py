"""What of a tune's problem stays the same whatever drone is held: its events and their course.

A tune is posed several times in a row, with one drone after the other; its outline is kept
meanwhile.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.tune import Tune
from tunebook.solve.course import Course, build_course
from tunebook.solve.demands import DroneDemand, has_pins
from tunebook.solve.events import Event, written_events
from tunebook.solve.postures import Demand
from tunebook.solve.weights import Weights
from tunebook.solve.whole_times import Same, whole_times


@dataclass(frozen=True, eq=False)
class Outline:
    """Events in written order; ``demands`` are what each asks for while no drone is held, None
    where pins have a say in that. ``end`` is a time, in whole notes, by which all have begun."""

    tune: Tune
    speed: float
    weights: Weights
    events: tuple[Event, ...]
    demands: tuple[Demand | None, ...]
    end: Fraction


def outline_of(tune: Tune, speed: float, weights: Weights, drone: Sequence[DroneDemand]) -> Outline:
    """The outline of ``tune`` at ``speed`` (whole notes a second), long notes cut where the drone
    changes. The outlines of the last few tunes are kept."""
    end = whole_times(tune).end
    cuts = {time for demand in drone for time in (demand.onset, demand.end) if 0 < time < end}
    return _outline(Same(tune), speed, weights, tuple(sorted(cuts)))


@functools.lru_cache(maxsize=4)
def _outline(same: Same, speed: float, weights: Weights, cuts: tuple[Fraction, ...]) -> Outline:
    tune = same.tune
    long_note = Fraction(weights.long_note_s * speed).limit_denominator(4096)
    events = tuple(written_events(tune, cuts, long_note))
    known: dict[tuple, Demand] = {}
    demands: list[Demand | None] = []
    for event in events:
        if has_pins(event.note):
            demands.append(None)
            continue
        asked = event.midis, event.trill
        if asked not in known:
            known[asked] = Demand(event.midis, (), None, None, event.trill)
        demands.append(known[asked])
    end = whole_times(tune).end
    begun = max([event.onset for event in events if event.onset >= end], default=None)
    if begun is not None:
        end = begun + 1
    return Outline(tune, speed, weights, events, tuple(demands), end)


@functools.lru_cache(maxsize=4)
def course_of(outline: Outline, left_out: tuple[int, ...]) -> Course:
    """The course of the outline's events, those with these numbers left out."""
    events = outline.events
    if left_out:
        lacking = set(left_out)
        events = tuple([event for n, event in enumerate(events) if n not in lacking])
    return build_course(outline.tune, events, outline.speed, outline.weights)
