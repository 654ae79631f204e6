"""Exact search when leaps tie distant layers together.

The layers at which leaps begin or end are branches. Between two neighbouring branches the chain is
summed up in one table, the least cost from each state of the one to each state of the other. What
is left is a small graph of branches, which is solved by eliminating one branch after the other,
that with the smallest table first (nonserial dynamic programming: Bertele & Brioschi 1972). Then
the states between the branches are filled in.

With repeats that do not overlap no table has more than three axes, so the work grows with the
number of layers and not with the number of repeats.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from tunebook.solve.layers import Array, Layers

Factor = tuple[tuple[int, ...], Array]
"""Branches in rising order, and the costs with one axis for each."""


def branches_of(layers: Layers) -> list[int]:
    """The layers at which leaps begin or end."""
    return sorted({end for leap in layers.leaps for end in (leap.start, leap.end)})


def solve_branching(layers: Layers) -> tuple[list[int], float]:
    """The cheapest path and its cost. ``layers`` must have leaps."""
    branches = branches_of(layers)
    factors = _factors(layers, branches)
    order: list[tuple[int, list[Factor]]] = []
    waiting = list(branches)
    while waiting:
        branch = min(waiting, key=lambda b: (_joint_size(layers, factors, b), b))
        touching = [factor for factor in factors if branch in factor[0]]
        factors = [factor for factor in factors if branch not in factor[0]]
        factors.append(_eliminate(layers, touching, branch))
        order.append((branch, touching))
        waiting.remove(branch)
    cost = float(sum(float(table) for _, table in factors))
    chosen: dict[int, int] = {}
    for branch, touching in reversed(order):
        chosen[branch] = int(_costs_at(layers, touching, branch, chosen).argmin())
    return _fill_in(layers, branches, chosen), cost


def largest_table(layers: Layers, sizes: Sequence[int]) -> tuple[int, int]:
    """(cells, branch) of the largest table of an elimination when layer i has ``sizes[i]`` states;
    the branch is the one with most states in it."""
    branches = branches_of(layers)
    edges = set(itertools.pairwise(branches))
    edges |= {(leap.start, leap.end) for leap in layers.leaps}
    neighbours = {b: {x for e in edges if b in e for x in e} | {b} for b in branches}
    worst = (0, branches[0])
    waiting = set(branches)
    while waiting:
        cells = {b: int(np.prod([float(sizes[x]) for x in neighbours[b]])) for b in waiting}
        branch = min(waiting, key=lambda b: (cells[b], b))
        widest = max(neighbours[branch], key=lambda x: (sizes[x], -x))
        worst = max(worst, (cells[branch], widest))
        around = neighbours[branch] - {branch}
        for other in around:
            neighbours[other] = (neighbours[other] | around) - {branch}
        waiting.remove(branch)
    return worst


def _factors(layers: Layers, branches: list[int]) -> list[Factor]:
    """The branches' own costs, the chains between them, and the leaps."""
    first, last = branches[0], branches[-1]
    factors: list[Factor] = [((b,), layers.states[b]) for b in branches]
    if first > 0:
        factors.append(((first,), _reach(layers, 0, first, None)))
    if last < len(layers.states) - 1:
        factors.append(((last,), _ahead(layers, last)))
    for start, end in itertools.pairwise(branches):
        table = _between(layers, start, end)
        if table.any():
            factors.append(((start, end), table.T))
    factors += [((leap.start, leap.end), leap.costs.T) for leap in layers.leaps]
    return factors


def _between(layers: Layers, start: int, end: int) -> Array:
    """Least costs from each state of ``start`` to each of ``end``, shape (end, start), the own
    costs of both left out."""
    table = layers.steps[start]
    for layer in range(start + 1, end):
        ahead = np.ascontiguousarray((table + layers.states[layer][:, None]).T)
        table = np.minimum.reduce(layers.steps[layer][:, None, :] + ahead[None, :, :], axis=2)
    return table


def _reach(layers: Layers, start: int, end: int, state: int | None) -> Array:
    """Least costs from ``start`` (at ``state``, or anywhere with its own costs) to each state of
    ``end``, the own costs of ``end`` left out."""
    return _reached(layers, start, end, state)[-1]


def _reached(layers: Layers, start: int, end: int, state: int | None) -> list[Array]:
    """Least costs up to each layer from ``start`` to ``end``, own costs left out at the end."""
    costs = layers.states[start]
    if state is not None:
        costs = np.full(len(costs), np.inf)
        costs[state] = 0.0
    found = [costs]
    for layer in range(start, end):
        costs = np.minimum.reduce(layers.steps[layer] + found[-1], axis=1)
        found.append(costs if layer + 1 == end else costs + layers.states[layer + 1])
    return found


def _ahead(layers: Layers, start: int) -> Array:
    """Least costs of going on from each state of ``start`` to the last layer."""
    costs = np.zeros(len(layers.states[-1]))
    for layer in range(len(layers.states) - 1, start, -1):
        costs = (layers.steps[layer - 1] + (layers.states[layer] + costs)[:, None]).min(axis=0)
    return costs


def _joint_size(layers: Layers, factors: list[Factor], branch: int) -> int:
    scope = {other for names, _ in factors if branch in names for other in names} | {branch}
    size = 1
    for other in scope:
        size *= len(layers.states[other])
    return size


def _spread(layers: Layers, factor: Factor, scope: tuple[int, ...]) -> Array:
    """The factor's table with an axis for every branch of ``scope``."""
    names, table = factor
    shape = [len(layers.states[b]) if b in names else 1 for b in scope]
    return table.reshape(shape)


def _eliminate(layers: Layers, touching: list[Factor], branch: int) -> Factor:
    """Add up the factors and take the least over ``branch``."""
    scope = tuple(sorted({other for names, _ in touching for other in names} | {branch}))
    joint = np.zeros([1] * len(scope))
    for factor in touching:
        joint = joint + _spread(layers, factor, scope)
    axis = scope.index(branch)
    return tuple(other for other in scope if other != branch), joint.min(axis=axis)


def _costs_at(layers: Layers, touching: list[Factor], branch: int, chosen: dict[int, int]) -> Array:
    """Costs of the states of ``branch`` when the other branches are chosen."""
    costs = np.zeros(len(layers.states[branch]))
    for names, table in touching:
        costs = costs + table[tuple(chosen.get(b, slice(None)) for b in names)]
    return costs


def _fill_in(layers: Layers, branches: list[int], chosen: dict[int, int]) -> list[int]:
    """States of all layers, given those of the branches."""
    path = [0] * len(layers.states)
    for branch, state in chosen.items():
        path[branch] = state
    first, last = branches[0], branches[-1]
    spans: list[tuple[int, int, int | None]] = [(0, first, None)]
    spans += [(a, b, chosen[a]) for a, b in itertools.pairwise(branches)]
    for start, end, fixed in spans:
        if end - start > (1 if fixed is not None else 0):
            reached = _reached(layers, start, end, fixed)
            _walk_back(layers, path, reached, start, end)
    if last < len(layers.states) - 1:
        end = len(layers.states) - 1
        reached = _reached(layers, last, end, chosen[last])
        path[end] = int((reached[-1] + layers.states[end]).argmin())
        _walk_back(layers, path, reached, last, end)
    return path


def _walk_back(layers: Layers, path: list[int], reached: list[Array], start: int, end: int) -> None:
    """Fill in the states between ``start`` and ``end`` from the end backwards."""
    for layer in range(end - 1, start - 1, -1):
        costs = reached[layer - start] + layers.steps[layer][path[layer + 1]]
        path[layer] = int(costs.argmin())
