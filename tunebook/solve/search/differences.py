"""Exact search for a path that must differ from given ones.

Dynamic programming over more than the state of the layer at hand: it also carries the state chosen
at the earlier end of each leap that is still open (conditioning, as in nonserial dynamic
programming: Bertele & Brioschi 1972), and a tally of how much the path has differed so far from
each of some given paths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tunebook.solve.search.layers import Array, Layers, open_anchors, spend


class Group(NamedTuple):
    """States of a layer that move the tally alike: ``targets[c]`` is its value when it was c."""

    states: Array
    targets: tuple[int, ...]

    @property
    def is_still(self) -> bool:
        """True when these states leave the tally as it is."""
        return self.targets == tuple(range(len(self.targets)))


@dataclass(frozen=True)
class Tally:
    """A counter with values 0 to ``size`` - 1. ``groups[i]`` says how the states of layer i move
    it. It starts at 0 and must end at ``size`` - 1."""

    size: int
    groups: Sequence[tuple[Group, ...]]

    def is_still(self, layer: int) -> bool:
        """True when no state of ``layer`` moves the tally."""
        return all(group.is_still for group in self.groups[layer])

    def targets(self, layer: int, state: int) -> tuple[int, ...]:
        """The tally's value after ``state``, by its value before."""
        for group in self.groups[layer]:
            if state in group.states:
                return group.targets
        raise ValueError(f"state {state} belongs to no group")


@dataclass
class _Stage:
    """What is needed to walk back through one layer. Tables have axes (tally, anchors..., state);
    ``before`` is the table of the layer before, ``raw`` that of this layer before its tally."""

    anchors: list[int]
    before: Array
    raw: Array


def solve_conditioned(layers: Layers, tally: Tally | None = None) -> tuple[list[int], float] | None:
    """The cheapest path and its cost; None when no path ends with a full tally."""
    anchors = open_anchors(layers)
    start = layers.states[0][None, :]
    table = start if tally is None else _count(start, tally, 0)
    open_now: list[int] = []
    stages: list[_Stage] = []
    for layer in range(1, len(layers.states)):
        table, open_now = _open_anchor(table, open_now, layer - 1, anchors[layer])
        before = table
        spend(3, table.size * len(layers.states[layer]))
        table = (table[..., None, :] + layers.steps[layer - 1]).min(axis=-1)
        table = table + layers.states[layer]
        table = _add_leaps(layers, layer, table, open_now)
        stages.append(_Stage(open_now, before, table))
        if tally is not None:
            table = _count(table, tally, layer)
        following = anchors[layer + 1] if layer + 1 < len(layers.states) else []
        for anchor in [anchor for anchor in open_now if anchor not in following]:
            table = table.min(axis=1 + open_now.index(anchor))
            open_now = [other for other in open_now if other != anchor]
    ends = table[-1] if tally is not None else table[0]
    cost = float(ends.min())
    if np.isinf(cost):
        return None
    return _walk_back(layers, stages, tally, ends), cost


def largest_conditioned(layers: Layers, sizes: Sequence[int], tally_size: int) -> tuple[int, int]:
    """(cells, anchor) of the largest table when layer i has ``sizes[i]`` states; the anchor is
    the one with most states in it."""
    worst = (0, 0)
    for layer, anchors in enumerate(open_anchors(layers)):
        if anchors:
            cells = tally_size * sizes[layer] * sizes[layer - 1]
            for anchor in anchors:
                cells *= sizes[anchor]
            worst = max(worst, (cells, max(anchors, key=lambda a: (sizes[a], -a))))
    return worst


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


def _add_leaps(layers: Layers, layer: int, table: Array, open_now: list[int]) -> Array:
    """Add the costs of the leaps that end at ``layer``."""
    for leap in layers.leaps:
        if leap.end == layer:
            shape = [1] * table.ndim
            shape[1 + open_now.index(leap.start)] = leap.costs.shape[1]
            shape[-1] = leap.costs.shape[0]
            table = table + leap.costs.T.reshape(shape)
    return table


def _count(table: Array, tally: Tally, layer: int) -> Array:
    """Move the tally on by what each state of ``layer`` adds to it."""
    if table.shape[0] == tally.size and tally.is_still(layer):
        return table
    counted = np.full((tally.size, *table.shape[1:]), np.inf)
    for group in tally.groups[layer]:
        if group.is_still:
            counted[: table.shape[0], ..., group.states] = table[..., group.states]
            continue
        for value in range(table.shape[0]):
            slot = counted[group.targets[value]]
            moved = table[value][..., group.states]
            slot[..., group.states] = np.minimum(slot[..., group.states], moved)
    return counted


def _walk_back(layers: Layers, stages: list[_Stage], tally: Tally | None, ends: Array) -> list[int]:
    """Choose states from the last layer to the first; an anchor is chosen where it was closed."""
    value = 0 if tally is None else tally.size - 1
    chosen: dict[int, int] = {}
    path: list[int] = []
    state = -1 if stages else int(ends.argmin())
    for layer in range(len(layers.states) - 1, 0, -1):
        stage = stages[layer - 1]
        free = [anchor for anchor in stage.anchors if anchor not in chosen]
        if free or state < 0:
            table = stage.raw if tally is None else _count(stage.raw, tally, layer)
            index = (value, *(chosen.get(anchor, slice(None)) for anchor in stage.anchors))
            cut = table[(*index, slice(None) if state < 0 else state)]
            best = [int(i) for i in np.unravel_index(int(cut.argmin()), cut.shape)]
            chosen.update(zip(free, best, strict=False))
            state = best[-1] if state < 0 else state
        place = tuple(chosen[anchor] for anchor in stage.anchors)
        if tally is not None:
            value = _value_before(stage, tally, layer, value, place, state)
        path.append(state)
        row = stage.before[(value, *place)] + layers.steps[layer - 1][state]
        state = int(row.argmin())
    path.append(state)
    path.reverse()
    return path


def _value_before(
    stage: _Stage, tally: Tally, layer: int, value: int, place: tuple[int, ...], state: int
) -> int:
    """The tally's value before ``layer`` on the best way to ``value`` with ``state``."""
    targets = tally.targets(layer, state)
    sources = [c for c in range(stage.raw.shape[0]) if targets[c] == value]
    costs = [float(stage.raw[(source, *place, state)]) for source in sources]
    return sources[costs.index(min(costs))]
