"""Exact cheapest paths through layers, and the next cheapest that differ enough. Knows no music.

A path takes one state in each layer. Its cost is the sum of the states' own costs, of the steps
from each layer to the next, and of leaps between layers farther apart.

Steps are solved by dynamic programming over the layers (Bellman 1957). Leaps tie states of distant
layers together, which a chain cannot see. They are first left at the least that they can cost for
the state they start from. That gives a lower bound for every state, and the chain's best path with
its true leaps an upper bound. States whose lower bound is above the upper bound cannot lie on a
best path; what is left is solved exactly by conditioning (see ``conditioning``).

Ties go to the state of the lower index, reading from the last layer; costs that are multiples of a
power of two add up without rounding, so that results do not depend on the order of additions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tunebook.solve.conditioning import Tally, solve_conditioned
from tunebook.solve.layers import Array, Layers, Path, keep_states, open_anchors, path_cost

MOST_CELLS = 4_000_000
"""Size of the largest table that is carried along; larger problems are narrowed and say so."""

TRIALS = 40
"""Paths that are tried for an upper bound on the next different path."""


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


def cheapest_path(layers: Layers) -> Path:
    """The cheapest path through ``layers``. Raises ValueError when there is no layer."""
    if not layers.states:
        raise ValueError("no layers")
    relaxed = _relaxed(layers)
    reached = forward_costs(relaxed, layers.steps)
    chain = _trace_back(layers.steps, reached, len(relaxed) - 1, int(reached[-1].argmin()))
    lower = float(reached[-1].min())
    if not layers.leaps:
        return Path(tuple(chain), lower)
    upper = path_cost(layers, chain)
    if upper <= lower:
        return Path(tuple(chain), upper)
    ahead = backward_costs(relaxed, layers.steps)
    bounds = [a + b for a, b in zip(reached, ahead, strict=True)]
    found = _solve_within(layers, bounds, upper, None)
    return found if found is not None else Path(tuple(chain), upper, False)


def state_bounds(layers: Layers) -> list[Array]:
    """For each state a lower bound of the cost of any path through it; exact without leaps."""
    relaxed = _relaxed(layers)
    reached = forward_costs(relaxed, layers.steps)
    ahead = backward_costs(relaxed, layers.steps)
    return [a + b for a, b in zip(reached, ahead, strict=True)]


def cheapest_different(
    layers: Layers,
    others: Sequence[Sequence[int]],
    differences: Sequence[Sequence[Array]],
    least: int,
) -> Path | None:
    """The cheapest path that differs by at least ``least`` from each of ``others``.

    ``differences[o][i][s]`` (whole numbers) is how much state s of layer i differs from the path
    ``others[o]``; a path's difference is the sum over its layers. None when there is no such path.
    """
    relaxed = _relaxed(layers)
    reached = forward_costs(relaxed, layers.steps)
    ahead = backward_costs(relaxed, layers.steps)
    bounds = [a + b for a, b in zip(reached, ahead, strict=True)]
    upper = _trial_bound(layers, relaxed, reached, ahead, bounds, differences, least)
    moves = _tally_moves(differences, least)
    tally = Tally((least + 1) ** len(others), moves)
    return _solve_within(layers, bounds, upper, tally)


def _relaxed(layers: Layers) -> list[Array]:
    """States' costs with the least that the leaps from them can cost."""
    relaxed = list(layers.states)
    for leap in layers.leaps:
        relaxed[leap.start] = relaxed[leap.start] + leap.costs.min(axis=0)
    return relaxed


def _trace_back(steps: Sequence[Array], reached: list[Array], layer: int, state: int) -> list[int]:
    """The best way to ``state`` of ``layer``, from the first layer on."""
    path = [state]
    for index in range(layer - 1, -1, -1):
        state = int((steps[index][state] + reached[index]).argmin())
        path.append(state)
    path.reverse()
    return path


def _trace_on(
    states: Sequence[Array], steps: Sequence[Array], ahead: list[Array], layer: int, state: int
) -> list[int]:
    """The best way on from ``state`` of ``layer``, that state left out."""
    path = []
    for index in range(layer, len(steps)):
        onward = steps[index][:, state] + states[index + 1] + ahead[index + 1]
        state = int(onward.argmin())
        path.append(state)
    return path


def _trial_bound(
    layers: Layers,
    relaxed: list[Array],
    reached: list[Array],
    ahead: list[Array],
    bounds: list[Array],
    differences: Sequence[Sequence[Array]],
    least: int,
) -> float:
    """Cost of the cheapest of some paths that differ enough; inf when none was met."""
    trials = []
    for layer, bound in enumerate(bounds):
        changed = np.minimum.reduce([difference[layer] for difference in differences]) > 0
        if changed.any():
            masked = np.where(changed, bound, np.inf)
            trials.append((float(masked.min()), layer, int(masked.argmin())))
    upper = np.inf
    for bound, layer, state in sorted(trials)[:TRIALS]:
        if bound >= upper:
            break
        path = _trace_back(layers.steps, reached, layer, state)
        path += _trace_on(relaxed, layers.steps, ahead, layer, state)
        sums = [sum(d[i][s] for i, s in enumerate(path)) for d in differences]
        if min(sums) >= least:
            upper = min(upper, path_cost(layers, path))
    return float(upper)


def _tally_moves(differences: Sequence[Sequence[Array]], least: int) -> list[Array]:
    """For each layer the table (value before, state) -> value after of the joint counter."""
    size = least + 1
    values = np.arange(size ** len(differences))
    moves = []
    for layer in range(len(differences[0])):
        joint = np.zeros((len(values), len(differences[0][layer])), dtype=np.int64)
        for number, difference in enumerate(differences):
            weight = size**number
            digit = values // weight % size
            joint += weight * np.minimum(least, digit[:, None] + difference[layer][None, :])
        moves.append(joint)
    return moves


def _solve_within(
    layers: Layers, bounds: Sequence[Array], upper: float, tally: Tally | None
) -> Path | None:
    """The cheapest path among states whose lower bound is at most ``upper``."""
    kept = [np.flatnonzero(bound <= upper) for bound in bounds]
    if any(len(keep) == 0 for keep in kept):
        return None
    is_exact = _narrow(layers, kept, bounds, 1 if tally is None else tally.size)
    if tally is not None:
        moves = [move[:, keep] for move, keep in zip(tally.moves, kept, strict=True)]
        tally = Tally(tally.size, moves)
    found = solve_conditioned(keep_states(layers, kept), tally)
    if found is None:
        return None
    states = tuple(int(kept[index][state]) for index, state in enumerate(found[0]))
    return Path(states, found[1], is_exact)


def _narrow(layers: Layers, kept: list[Array], bounds: Sequence[Array], size: int) -> bool:
    """Drop the least promising anchor states until the tables fit; True when none was dropped."""
    is_exact = True
    for layer, anchors in enumerate(open_anchors(layers)):
        while anchors and size * _cells(kept, anchors, layer) > MOST_CELLS:
            widest = max(anchors, key=lambda anchor: len(kept[anchor]))
            if len(kept[widest]) == 1:
                break
            order = np.argsort(bounds[widest][kept[widest]], kind="stable")
            kept[widest] = np.sort(kept[widest][order[: (len(order) + 1) // 2]])
            is_exact = False
    return is_exact


def _cells(kept: list[Array], anchors: list[int], layer: int) -> int:
    cells = len(kept[layer]) * len(kept[layer - 1])
    for anchor in anchors:
        cells *= len(kept[anchor])
    return cells
