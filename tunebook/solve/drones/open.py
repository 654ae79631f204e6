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

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.arrangement import DroneSpan, Stop
from tunebook.model.instrument import Instrument
from tunebook.solve.drones.moments import PINNED_WORTH, Lengths, Moment

SILENCE = 0

# In quarters of full consonance, by place: with a phrase, a bar, a beat, between beats, during a
# tied note; our judgement.
START_COSTS = (0.4, 0.5, 1.0, 3.0, 9.0)
"""What it costs to begin a drone."""
STOP_COSTS = (0.0, 0.1, 0.3, 1.0, 9.0)
"""What it costs to end one: the bow leaves a string more easily with the beat."""
CHANGE_COSTS = (0.4, 0.6, 0.9, 2.2, 9.0)
"""What it costs to go from one open string to another without a pause."""
FAR_COST = 0.5
"""Beyond that, for each string that the pair under the bow moves further than its neighbour."""
SHORT_COSTS = (3.0, 1.5)
"""For a drone that sounds for less than a beat, and for less than a bar: a drone lasts."""
LEAST_WORTH = 0.1
"""What its drones must be worth to a section for each quarter of its music, or it has none: a lone
bar of drone among bars without any sounds like a slip; our judgement."""


State = tuple[int, int]
"""What sounds (SILENCE or a string), and which of the ages that it can have in the moment: for how
many steps it has sounded, counted up to a bar. The first is that of one which begins."""
Sums = dict[int, list[float]]
"""A number for each state of a moment: by string, and then as the ages rise."""


@dataclass(frozen=True)
class DroneLine:
    """The string that sounds in each moment (SILENCE for none), and what the line is worth, in
    quarters of full consonance over the tune as played."""

    strings: tuple[int, ...]
    value: float


def best_line(moments: Sequence[Moment], lengths: Lengths) -> DroneLine:
    """The line of drones of greatest value. ``lengths`` are those that decide
    whether a drone is short."""
    children: list[list[int]] = [[] for _ in moments]
    for index, moment in enumerate(moments):
        if moment.parent >= 0:
            children[moment.parent].append(index)
    shorts, risen = _ages(moments, lengths)
    values: list[Sums] = [{} for _ in moments]
    choices: list[list[dict[int, list[State]]]] = [[] for _ in moments]
    for index in range(len(moments) - 1, -1, -1):
        moment, prices = moments[index], shorts[index]
        values[index] = {SILENCE: [0.0]}
        for string, gain in moment.gains:
            values[index][string] = [gain * moment.times] * len(prices[string])
        for child in children[index]:
            ways = _ways_between(moment, moments[child])
            following = _Following(values[child], risen[child], moments[child].times, ways)
            choices[index].append(following.add_best(values[index], prices))
        if not children[index]:
            for string, sums in values[index].items():
                for age, short in enumerate(prices[string]):
                    sums[age] -= short * moment.times
    return _trace(moments, children, values, choices)


def best_line_in_sections(
    moments: Sequence[Moment], lengths: Lengths, quarter: float
) -> tuple[tuple[Moment, ...], tuple[int, ...]]:
    """The best line of strings where sections have no drone for which those that they would have
    are worth too little, and the moments without what those could have had. ``quarter`` is its
    steps. A drone begins anew with a section, so that each is judged by itself; one in which a
    drone is asked for stays as it is."""
    strings = list(best_line(moments, lengths).strings)
    values = line_values(moments, strings, lengths)
    sections: list[list[int]] = []
    for index, moment in enumerate(moments):
        if moment.is_break or not sections:
            sections.append([])
        sections[-1].append(index)
    kept = list(moments)
    for section in sections:
        music = sum(moments[index].duration * moments[index].times for index in section)
        worth = sum(values[index] for index in section)
        if worth < LEAST_WORTH * music / quarter and not any(
            gain >= PINNED_WORTH * moments[index].duration / quarter
            for index in section
            for _, gain in moments[index].gains
        ):
            for index in section:
                kept[index] = moments[index]._replace(gains=())
                strings[index] = SILENCE
    return tuple(kept), tuple(strings)


class _Ways(NamedTuple):
    """How a string may be left: the string that follows and what that costs beside the price of a
    short drone, in two parts. Where it may also go on, ``earlier`` of the ways win a tie."""

    leaving: tuple[tuple[int, float, float], ...]
    may_go_on: bool
    earlier: int


def _ways_between(before: Moment, after: Moment) -> dict[int, _Ways]:
    """The ways from silence and from each string of ``before``."""
    sounded = tuple([string for string, _ in before.gains])
    strings = tuple([string for string, _ in after.gains])
    turn = after.melody - before.melody
    return _all_ways(sounded, strings, turn, after.place, after.is_break)


@functools.lru_cache(maxsize=4096)
def _all_ways(
    sounded: tuple[int, ...], strings: tuple[int, ...], turn: int, place: int, is_break: bool
) -> dict[int, _Ways]:
    started = tuple((string, START_COSTS[place], 0.0) for string in strings)
    found = {SILENCE: _Ways(started, may_go_on=True, earlier=0)}
    for string in sounded:
        leaving = [(SILENCE, STOP_COSTS[place], 0.0)]
        if is_break:
            found[string] = _Ways((*leaving, *started), may_go_on=False, earlier=0)
            continue
        earlier = 0
        for other in strings:
            if other == string:
                earlier = len(leaving)
                continue
            far = FAR_COST * max(0.0, abs(turn + other - string) / 2.0 - 1.0)
            leaving.append((other, CHANGE_COSTS[place], far))
        found[string] = _Ways(tuple(leaving), may_go_on=earlier > 0, earlier=earlier)
    return found


class _Following(NamedTuple):
    """A moment and what its states are worth with all that follows; ``risen`` says for each string
    to which age each age in the moment before leads."""

    values: Sums
    risen: dict[int, list[int]]
    times: int
    ways: dict[int, _Ways]

    def add_best(self, sums: Sums, prices: Sums) -> dict[int, list[State]]:
        """Add the best of what follows to ``sums`` of the states before; returns the state that
        follows each. ``prices`` are those of ending there a drone that is short."""
        values, risen, times, all_ways = self
        chosen: dict[int, list[State]] = {}
        for string, before in sums.items():
            leaving, may_go_on, earlier = all_ways[string]
            followers = chosen[string] = []
            priced, left, follower, order = -1.0, 0.0, SILENCE, 0
            for age, short in enumerate(prices[string]):
                if short != priced:
                    priced, left = short, float("-inf")
                    for at, (other, cost, far) in enumerate(leaving):
                        value = values[other][0] - (short + cost + far) * times
                        if value > left:
                            left, follower, order = value, other, at
                if may_go_on:
                    same = risen[string][age]
                    value = values[string][same]
                    if value > left or (value == left and order >= earlier):
                        before[age] += value
                        followers.append((string, same))
                        continue
                before[age] += left
                followers.append((follower, 0))
        return chosen


def line_values(moments: Sequence[Moment], strings: Sequence[int], lengths: Lengths) -> list[float]:
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
            cost = change_cost(leaving, moment, (before, age), string, lengths)
        ages.append(0 if string == SILENCE else (age if goes_on else 0) + moment.duration)
        if index not in has_child:
            cost += short_cost(string, ages[-1], lengths)
        gain = gains.get(string, 0.0 if string == SILENCE else float("-inf"))
        found.append((gain - cost) * moment.times)
    return found


def _ages(
    moments: Sequence[Moment], lengths: Lengths
) -> tuple[list[Sums], list[dict[int, list[int]]]]:
    """For each moment the prices of ending there what sounds, by string and age, and to which age
    of a string each age in the moment before leads."""
    ages: list[dict[int, list[int]]] = []
    shorts: list[Sums] = []
    risen: list[dict[int, list[int]]] = []
    costs: dict[int, float] = {}
    top = lengths.bar
    for moment in moments:
        length = moment.duration
        before = ages[moment.parent] if moment.parent >= 0 and not moment.is_break else {}
        prices, leads, found = {SILENCE: [0.0]}, {SILENCE: [0]}, {}
        for string, _ in moment.gains:
            reached, lead = [length if length < top else top], []
            for age in before.get(string, ()):
                grown = age + length if age + length < top else top
                if grown != reached[-1]:
                    reached.append(grown)
                lead.append(len(reached) - 1)
            for age in reached:
                if age not in costs:
                    costs[age] = short_cost(string, age, lengths)
            found[string], leads[string] = reached, lead
            prices[string] = [costs[age] for age in reached]
        ages.append(found)
        shorts.append(prices)
        risen.append(leads)
    return shorts, risen


def change_cost(
    before: Moment, after: Moment, drone: tuple[int, int], string: int, lengths: Lengths
) -> float:
    """Cost of another string, or of the same one begun anew, in the moment ``after``; ``drone``
    is the one before and for how many steps it has sounded."""
    place = after.place
    sounded, age = drone
    cost = short_cost(sounded, age, lengths)
    if string == SILENCE:
        return cost + (STOP_COSTS[place] if sounded else 0.0)
    if sounded == SILENCE or after.is_break:
        return cost + START_COSTS[place]
    away = abs(after.melody + string - before.melody - sounded) / 2.0
    return cost + CHANGE_COSTS[place] + FAR_COST * max(0.0, away - 1.0)


def short_cost(string: int, age: int, lengths: Lengths) -> float:
    """What a drone costs that ends after so many steps because it was short."""
    if string == SILENCE or age >= lengths.bar:
        return 0.0
    return SHORT_COSTS[0 if age < lengths.beat else 1]


def _trace(
    moments: Sequence[Moment],
    children: Sequence[Sequence[int]],
    values: Sequence[Sums],
    choices: Sequence[Sequence[dict[int, list[State]]]],
) -> DroneLine:
    """Follow the best choices from the roots on; of equals silence, then the lower string."""
    chosen: dict[int, State] = {}
    total = 0.0
    for index, moment in enumerate(moments):
        if moment.parent < 0:
            start = START_COSTS[moment.place] * moment.times
            value, least = max(
                (sums[0] - (start if string else 0.0), -string)
                for string, sums in values[index].items()
            )
            total += value
            chosen[index] = -least, 0
        string, age = chosen[index]
        for child, followers in zip(children[index], choices[index], strict=True):
            chosen[child] = followers[string][age]
    return DroneLine(tuple(chosen[index][0] for index in range(len(moments))), total)


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
