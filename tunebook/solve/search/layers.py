"""Layers of states with costs: the problem that the path searches solve. Knows no music.

The work spent on one tune has a budget. Work is counted and not timed, so that equal tunes get
equal answers on every machine. A step is one operation on a table of up to CELLS_A_STEP cells:
about 50 millionths of a second. An ordinary tune takes some hundreds of them."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

import numpy as np

CELLS_A_STEP = 10_000


class OutOfStepsError(Exception):
    """The budget of the tune that is being solved is used up."""


class _Budget:
    def __init__(self, steps: int) -> None:
        self.left = steps


_budget: ContextVar[_Budget | None] = ContextVar("budget", default=None)


@contextmanager
def at_most(steps: int) -> Iterator[None]:
    """Within this block a search that takes more than ``steps`` in all raises OutOfStepsError."""
    token = _budget.set(_Budget(steps))
    try:
        yield
    finally:
        _budget.reset(token)


def spend(steps: int, cells: int = 0) -> None:
    """Count ``steps`` and what ``cells`` of tables come to; without a budget nothing is counted.

    Raises OutOfStepsError when the budget does not hold them.
    """
    budget = _budget.get()
    if budget is None:
        return
    budget.left -= steps + cells // CELLS_A_STEP
    if budget.left < 0:
        raise OutOfStepsError


Array = np.ndarray


@dataclass(frozen=True)
class Leap:
    """A cost between the states of two layers that need not be neighbours, ``start`` < ``end``.
    ``costs`` has shape (states of end, states of start)."""

    start: int
    end: int
    costs: Array


@dataclass(frozen=True)
class Layers:
    """The problem. ``states[i]`` holds the costs of layer i's states, shape (k_i,); ``steps[i]``
    those from layer i to i + 1, shape (k_(i+1), k_i); ``leaps`` all others."""

    states: Sequence[Array]
    steps: Sequence[Array]
    leaps: Sequence[Leap] = ()

    @functools.cached_property
    def relaxed(self) -> list[Array]:
        """States' costs with the least that the leaps from them can cost."""
        relaxed = list(self.states)
        for leap in self.leaps:
            relaxed[leap.start] = relaxed[leap.start] + leap.costs.min(axis=0)
        return relaxed

    @functools.cached_property
    def reached(self) -> list[Array]:
        """For each state the least cost of a chain that ends there, its own cost included; leaps
        count as ``relaxed``."""
        costs = self.relaxed[0]
        reached = [costs]
        least, add = np.minimum.reduce, np.add
        for own, step in zip(self.relaxed[1:], self.steps, strict=True):
            costs = least(add(step, costs), 1)
            costs += own
            reached.append(costs)
        return reached

    @functools.cached_property
    def ahead(self) -> list[Array]:
        """For each state the least cost of going on from there, its own cost left out."""
        ahead = [np.zeros(len(self.states[-1]))]
        for own, step in zip(reversed(self.relaxed[1:]), reversed(self.steps), strict=True):
            ahead.append(np.minimum.reduce(step + (own + ahead[-1])[:, None], axis=0))
        ahead.reverse()
        return ahead

    @functools.cached_property
    def bounds(self) -> list[Array]:
        """For each state a lower bound of the cost of a path through it; exact without leaps."""
        return [a + b for a, b in zip(self.reached, self.ahead, strict=True)]


def layers_with_leaps(
    states: list[Array], steps: list[Array], leaps: Iterable[tuple[tuple[int, int], Array]]
) -> Layers:
    """Layers whose leaps, each as ((from, to), costs), may lead forward, back, or to their own
    layer: costs of one that leads back are turned round, of one that stays added to ``states``."""
    kept = []
    for (start, end), costs in leaps:
        if start == end:
            states[start] = states[start] + np.diagonal(costs)
        elif start < end:
            kept.append(Leap(start, end, costs))
        else:
            kept.append(Leap(end, start, costs.T))
    return Layers(states, steps, kept)


@dataclass(frozen=True)
class Path:
    """A path: one state a layer, its cost, and whether it is proved to be the cheapest."""

    states: tuple[int, ...]
    cost: float
    is_exact: bool = True


def path_cost(layers: Layers, states: Sequence[int]) -> float:
    """Cost of a given path, added up term by term."""
    cost = sum(float(own[state]) for own, state in zip(layers.states, states, strict=True))
    for index, step in enumerate(layers.steps):
        cost += float(step[states[index + 1], states[index]])
    for leap in layers.leaps:
        cost += float(leap.costs[states[leap.end], states[leap.start]])
    return cost


def keep_states(layers: Layers, kept: Sequence[Array]) -> Layers:
    """The problem with only the states ``kept[i]`` (indices) of layer i."""
    return Layers(
        [own[keep] for own, keep in zip(layers.states, kept, strict=True)],
        [step[kept[index + 1][:, None], kept[index]] for index, step in enumerate(layers.steps)],
        [
            Leap(leap.start, leap.end, leap.costs[kept[leap.end][:, None], kept[leap.start]])
            for leap in layers.leaps
        ],
    )


def open_anchors(layers: Layers) -> list[list[int]]:
    """For each layer the earlier ends of the leaps that are open while it is reached."""
    last: dict[int, int] = {}
    for leap in layers.leaps:
        last[leap.start] = max(last.get(leap.start, 0), leap.end)
    anchors: list[list[int]] = [[] for _ in layers.states]
    for start in sorted(last):
        for layer in range(start + 1, last[start] + 1):
            anchors[layer].append(start)
    return anchors
