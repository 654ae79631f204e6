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

import heapq
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from tunebook.solve.search.layers import Array, Layers, spend

Factor = tuple[tuple[int, ...], Array]
"""Branches in rising order, and the costs with one axis for each."""


def branches_of(layers: Layers) -> list[int]:
    """The layers at which leaps begin or end."""
    return sorted({end for leap in layers.leaps for end in (leap.start, leap.end)})


def solve_branching(layers: Layers) -> tuple[list[int], float]:
    """The cheapest path and its cost. ``layers`` must have leaps."""
    branches = branches_of(layers)
    sizes = {branch: len(layers.states[branch]) for branch in branches}
    factors = dict(enumerate(_factors(layers, branches)))
    at: dict[int, list[int]] = {branch: [] for branch in branches}
    for number, (names, _) in factors.items():
        for name in names:
            at[name].append(number)
    edges = {names for names, _ in factors.values() if len(names) == 2}
    order: list[tuple[int, list[Factor]]] = []
    for number, (branch, _) in enumerate(elimination(sizes, edges), start=len(factors)):
        spend(2 * len(at[branch]))
        touching = [factors.pop(one) for one in at[branch] if one in factors]
        factors[number] = _eliminate(layers, touching, branch)
        for name in factors[number][0]:
            at[name].append(number)
        order.append((branch, touching))
    cost = float(sum(float(table) for _, table in factors.values()))
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
    worst = (0, branches[0])
    for branch, around in elimination({b: sizes[b] for b in branches}, edges):
        scope = {branch, *around}
        widest = max(scope, key=lambda x: (sizes[x], -x))
        worst = max(worst, (math.prod(sizes[x] for x in scope), widest))
    return worst


def elimination(
    sizes: Mapping[int, int], edges: Iterable[tuple[int, ...]]
) -> Iterator[tuple[int, frozenset[int]]]:
    """Yield each branch in the order in which branches are eliminated, with those that share a
    table with it then: always the one with the smallest table, of equal ones the first.

    ``sizes`` are the branches' numbers of states. After each only the tables of its neighbours are
    counted anew, so that the time does not grow with the square of the number of branches.
    """
    around: dict[int, set[int]] = {branch: set() for branch in sizes}
    for start, end in edges:
        around[start].add(end)
        around[end].add(start)

    def cells_of(branch: int) -> int:
        return sizes[branch] * math.prod(sizes[other] for other in around[branch])

    cells = {branch: cells_of(branch) for branch in sizes}
    waiting = [(count, branch) for branch, count in cells.items()]
    heapq.heapify(waiting)
    while waiting:
        count, branch = heapq.heappop(waiting)
        if cells.get(branch) != count:
            continue  # counted anew since
        del cells[branch]
        neighbours = around.pop(branch)
        yield branch, frozenset(neighbours)
        for other in neighbours:
            around[other] |= neighbours
            around[other] -= {other, branch}
            if cells[other] != (now := cells_of(other)):
                cells[other] = now
                heapq.heappush(waiting, (now, other))


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
        spend(2, table.shape[1] * layers.steps[layer].size)
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


def _spread(layers: Layers, factor: Factor, scope: tuple[int, ...]) -> Array:
    """The factor's table with an axis for every branch of ``scope``."""
    names, table = factor
    shape = [len(layers.states[b]) if b in names else 1 for b in scope]
    return table.reshape(shape)


def _eliminate(layers: Layers, touching: list[Factor], branch: int) -> Factor:
    """Add up the factors and take the least over ``branch``."""
    scope = tuple(sorted({other for names, _ in touching for other in names} | {branch}))
    spend(1, len(touching) * math.prod(len(layers.states[other]) for other in scope))
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
