"""The path searches against full enumeration."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.solve.search.differences import Group, Tally, solve_conditioned
from tunebook.solve.search.layers import Layers, Leap, path_cost
from tunebook.solve.search.leaps import solve_branching
from tunebook.solve.search.shortest_path import cheapest_different, cheapest_path, cheapest_within


def random_layers(seed: int, leaps: int) -> Layers:
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 4, size=int(rng.integers(2, 7)))
    states = [rng.integers(0, 40, size=k) / 8 for k in sizes]
    steps = [rng.integers(0, 40, size=(b, a)) / 8 for a, b in itertools.pairwise(sizes)]
    found = []
    for _ in range(leaps):
        start, end = sorted(rng.choice(len(sizes), size=2, replace=False))
        costs = rng.integers(0, 80, size=(sizes[end], sizes[start])) / 8
        found.append(Leap(int(start), int(end), costs))
    return Layers(states, steps, found)


def all_paths(layers: Layers):
    return itertools.product(*(range(len(own)) for own in layers.states))


def least(layers: Layers) -> float:
    return min(path_cost(layers, path) for path in all_paths(layers))


@pytest.mark.parametrize("leaps", [0, 1, 2, 3, 4])
@given(seed=st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_cheapest_path_is_the_least_of_all_paths(leaps: int, seed: int) -> None:
    layers = random_layers(seed, leaps)
    found = cheapest_path(layers)
    assert found.is_exact
    assert found.cost == least(layers)
    assert path_cost(layers, found.states) == found.cost


@given(seed=st.integers(0, 10**6), leaps=st.integers(1, 4))
@settings(max_examples=80, deadline=None)
def test_branches_and_conditioning_agree_without_any_bounds(seed: int, leaps: int) -> None:
    layers = random_layers(seed, leaps)
    states, cost = solve_branching(layers)
    conditioned = solve_conditioned(layers)
    assert conditioned is not None
    assert cost == conditioned[1] == least(layers)
    assert path_cost(layers, states) == path_cost(layers, conditioned[0]) == cost


@given(seed=st.integers(0, 10**6), leaps=st.integers(0, 3), other_count=st.integers(1, 2))
@settings(max_examples=80, deadline=None)
def test_cheapest_different_path_is_the_least_that_differs_enough(
    seed: int, leaps: int, other_count: int
) -> None:
    layers = random_layers(seed, leaps)
    rng = np.random.default_rng(seed + 1)
    others = [[int(rng.integers(len(own))) for own in layers.states] for _ in range(other_count)]
    differences = [
        [
            np.where(np.arange(len(own)) == state, 0, rng.integers(0, 3, size=len(own)))
            for own, state in zip(layers.states, other, strict=True)
        ]
        for other in others
    ]
    enough = [
        path_cost(layers, path)
        for path in all_paths(layers)
        if all(sum(d[i][s] for i, s in enumerate(path)) >= 2 for d in differences)
    ]
    found = cheapest_different(layers, others, differences, 2)
    if not enough:
        assert found is None
    else:
        assert found is not None
        assert found.cost == min(enough)
        assert path_cost(layers, found.states) == found.cost
        assert all(sum(d[i][s] for i, s in enumerate(found.states)) >= 2 for d in differences)


def test_a_path_above_the_limit_is_not_given() -> None:
    layers = random_layers(5, 1)
    cost = cheapest_path(layers).cost
    assert cheapest_within(layers, cost) is not None
    assert cheapest_within(layers, cost - 0.125) is None


def test_ties_go_to_the_lower_state() -> None:
    layers = Layers([np.zeros(3), np.zeros(3)], [np.zeros((3, 3))])
    assert cheapest_path(layers).states == (0, 0)


def test_no_layers_is_an_error() -> None:
    with pytest.raises(ValueError, match="no layers"):
        cheapest_path(Layers([], []))


def test_a_tally_that_cannot_fill_up_gives_no_path() -> None:
    layers = Layers([np.zeros(2), np.zeros(2)], [np.zeros((2, 2))])
    still = (Group(np.arange(2), (0, 1)),)
    assert solve_conditioned(layers, Tally(2, [still, still])) is None


def test_bounds_never_exceed_the_best_path_through_a_state() -> None:
    layers = random_layers(11, 2)
    for index, own in enumerate(layers.states):
        for state in range(len(own)):
            best = min(path_cost(layers, p) for p in all_paths(layers) if p[index] == state)
            assert layers.bounds[index][state] <= best
