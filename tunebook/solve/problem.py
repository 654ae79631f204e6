"""A tune made ready for the search: events, postures, and the layers with their costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tunebook.errors import Message
from tunebook.model.tune import Tune
from tunebook.solve.cost_tables import CostTables
from tunebook.solve.demands import (
    DroneDemand,
    drone_at,
    possible_drones,
    postures_for,
    unplayable_message,
)
from tunebook.solve.events import Course, Event, build_course, written_events
from tunebook.solve.layers import Layers, Leap
from tunebook.solve.postures import Array, PostureSet
from tunebook.solve.weights import Weights


@dataclass(frozen=True)
class Problem:
    """A tune made ready for the search: the playable events, their postures, their order."""

    tune: Tune
    tables: CostTables
    course: Course
    sets: tuple[PostureSet, ...]
    layers: Layers
    drone: tuple[DroneDemand, ...]
    speed: float
    unplayable: tuple[Event, ...]
    messages: tuple[Message, ...]

    @property
    def distinct_sets(self) -> list[PostureSet]:
        """The posture sets in use, each once."""
        return list({layer.serial: layer for layer in self.sets}.values())


def pose_problem(
    tune: Tune,
    tables: CostTables,
    speed: float,
    drone: Sequence[DroneDemand] = (),
) -> Problem:
    """Make the search's layers for ``tune`` at ``speed`` (whole notes a second)."""
    weights = tables.weights
    kept, messages = possible_drones(drone, tables.reach.instrument, tune)
    cuts = {demand.onset for demand in kept} | {demand.end for demand in kept}
    long_note = Fraction(weights.long_note_s * speed).limit_denominator(4096)
    events, sets, unplayable = [], [], []
    for event in written_events(tune, cuts, long_note):
        postures, noticed = postures_for(event, drone_at(kept, event.onset), tables, tune)
        messages.extend(noticed)
        if postures is None:
            if not event.piece:
                messages.append(unplayable_message(tune, event, tables.reach.instrument))
            unplayable.append(event)
            continue
        events.append(event)
        sets.append(postures)
    course = build_course(tune, events, speed, weights)
    layers = _layers(course, sets, tables, speed)
    return Problem(
        tune, tables, course, tuple(sets), layers, kept, speed, tuple(unplayable), tuple(messages)
    )


def event_share(event: Event, weights: Weights) -> float:
    """Share of a posture's cost that one event bears."""
    return weights.grace_share if event.is_grace else 1.0 / event.pieces


def pause_cost(event: Event, speed: float, weights: Weights) -> float:
    """Cost of a drone that pauses during this event."""
    if event.is_grace:
        return 0.0
    seconds = float(event.duration) / speed
    return weights.drone_pause / event.pieces + weights.drone_pause_second * seconds


def _layers(course: Course, sets: Sequence[PostureSet], tables: CostTables, speed: float) -> Layers:
    """Costs of the search: own costs times how often they are played, steps, leaps."""
    weights = tables.weights
    states: list[Array] = []
    for event, postures, count in zip(course.events, sets, course.times_played, strict=True):
        pause = pause_cost(event, speed, weights) if postures.pause.any() else 0.0
        own = tables.posture_cost(postures, event_share(event, weights), pause)
        states.append(own * count if count != 1 else own)
    steps = []
    for way in course.steps:
        costs = tables.moves(sets[way.start], sets[way.end], way.link)
        steps.append(costs if way.times == 1 else costs * way.times)
    leaps = []
    for way in course.leaps:
        costs = tables.moves(sets[way.start], sets[way.end], way.link) * way.times
        if way.start == way.end:
            states[way.start] = states[way.start] + np.diagonal(costs)
        elif way.start < way.end:
            leaps.append(Leap(way.start, way.end, costs))
        else:
            leaps.append(Leap(way.end, way.start, costs.T))
    return Layers(states, steps, leaps)
