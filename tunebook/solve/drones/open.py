"""The best line of open strings that sound along with a melody which lies where it lies best.

What players do (common practice, no source): the melody comes first. The drone is an open string
beside the melody's string; when the melody moves to the drone's string, the drone goes to the other
neighbour or stops. It begins and ends with the beat, mostly with a strong one, and lasts.

The search is exact: in each moment one of the strings that it allows sounds, or none. Moments form
a tree, and the best line is found by sums of best values from the last moment to the first (dynamic
programming on a tree; Bertele & Brioschi 1972, Nonserial Dynamic Programming). How long a string
has sounded is part of the state, since a short drone has a price.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.arrangement import DroneSpan, Stop
from tunebook.model.instrument import Instrument
from tunebook.solve.drones.moments import Moment

SILENCE = 0

# In quarters of full consonance, by place: with a phrase, a bar, a beat, between beats, during a
# tied note; our judgement.
START_COSTS = (0.6, 0.8, 1.2, 3.0, 9.0)
"""What it costs to begin a drone."""
STOP_COSTS = (0.0, 0.1, 0.3, 1.0, 9.0)
"""What it costs to end one: the bow leaves a string more easily with the beat."""
CHANGE_COSTS = (0.4, 0.6, 0.9, 2.2, 9.0)
"""What it costs to go from one open string to another without a pause."""
FAR_COST = 0.5
"""Beyond that, for each string that the pair under the bow moves further than its neighbour."""
SHORT_COSTS = (3.0, 0.8)
"""For a drone that sounds for less than a beat, and for less than two."""


class State(NamedTuple):
    """What sounds (SILENCE or a string), and for how many steps, counted up to two beats."""

    string: int
    age: int


@dataclass(frozen=True)
class DroneLine:
    """The string that sounds in each moment (SILENCE for none), and what the line is worth, in
    quarters of full consonance over the tune as played."""

    strings: tuple[int, ...]
    value: float


def best_line(moments: Sequence[Moment], beat: int) -> DroneLine:
    """The line of drones of greatest value. ``beat`` is the least length in steps."""
    children: list[list[int]] = [[] for _ in moments]
    for index, moment in enumerate(moments):
        if moment.parent >= 0:
            children[moment.parent].append(index)
    reachable = _states(moments, beat)
    values: list[dict[State, float]] = [{} for _ in moments]
    choices: list[dict[State, list[State]]] = [{} for _ in moments]
    for index in range(len(moments) - 1, -1, -1):
        moment = moments[index]
        gains = dict(moment.gains)
        for state in reachable[index]:
            value = gains.get(state.string, 0.0) * moment.times
            chosen = []
            for child in children[index]:
                best, follower = _best_after(moments, index, child, state, values[child], beat)
                value += best
                chosen.append(follower)
            if not children[index]:
                value -= _short_cost(state, beat) * moment.times
            values[index][state] = value
            choices[index][state] = chosen
    return _trace(moments, children, values, choices, beat)


def line_values(moments: Sequence[Moment], strings: Sequence[int], beat: int) -> list[float]:
    """What a given line is worth in each moment, worked out forwards and on its own; minus infinity
    where a string sounds that may not. ``best_line`` finds the line with the greatest sum."""
    found: list[float] = []
    ages: list[int] = []
    has_child = {moment.parent for moment in moments}
    for index, (moment, string) in enumerate(zip(moments, strings, strict=True)):
        gains = dict(moment.gains)
        before, age = SILENCE, 0
        if moment.parent >= 0:
            before, age = strings[moment.parent], ages[moment.parent]
        goes_on = string == before and not (moment.is_break and string)
        cost = 0.0
        if not goes_on:
            leaving = moments[moment.parent] if moment.parent >= 0 else moment
            cost = _change_cost(leaving, moment, State(before, age), string, beat)
        ages.append(0 if string == SILENCE else (age if goes_on else 0) + moment.duration)
        if index not in has_child:
            cost += _short_cost(State(string, ages[-1]), beat)
        gain = gains.get(string, 0.0 if string == SILENCE else float("-inf"))
        found.append((gain - cost) * moment.times)
    return found


def _states(moments: Sequence[Moment], beat: int) -> list[list[State]]:
    """The states that can be reached in each moment."""
    found: list[list[State]] = []
    for moment in moments:
        states = {State(SILENCE, 0)}
        before = found[moment.parent] if moment.parent >= 0 else []
        for string, _ in moment.gains:
            states.add(State(string, min(2 * beat, moment.duration)))
            if not moment.is_break:
                states.update(
                    State(string, min(2 * beat, one.age + moment.duration))
                    for one in before
                    if one.string == string
                )
        found.append(sorted(states))
    return found


def _best_after(
    moments: Sequence[Moment],
    index: int,
    child: int,
    state: State,
    values: dict[State, float],
    beat: int,
) -> tuple[float, State]:
    """The best value of ``child`` and what follows it when ``state`` comes before it."""
    moment = moments[child]
    best = State(SILENCE, 0), float("-inf")
    for string in (SILENCE, *(string for string, _ in moment.gains)):
        goes_on = string == state.string and not (moment.is_break and string)
        age = 0 if string == SILENCE else (state.age if goes_on else 0) + moment.duration
        cost = 0.0 if goes_on else _change_cost(moments[index], moment, state, string, beat)
        after = State(string, min(2 * beat, age))
        value = values[after] - cost * moment.times
        if value > best[1]:
            best = after, value
    return best[1], best[0]


def _change_cost(before: Moment, after: Moment, state: State, string: int, beat: int) -> float:
    """Cost of another string, or of the same one begun anew, in the moment ``after``."""
    place = after.place
    cost = _short_cost(state, beat)
    if string == SILENCE:
        return cost + (STOP_COSTS[place] if state.string else 0.0)
    if state.string == SILENCE or after.is_break:
        return cost + START_COSTS[place]
    away = abs(after.melody + string - before.melody - state.string) / 2.0
    return cost + CHANGE_COSTS[place] + FAR_COST * max(0.0, away - 1.0)


def _short_cost(state: State, beat: int) -> float:
    if state.string == SILENCE or state.age >= 2 * beat:
        return 0.0
    return SHORT_COSTS[0 if state.age < beat else 1]


def _trace(
    moments: Sequence[Moment],
    children: Sequence[Sequence[int]],
    values: Sequence[dict[State, float]],
    choices: Sequence[dict[State, list[State]]],
    beat: int,
) -> DroneLine:
    """Follow the best choices from the roots on; of equals silence, then the lower string."""
    chosen: dict[int, State] = {}
    total = 0.0
    for index, moment in enumerate(moments):
        if moment.parent < 0:
            fresh = (0, min(2 * beat, moment.duration))
            value, _, _, state = max(
                (value - _root_cost(moment, state), -state.string, -state.age, state)
                for state, value in values[index].items()
                if state.age in fresh
            )
            total += value
            chosen[index] = state
        for child, follower in zip(children[index], choices[index][chosen[index]], strict=True):
            chosen[child] = follower
    return DroneLine(tuple(chosen[index].string for index in range(len(moments))), total)


def _root_cost(moment: Moment, state: State) -> float:
    return START_COSTS[moment.place] * moment.times if state.string else 0.0


def open_spans(
    moments: Sequence[Moment], strings: Sequence[int], instrument: Instrument, per_whole: int
) -> tuple[DroneSpan, ...]:
    """Moments in a row with the same string as one span, in written order."""
    found: list[tuple[int, int, int]] = []
    for index, (moment, string) in enumerate(zip(moments, strings, strict=True)):
        if string == SILENCE:
            continue
        end = moment.onset + moment.duration
        goes_on = found and found[-1][0] == string and found[-1][2] == moment.onset
        if goes_on and not moment.is_break and moment.parent == index - 1:
            found[-1] = (string, found[-1][1], end)
        else:
            found.append((string, moment.onset, end))
    return tuple(
        DroneSpan(
            Fraction(onset, per_whole),
            Fraction(end - onset, per_whole),
            Stop(instrument.string(string).open_midi, string, 0, 0),
        )
        for string, onset, end in found
    )
