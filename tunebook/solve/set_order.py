"""The order and the tunings of a set: fewest retunings against ease, exactly.

For each number of retunings the plan is sought that asks for least effort; of those with the same
effort the one in which the strings are turned by the fewest semitones in all, and of those the one
nearest to the written order (fewest pairs of tunes that change places). A plan with more retunings
counts only if it is easier than all with fewer.

Where tunes may change places, those of one tuning follow each other in such a plan: a tuning that
came twice would cost a retuning and spare nothing. So each choice of tunings is tried, each tune
has the easiest of them, and the order of the groups is found by dynamic programming over the sets
of groups that have been played (Held & Karp, "A dynamic programming approach to sequencing
problems", Journal of SIAM 10(1), 1962). Where a tune is as easy in several of them, each choice is
tried, ``MOST_CHOICES`` at most (all of a set of 12 tunes that are as easy in two); beyond that such
a tune is in the first of them, which may turn the strings more than need be.
Where the order is fixed, dynamic programming goes from tune to tune over the tuning and the number
of retunings so far.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

SAME = 1e-9
MOST_CHOICES = 4096


@dataclass(frozen=True, slots=True)
class SetPlan:
    """A set's tunes in ``order`` (their places as written) with the ``tunings`` in which they are
    played, parallel to it. ``effort`` is the sum over the tunes, ``turned`` how many semitones
    strings are turned on the way."""

    order: tuple[int, ...]
    tunings: tuple[int, ...]
    effort: float
    turned: int

    @property
    def retunings(self) -> int:
        """How often the strings are tuned anew."""
        return sum(one != other for one, other in itertools.pairwise(self.tunings))


Efforts = Sequence[Sequence[float]]
"""Of each tune in each tuning; infinite where it cannot be played."""
Turns = Sequence[Sequence[int]]
"""Semitones by which strings are turned from one tuning to another."""


def plans(efforts: Efforts, turns: Turns, *, may_reorder: bool) -> tuple[SetPlan, ...]:
    """The best plan for each number of retunings that is worth it, fewest retunings first; none
    where a tune can be played in no tuning."""
    find = _in_any_order if may_reorder else _as_written
    found: list[SetPlan] = []
    for retunings in range(min(len(turns), len(efforts)) if may_reorder else len(efforts)):
        below = found[-1].effort - SAME if found else math.inf
        plan = find(efforts, turns, retunings, below)
        if plan is not None:
            found.append(plan)
    return tuple(found)


def _in_any_order(efforts: Efforts, turns: Turns, retunings: int, below: float) -> SetPlan | None:
    """The best plan with so many retunings, if its effort is ``below`` that."""
    best: tuple[float, int, int, SetPlan] | None = None
    for chosen in itertools.combinations(range(len(turns)), retunings + 1):
        effort = math.fsum(min(row[tuning] for tuning in chosen) for row in efforts)
        if not effort < below or (best is not None and effort > best[0] + SAME):
            continue
        if best is not None and effort < best[0] - SAME:
            best = None
        for mine in _easiest(efforts, chosen):
            turned, swapped, order = _groups_in_order(mine, turns)
            if best is None or (turned, swapped) < best[1:3]:
                plan = SetPlan(order, tuple(mine[at] for at in order), effort, turned)
                best = (effort, turned, swapped, plan)
    return None if best is None else best[3]


def _easiest(efforts: Efforts, chosen: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Each choice of an easiest tuning for every tune."""
    ways = [
        [tuning for tuning in chosen if row[tuning] <= min(row[one] for one in chosen) + SAME]
        for row in efforts
    ]
    if math.prod(map(len, ways)) > MOST_CHOICES:
        ways = [one[:1] for one in ways]
    yield from itertools.product(*ways)


def _groups_in_order(mine: Sequence[int], turns: Turns) -> tuple[int, int, tuple[int, ...]]:
    """The semitones turned, the pairs that change places, and the order of the tunes, where those
    of one tuning follow each other."""
    groups = {
        tuning: [at for at, one in enumerate(mine) if one == tuning]
        for tuning in dict.fromkeys(mine)
    }
    # The groups played so far, and the last of them: the least that leads there.
    played: dict[frozenset[int], dict[int, tuple[int, int, tuple[int, ...]]]] = {
        frozenset((tuning,)): {tuning: (0, 0, (tuning,))} for tuning in groups
    }
    for _ in range(len(groups) - 1):
        following: dict[frozenset[int], dict[int, tuple[int, int, tuple[int, ...]]]] = {}
        for done, ways in played.items():
            for tuning in groups.keys() - done:
                swapped = sum(
                    earlier > later
                    for other in done
                    for earlier in groups[other]
                    for later in groups[tuning]
                )
                way = min(
                    (turned + turns[last][tuning], pairs + swapped, (*order, tuning))
                    for last, (turned, pairs, order) in ways.items()
                )
                following.setdefault(done | {tuning}, {})[tuning] = way
        played = following
    turned, pairs, order = min(way for ways in played.values() for way in ways.values())
    return turned, pairs, tuple(at for tuning in order for at in groups[tuning])


def _as_written(efforts: Efforts, turns: Turns, retunings: int, below: float) -> SetPlan | None:
    """The best tunings with at most so many retunings, tune after tune."""
    tunings = range(len(turns))
    ways: dict[tuple[int, int], tuple[float, int, tuple[int, ...]]] = {
        (tuning, 0): (efforts[0][tuning], 0, (tuning,)) for tuning in tunings
    }
    for row in efforts[1:]:
        following: dict[tuple[int, int], tuple[float, int, tuple[int, ...]]] = {}
        for (last, count), (effort, turned, path) in ways.items():
            for tuning in tunings:
                state = tuning, count + (tuning != last)
                if state[1] > retunings:
                    continue
                way = (effort + row[tuning], turned + turns[last][tuning], (*path, tuning))
                known = following.get(state)
                if known is None or _is_better(way, known):
                    following[state] = way
        ways = following
    best: tuple[float, int, tuple[int, ...]] | None = None
    for way in ways.values():
        if way[0] < below and (best is None or _is_better(way, best)):
            best = way
    if best is None:
        return None
    return SetPlan(tuple(range(len(efforts))), best[2], best[0], best[1])


def _is_better(
    way: tuple[float, int, tuple[int, ...]], other: tuple[float, int, tuple[int, ...]]
) -> bool:
    """Less effort, or as much and less turning."""
    if abs(way[0] - other[0]) > SAME or math.inf in (way[0], other[0]):
        return way[0] < other[0]
    return way[1:] < other[1:]
