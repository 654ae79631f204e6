"""Other good ways: for each note the next best stops, for a passage the next best fingerings.

A different fingering must be one that a player would notice. Each note on another string or key
counts 2, each note with another finger only counts 1, the same note in several passes once; grace
notes, and the hand's place where the fingers are the same, count nothing. Two fingerings are told
apart when they differ by at least ``NOTICEABLE``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tunebook.model.arrangement import Stop
from tunebook.solve.layers import Array, Layers, Path
from tunebook.solve.problem import Problem
from tunebook.solve.shortest_path import (
    cheapest_different,
    cheapest_path,
    leaps_fixed,
)

NOTICEABLE = 2
MOST_EXTRA_COST = 500.0
"""Alternatives that cost more break a limit and are left out."""


def different_paths(
    problem: Problem, count: int, bars: tuple[int, int] | None = None, first: Path | None = None
) -> list[Path]:
    """The ``count`` cheapest paths of which each differs noticeably from all before it.

    ``bars`` (first and last bar index) narrows what counts as a difference to these bars; the
    rest of the tune goes along. ``first`` stands in for the cheapest path. Each path is the
    cheapest that differs from those before it, so the list is in rising order of cost.
    """
    paths = [first if first is not None else cheapest_path(problem.layers)]
    differences: list[list[Array]] = []
    while len(paths) < count:
        differences.append(differences_from(problem, paths[-1].states, bars))
        others = [path.states for path in paths]
        found = cheapest_different(problem.layers, others, differences, NOTICEABLE)
        if found is None or found.cost - paths[0].cost >= MOST_EXTRA_COST:
            break
        paths.append(found)
    return paths


def differences_from(
    problem: Problem, states: Sequence[int], bars: tuple[int, int] | None
) -> list[Array]:
    """For each layer how much each state differs from the path's state there: 0, 1 or 2."""
    found = []
    for event, layer, row in zip(problem.course.events, problem.sets, states, strict=True):
        is_outside = bars is not None and not bars[0] <= event.bar <= bars[1]
        if event.is_grace or event.piece or is_outside:
            found.append(np.zeros(len(layer), dtype=np.int64))
            continue
        tones = layer.tones
        moved = (layer.string[:, :tones] != layer.string[row, :tones]).any(axis=1)
        refingered = layer.label != layer.label[row]
        found.append(np.where(moved, 2, refingered.astype(np.int64)))
    return found


def note_alternatives(
    problem: Problem, path: Path, count: int
) -> dict[int, tuple[tuple[float, tuple[Stop, ...]], ...]]:
    """For each event the next best stops and what the whole tune would cost more with them.

    Where a tune has repeats, the notes at their far ends are kept as ``path`` has them, so that
    each figure is the true cost of a fingering that can be played; without repeats it is the least
    one. It can be below 0 where a note follows its phrase's usual form at a small cost.
    """
    layers = Layers(leaps_fixed(problem.layers, path.states), problem.layers.steps)
    bounds = layers.bounds
    found: dict[int, tuple[tuple[float, tuple[Stop, ...]], ...]] = {}
    for index, (event, layer) in enumerate(zip(problem.course.events, problem.sets, strict=True)):
        if event.piece:
            continue
        own = layer.stops[path.states[index]]
        best: dict[tuple[Stop, ...], float] = {}
        for state in np.argsort(bounds[index], kind="stable"):
            stops = layer.stops[state]
            extra = float(bounds[index][state]) - path.cost
            if stops != own and extra < MOST_EXTRA_COST:
                best.setdefault(stops, extra)
            if len(best) >= count:
                break
        found[index] = tuple((extra, stops) for stops, extra in best.items())
    return found
