"""Exact cheapest paths through layers, and the next cheapest that differ enough. Knows no music.

A path takes one state in each layer. Its cost is the sum of the states' own costs, of the steps
from each layer to the next, and of leaps between layers farther apart.

Steps are solved by dynamic programming over the layers (Bellman 1957). Leaps tie states of distant
layers together, which a chain cannot see. They are first left at the least that they can cost for
the state they start from. That gives a lower bound for every state, and the chain's best path with
its true leaps an upper bound. States whose lower bound is above the upper bound cannot lie on a
best path; what is left is solved exactly (see ``branching``).

Ties go to the state of the lower index, reading from the last layer; costs that are multiples of a
power of two add up without rounding, so that results do not depend on the order of additions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tunebook.solve.search.differences import Group, Tally, largest_conditioned, solve_conditioned
from tunebook.solve.search.layers import Array, Layers, Path, keep_states, path_cost, spend
from tunebook.solve.search.leaps import largest_table, solve_branching

MOST_CELLS = 1_000_000
"""Size of the largest table that is carried along; larger problems are narrowed and say so."""

WIDE_GAP = 8.0
"""Gap between the bounds from which on it pays to improve the upper one."""

ROUNDS = 1
"""Times that an upper bound is improved before the exact search."""

TRIALS = 16
"""Paths that are tried for an upper bound on the next different path."""


def cheapest_path(layers: Layers) -> Path:
    """The cheapest path through ``layers``. Raises ValueError when there is no layer."""
    found = cheapest_within(layers, float("inf"))
    if found is None:
        raise ValueError("no path")
    return found


def cheapest_within(layers: Layers, most: float) -> Path | None:
    """The cheapest path if it costs at most ``most``, else None."""
    if not layers.states:
        raise ValueError("no layers")
    spend(2 * len(layers.states), 2 * sum(step.size for step in layers.steps))
    lower = float(layers.reached[-1].min())
    if lower > most:
        return None
    chain = _best_chain(layers)
    if not layers.leaps:
        return Path(tuple(chain), lower)
    upper = path_cost(layers, chain)
    if upper > lower + WIDE_GAP:
        chain, upper = _improved(layers, chain, upper)
    if upper <= lower:
        return Path(tuple(chain), upper)
    found = _solve_within(layers, min(upper, most))
    return found if found is not None and found.cost <= most else None


def leaps_fixed(layers: Layers, states: Sequence[int]) -> list[Array]:
    """States' costs with each leap priced against the given path's state at its other end."""
    own = list(layers.states)
    for leap in layers.leaps:
        spent = leap.costs[states[leap.end], states[leap.start]]
        own[leap.start] = own[leap.start] + leap.costs[states[leap.end]]
        own[leap.end] = own[leap.end] + leap.costs[:, states[leap.start]] - spent
    return own


def _improved(layers: Layers, chain: list[int], upper: float) -> tuple[list[int], float]:
    """A better path for the upper bound: the chain solved again with its leaps held fixed."""
    for _ in range(ROUNDS):
        better = _best_chain(Layers(leaps_fixed(layers, chain), layers.steps))
        cost = path_cost(layers, better)
        if cost >= upper:
            break
        chain, upper = better, cost
    return chain, upper


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
    upper = _trial_bound(layers, differences, least)
    return _solve_within(layers, upper, differences, least)


def _best_chain(layers: Layers) -> list[int]:
    """The best path when leaps count as relaxed."""
    return _trace_back(layers, len(layers.states) - 1, int(layers.reached[-1].argmin()))


def _trace_back(layers: Layers, layer: int, state: int) -> list[int]:
    """The best way to ``state`` of ``layer``, from the first layer on."""
    path = [state]
    steps, reached = layers.steps, layers.reached
    for index in range(layer - 1, -1, -1):
        state = (steps[index][state] + reached[index]).argmin()
        path.append(int(state))
    path.reverse()
    return path


def _trace_on(layers: Layers, layer: int, state: int) -> list[int]:
    """The best way on from ``state`` of ``layer``, that state left out."""
    path = []
    for index in range(layer, len(layers.steps)):
        onward = layers.steps[index][:, state] + layers.relaxed[index + 1]
        state = int((onward + layers.ahead[index + 1]).argmin())
        path.append(state)
    return path


def _trial_bound(layers: Layers, differences: Sequence[Sequence[Array]], least: int) -> float:
    """Cost of the cheapest of some paths that differ enough; inf when none was met."""
    trials = []
    for layer, bound in enumerate(layers.bounds):
        changed = np.minimum.reduce([difference[layer] for difference in differences]) > 0
        if changed.any():
            masked = np.where(changed, bound, np.inf)
            trials.append((float(masked.min()), layer, int(masked.argmin())))
    upper = float("inf")
    for least_cost, layer, state in sorted(trials)[:TRIALS]:
        if least_cost >= upper:
            break
        path = _trace_back(layers, layer, state) + _trace_on(layers, layer, state)
        sums = [sum(d[i][s] for i, s in enumerate(path)) for d in differences]
        if min(sums) >= least:
            upper = min(upper, path_cost(layers, path))
    return upper


def _tally(differences: Sequence[Sequence[Array]], least: int, kept: Sequence[Array]) -> Tally:
    """The joint counter of differences from all other paths, each counted up to ``least``."""
    size = least + 1
    values = range(size ** len(differences))
    groups: list[tuple[Group, ...]] = []
    for layer, keep in enumerate(kept):
        columns = np.array([difference[layer][keep] for difference in differences])
        if not columns.any():
            groups.append((Group(np.arange(len(keep)), tuple(values)),))
            continue
        alike: dict[tuple[int, ...], list[int]] = {}
        for state, column in enumerate(columns.T.tolist()):
            alike.setdefault(tuple(column), []).append(state)
        groups.append(
            tuple(
                Group(np.array(states), tuple(_after(value, added, size) for value in values))
                for added, states in sorted(alike.items())
            )
        )
    return Tally(len(values), groups)


def _after(value: int, added: tuple[int, ...], size: int) -> int:
    """A joint counter's value after each of its digits has grown by what is added."""
    total = 0
    for number, more in enumerate(added):
        digit = value // size**number % size
        total += size**number * min(size - 1, digit + more)
    return total


def _solve_within(
    layers: Layers,
    upper: float,
    differences: Sequence[Sequence[Array]] = (),
    least: int = 0,
) -> Path | None:
    """The cheapest path among states whose lower bound is at most ``upper``."""
    kept = [(bound <= upper).nonzero()[0] for bound in layers.bounds]
    if any(len(keep) == 0 for keep in kept):
        return None
    is_exact = _narrow(layers, kept, (least + 1) ** len(differences))
    small = keep_states(layers, kept)
    found: tuple[list[int], float] | None
    if not differences:
        found = solve_branching(small)
    else:
        found = solve_conditioned(small, _tally(differences, least, kept))
    if found is None:
        return None
    states = tuple(int(kept[index][state]) for index, state in enumerate(found[0]))
    return Path(states, found[1], is_exact)


def _narrow(layers: Layers, kept: list[Array], tally_size: int) -> bool:
    """Drop the least promising states until the tables fit; True when none was dropped."""
    is_exact = True
    while layers.leaps:
        sizes = [len(keep) for keep in kept]
        spend(len(layers.leaps))
        if tally_size == 1:
            cells, widest = largest_table(layers, sizes)
        else:
            cells, widest = largest_conditioned(layers, sizes, tally_size)
        if cells <= MOST_CELLS or sizes[widest] == 1:
            break
        order = np.argsort(layers.bounds[widest][kept[widest]], kind="stable")
        kept[widest] = np.sort(kept[widest][order[: (len(order) + 1) // 2]])
        is_exact = False
    return is_exact
