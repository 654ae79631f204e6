"""The best states along a tree of places: every place follows one other, several may follow it.

Exact, by sums of best values from the last place to the first (dynamic programming on a tree;
Bertele & Brioschi 1972, Nonserial Dynamic Programming). Knows no music.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

State = TypeVar("State", bound=Hashable)

Follow = Callable[[int, State | None], Iterable[tuple[State, float]]]
"""(place, the state before it, None at a root) to each state that may follow, with its value."""


def best_on_tree(parents: Sequence[int], follow: Follow[State]) -> tuple[tuple[State, ...], float]:
    """The states, one a place, with the greatest sum of values, and that sum.

    ``parents`` gives for each place an earlier one, or -1 for a root. Of equal states the one that
    ``follow`` names first is taken. Raises ValueError where nothing may follow.
    """
    children: list[list[int]] = [[] for _ in parents]
    for place, parent in enumerate(parents):
        if parent >= 0:
            children[parent].append(place)
    reached, ways = _forwards(parents, follow)
    best: list[dict[State, float]] = [{} for _ in parents]
    chosen: list[dict[State | None, State]] = [{} for _ in parents]
    roots_value = 0.0
    for place in range(len(parents) - 1, -1, -1):
        for state in reached[place]:
            best[place][state] = sum(
                _value_of(chosen[child][state], ways[child][state], best[child])
                for child in children[place]
            )
        for before, options in ways[place].items():
            chosen[place][before] = max(options, key=lambda one: one[1] + best[place][one[0]])[0]
        if parents[place] < 0:
            roots_value += _value_of(chosen[place][None], ways[place][None], best[place])
    return _trace(parents, chosen), roots_value


_Ways = dict[State | None, list[tuple[State, float]]]


def _forwards(
    parents: Sequence[int], follow: Follow[State]
) -> tuple[list[list[State]], list[_Ways[State]]]:
    """The states that can be reached in each place, and the ways into them."""
    reached: list[list[State]] = []
    ways: list[_Ways[State]] = []
    for place, parent in enumerate(parents):
        before: Sequence[State | None] = reached[parent] if parent >= 0 else [None]
        into = {state: list(follow(place, state)) for state in before}
        if not all(into.values()):
            raise ValueError(f"nothing may follow at place {place}")
        ways.append(into)
        states = (state for options in into.values() for state, _ in options)
        reached.append(list(dict.fromkeys(states)))
    return reached, ways


def _value_of(
    state: State, options: Sequence[tuple[State, float]], best: dict[State, float]
) -> float:
    """What a chosen state and all after it are worth."""
    return next(value for one, value in options if one == state) + best[state]


def _trace(
    parents: Sequence[int], chosen: Sequence[dict[State | None, State]]
) -> tuple[State, ...]:
    """Follow the choices from the roots on."""
    found: list[State] = []
    for place, parent in enumerate(parents):
        found.append(chosen[place][found[parent] if parent >= 0 else None])
    return tuple(found)
