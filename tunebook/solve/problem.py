"""A tune made ready for the search: events, postures, and the layers with their costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunebook.errors import Message
from tunebook.model.tune import Tune
from tunebook.solve.cost_tables import CostTables
from tunebook.solve.course import Course
from tunebook.solve.demands import (
    DroneDemand,
    LostPin,
    drones_at,
    lost_pin_messages,
    possible_drones,
    postures_for,
)
from tunebook.solve.events import Event
from tunebook.solve.layers import Layers, Leap
from tunebook.solve.outline import Outline, course_of, outline_of
from tunebook.solve.postures import Array, Demand, PostureSet
from tunebook.solve.unplayable import unplayable_messages


@dataclass(frozen=True)
class Problem:
    """A tune made ready for the search: the playable events, their postures, their order.
    ``held`` is the drone that is asked for at each event."""

    tune: Tune
    tables: CostTables
    course: Course
    sets: tuple[PostureSet, ...]
    layers: Layers
    drone: tuple[DroneDemand, ...]
    held: tuple[DroneDemand | None, ...]
    speed: float
    unplayable: tuple[Event, ...]
    messages: tuple[Message, ...]


def pose_problem(
    tune: Tune,
    tables: CostTables,
    speed: float,
    drone: Sequence[DroneDemand] = (),
) -> Problem:
    """Make the search's layers for ``tune`` at ``speed`` (whole notes a second)."""
    kept, messages = possible_drones(drone, tables.reach.instrument, tune)
    outline = outline_of(tune, speed, tables.weights, kept)
    held = drones_at(kept, outline.events, outline.end)
    found = _postures(outline, held, tables, messages)
    left_out = tuple([number for number, postures in enumerate(found) if postures is None])
    sets = tuple([postures for postures in found if postures is not None])
    course = course_of(outline, left_out)
    return Problem(
        tune,
        tables,
        course,
        sets,
        _layers(course, sets, tables),
        kept,
        tuple([drone for drone, layer in zip(held, found, strict=True) if layer is not None]),
        speed,
        tuple([outline.events[number] for number in left_out]),
        tuple(messages),
    )


def _postures(
    outline: Outline,
    held: Sequence[DroneDemand | None],
    tables: CostTables,
    messages: list[Message],
) -> list[PostureSet | None]:
    """The postures for each event, None where it cannot be played; ``messages`` are added to."""
    known: dict[tuple[int, int], PostureSet | None] = {}
    found: list[PostureSet | None] = []
    lost: list[LostPin] = []
    unplayable: list[Event] = []
    tune = outline.tune
    for event, plain, over in zip(outline.events, outline.demands, held, strict=True):
        if plain is None:
            postures, lost_here = postures_for(event, over, tables)
            lost.extend(lost_here)
        else:
            asked = id(plain), id(over)
            if asked not in known:
                known[asked] = tables.postures(_over(plain, over))
            postures = known[asked]
        if postures is None and not event.piece:
            unplayable.append(event)
        found.append(postures)
    messages.extend(unplayable_messages(tune, unplayable, tables.reach.instrument))
    messages.extend(lost_pin_messages(tune, lost))
    return found


def _over(plain: Demand, drone: DroneDemand | None) -> Demand:
    """The demand with a drone held meanwhile."""
    if drone is None:
        return plain
    return plain._replace(drone=(drone.string_index, drone.key, drone.finger))


def _layers(course: Course, sets: Sequence[PostureSet], tables: CostTables) -> Layers:
    """Costs of the search: own costs times how often they are played, steps, leaps."""
    states = _own_costs(course, sets, tables)
    costs = _way_costs(course, sets, tables)
    leaps = []
    for way, moves in zip(course.leaps, costs[len(course.steps) :], strict=True):
        if way.start == way.end:
            states[way.start] = states[way.start] + np.diagonal(moves)
        elif way.start < way.end:
            leaps.append(Leap(way.start, way.end, moves))
        else:
            leaps.append(Leap(way.end, way.start, moves.T))
    return Layers(states, costs[: len(course.steps)], leaps)


def _own_costs(course: Course, sets: Sequence[PostureSet], tables: CostTables) -> list[Array]:
    """Costs of each event's postures, as often as it is played."""
    known: dict[tuple[Demand, float, float, int], Array] = {}
    states: list[Array] = []
    for postures, share, pause, count in zip(
        sets, course.shares, course.pauses, course.times_played, strict=True
    ):
        asked = postures.demand, share, pause if postures.may_pause else 0.0, count
        if asked not in known:
            known[asked] = tables.own_cost(postures, *asked[1:])
        states.append(known[asked])
    return states


def _way_costs(course: Course, sets: Sequence[PostureSet], tables: CostTables) -> list[Array]:
    """Costs of each way, as often as it is taken."""
    asked = [
        (sets[way.start].demand, sets[way.end].demand, number)
        for way, number in zip(course.ways, course.link_numbers, strict=True)
    ]
    once = dict(zip(asked, course.ways, strict=True))
    made = tables.all_moves([(sets[w.start], sets[w.end], w.link) for w in once.values()])
    known = dict(zip(once, made, strict=True))
    often: dict[tuple, Array] = {}
    costs = []
    for key, way in zip(asked, course.ways, strict=True):
        if way.times == 1:
            costs.append(known[key])
            continue
        counted = key, way.times
        if counted not in often:
            often[counted] = known[key] * way.times
        costs.append(often[counted])
    return costs
