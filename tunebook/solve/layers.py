"""Layers of states with costs: the problem that the path searches solve. Knows no music."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
