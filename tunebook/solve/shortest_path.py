"""Exact cheapest paths through layers. Knows no music.

There are n layers of states; a path takes one state in each. Its cost is the sum of the states'
own costs, of the steps from each layer to the next, and of leaps between layers farther apart.

Steps are solved by dynamic programming over the layers (Bellman 1957). Leaps tie states of distant
layers together, which a chain cannot see. They are first left at the least that they can cost for
the state they start from. That gives a lower bound for every state, and the chain's best path with
its true leaps an upper bound. States whose lower bound is above the upper bound cannot lie on a
best path; what is left is solved exactly by carrying, at each layer, the state chosen at the
earlier end of every leap that is still open (conditioning, as in nonserial dynamic programming:
Bertele & Brioschi 1972).

Ties go to the state of the lower index, reading from the last layer, so results do not depend on
the order of additions as long as the costs are multiples of a power of two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Array = np.ndarray

MOST_CELLS = 4_000_000
"""Size of the largest table that is carried along; larger problems are narrowed and say so."""


@dataclass(frozen=True)
class Leap:
    """A cost between the states of layers ``start`` and ``end`` (start < end), shape
    (states of end, states of start)."""

    start: int
    end: int
    costs: Array


@dataclass(frozen=True)
class Layers:
    """The problem. ``states[i]`` holds the costs of layer i's states, shape (k_i,); ``steps[i]``
    those from layer i to i + 1, shape (k_(i+1), k_i)."""

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


def forward_costs(states: Sequence[Array], steps: Sequence[Array]) -> list[Array]:
    """For each state the least cost of a path that ends there, the state's own cost included."""
    reached = [states[0]]
    for own, step in zip(states[1:], steps, strict=True):
        reached.append((step + reached[-1]).min(axis=1) + own)
    return reached


def backward_costs(states: Sequence[Array], steps: Sequence[Array]) -> list[Array]:
    """For each state the least cost of going on from there, the state's own cost left out."""
    ahead = [np.zeros(len(states[-1]))]
    for own, step in zip(reversed(states[1:]), reversed(steps), strict=True):
        ahead.append((step + (own + ahead[-1])[:, None]).min(axis=0))
    ahead.reverse()
    return ahead


def _trace(states: Sequence[Array], steps: Sequence[Array], reached: list[Array]) -> list[int]:
    state = int(reached[-1].argmin())
    path = [state]
    for index in range(len(steps) - 1, -1, -1):
        state = int((steps[index][state] + reached[index]).argmin())
        path.append(state)
    path.reverse()
    return path


def cheapest_path(layers: Layers) -> Path:
    """The cheapest path through ``layers``. Raises ValueError when there is no layer."""
    if not layers.states:
        raise ValueError("no layers")
    if not layers.leaps:
        reached = forward_costs(layers.states, layers.steps)
        path = _trace(layers.states, layers.steps, reached)
        return Path(tuple(path), float(reached[-1].min()))
    return _cheapest_with_leaps(layers)


def _cheapest_with_leaps(layers: Layers) -> Path:
    relaxed = list(layers.states)
    for leap in layers.leaps:
        relaxed[leap.start] = relaxed[leap.start] + leap.costs.min(axis=0)
    reached = forward_costs(relaxed, layers.steps)
    chain = _trace(relaxed, layers.steps, reached)
    lower = float(reached[-1].min())
    upper = path_cost(layers, chain)
    if upper <= lower:
        return Path(tuple(chain), upper)
    ahead = backward_costs(relaxed, layers.steps)
    bounds = [a + b for a, b in zip(reached, ahead, strict=True)]
    return solve_within(layers, bounds, upper)


def solve_within(layers: Layers, bounds: Sequence[Array], upper: float) -> Path:
    """The cheapest path among states whose lower bound in ``bounds`` is at most ``upper``."""
    kept = [np.flatnonzero(bound <= upper) for bound in bounds]
    is_exact = _narrow(layers, kept, bounds)
    small = Layers(
        [own[keep] for own, keep in zip(layers.states, kept, strict=True)],
        [step[kept[index + 1][:, None], kept[index]] for index, step in enumerate(layers.steps)],
        [
            Leap(leap.start, leap.end, leap.costs[kept[leap.end][:, None], kept[leap.start]])
            for leap in layers.leaps
        ],
    )
    found = _conditioned(small)
    states = tuple(int(kept[index][state]) for index, state in enumerate(found.states))
    return Path(states, found.cost, is_exact)


def _open_anchors(layers: Layers) -> list[list[int]]:
    """For each layer the earlier ends of the leaps that are open while it is passed."""
    last: dict[int, int] = {}
    for leap in layers.leaps:
        last[leap.start] = max(last.get(leap.start, 0), leap.end)
    return [
        sorted(start for start, end in last.items() if start < layer <= end)
        for layer in range(len(layers.states))
    ]


def _narrow(layers: Layers, kept: list[Array], bounds: Sequence[Array]) -> bool:
    """Drop the least promising anchor states until the tables fit; True when none was dropped."""
    is_exact = True
    for layer, anchors in enumerate(_open_anchors(layers)):
        while anchors and _cells(kept, anchors, layer) > MOST_CELLS:
            widest = max(anchors, key=lambda anchor: len(kept[anchor]))
            order = np.argsort(bounds[widest][kept[widest]], kind="stable")
            kept[widest] = np.sort(kept[widest][order[: max(1, len(order) // 2)]])
            is_exact = False
    return is_exact


def _cells(kept: list[Array], anchors: list[int], layer: int) -> int:
    cells = len(kept[layer]) * len(kept[layer - 1])
    for anchor in anchors:
        cells *= len(kept[anchor])
    return cells


def _conditioned(layers: Layers) -> Path:
    """Dynamic programming over (states of open anchors, state of the layer)."""
    anchors = _open_anchors(layers)
    tables: list[Array] = []
    table = layers.states[0]
    open_now: list[int] = []
    history: list[tuple[list[int], Array]] = []
    for layer in range(1, len(layers.states)):
        table, open_now = _open_anchor(table, open_now, layer - 1, anchors[layer])
        history.append((open_now, table))
        table = (table[..., None, :] + layers.steps[layer - 1]).min(axis=-1)
        table = table + layers.states[layer]
        for leap in layers.leaps:
            if leap.end == layer:
                axis = open_now.index(leap.start)
                shape = [1] * table.ndim
                shape[axis], shape[-1] = leap.costs.shape[1], leap.costs.shape[0]
                table = table + leap.costs.T.reshape(shape)
        tables.append(table)
        following = anchors[layer + 1] if layer + 1 < len(layers.states) else []
        for anchor in [a for a in open_now if a not in following]:
            table = table.min(axis=open_now.index(anchor))
            open_now = [a for a in open_now if a != anchor]
    return _trace_conditioned(layers, history, tables, float(table.min()))


def _open_anchor(
    table: Array, open_now: list[int], layer: int, needed: list[int]
) -> tuple[Array, list[int]]:
    """Give ``layer``'s state an axis of its own when a leap starts there."""
    if layer not in needed:
        return table, open_now
    size = table.shape[-1]
    opened = np.full((*table.shape[:-1], size, size), np.inf)
    index = np.arange(size)
    opened[..., index, index] = table
    return opened, [*open_now, layer]


def _trace_conditioned(
    layers: Layers, history: list[tuple[list[int], Array]], tables: list[Array], cost: float
) -> Path:
    """Walk back, choosing closed anchors where they were closed."""
    chosen: dict[int, int] = {}
    state = -1
    path: list[int] = []
    for layer in range(len(layers.states) - 1, 0, -1):
        open_now, before = history[layer - 1]
        table = tables[layer - 1]
        if state < 0:
            free = [anchor for anchor in open_now if anchor not in chosen]
            cut = table[tuple(chosen.get(anchor, slice(None)) for anchor in open_now)]
            best = np.unravel_index(int(cut.argmin()), cut.shape)
            chosen.update({anchor: int(i) for anchor, i in zip(free, best[:-1], strict=True)})
            state = int(best[-1])
        else:
            free = [anchor for anchor in open_now if anchor not in chosen]
            if free:
                cut = table[(*(chosen.get(a, slice(None)) for a in open_now), state)]
                best = np.unravel_index(int(cut.argmin()), cut.shape)
                chosen.update({a: int(i) for a, i in zip(free, best, strict=True)})
        path.append(state)
        row = before[tuple(chosen[anchor] for anchor in open_now)]
        state = int((row + layers.steps[layer - 1][state]).argmin())
    path.append(state if state >= 0 else int(layers.states[0].argmin()))
    path.reverse()
    return Path(tuple(path), cost)
