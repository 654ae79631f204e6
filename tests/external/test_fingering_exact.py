"""Sources: full enumeration (every fingering of short tunes) and networkx's shortest path (Hagberg,
Schult & Swart 2008) on the same layered graph of whole tunes."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from corpus_tunes import random_tunes

from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.move_tables import CostTables, tables_for
from tunebook.solve.fingering.problem import pose_problem
from tunebook.solve.search.layers import Layers, path_cost
from tunebook.solve.search.shortest_path import cheapest_path
from tunebook.solve.times import tempo_of

HAND = read_hand()
MOST_PATHS = 250_000


def tables(tuning: str) -> CostTables:
    return tables_for(read_instrument("nyckelharpa-3row", tuning), HAND, Limits(), None)


def cut_short(tune: Tune, notes: int, rng: random.Random) -> Tune:
    """A few notes in a row out of ``tune``, played twice, so that there is a way back."""
    bars = [bar for bar in tune.bars if any(not note.is_rest for note in bar.notes)]
    bar = rng.choice(bars)
    kept = bar.notes[: max(1, notes)]
    short = replace(bar, index=0, notes=kept)
    return replace(tune, bars=(short,), played=(0, 0) if rng.random() < 0.5 else (0,))


def paths_of(layers: Layers) -> int:
    count = 1
    for own in layers.states:
        count *= len(own)
    return count


def enumerated(layers: Layers) -> float:
    """Cost of the cheapest of all paths, added up without any cleverness."""
    sizes = [range(len(own)) for own in layers.states]
    return min(path_cost(layers, path) for path in itertools.product(*sizes))


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_short_tunes_agree_with_full_enumeration(tuning: str) -> None:
    rng = random.Random(7)
    checked = 0
    for tune in random_tunes(60, seed=4):
        short = cut_short(tune, rng.choice((2, 3)), rng)
        problem = pose_problem(short, tables(tuning), tempo_of(tune)[0])
        if not problem.sets or paths_of(problem.layers) > MOST_PATHS:
            continue
        checked += 1
        found = cheapest_path(problem.layers)
        if paths_of(problem.layers) <= 3000:
            assert found.cost == enumerated(problem.layers)
        else:
            assert found.cost == by_tensor(problem.layers)
    assert checked >= 25


def by_tensor(layers: Layers) -> float:
    """Full enumeration as one table with an axis for each layer."""
    count = len(layers.states)
    total = np.zeros([len(own) for own in layers.states])
    for axis, own in enumerate(layers.states):
        total = total + own.reshape([-1 if a == axis else 1 for a in range(count)])
    pairs = [(i, i + 1, step) for i, step in enumerate(layers.steps)]
    pairs += [(leap.start, leap.end, leap.costs) for leap in layers.leaps]
    for start, end, costs in pairs:
        shape = [1] * count
        shape[start], shape[end] = costs.shape[1], costs.shape[0]
        total = total + costs.T.reshape(shape)
    return float(total.min())


def lay_into(graph: nx.DiGraph, layers: Layers, layer: int) -> None:
    """Add the edges that lead to the states of ``layer``, or give them these costs."""
    own = layers.states[layer]
    if layer == 0:
        for state, cost in enumerate(own):
            graph.add_edge("start", (0, state), weight=float(cost))
        return
    costs = layers.steps[layer - 1] + own[:, None]
    for end, start in np.ndindex(costs.shape):
        graph.add_edge((layer - 1, start), (layer, end), weight=float(costs[end, start]))


def as_graph(layers: Layers) -> nx.DiGraph:
    """The layered graph: a node for each state, its own cost on the edges that lead to it."""
    graph = nx.DiGraph()
    for layer in range(len(layers.states)):
        lay_into(graph, layers, layer)
    last = len(layers.states) - 1
    for state in range(len(layers.states[last])):
        graph.add_edge((last, state), "end", weight=0.0)
    return graph


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_whole_tunes_cost_the_same_by_networkx(tuning: str) -> None:
    for tune in random_tunes(4, seed=8):
        plain = replace(tune, played=tuple(range(len(tune.bars))))
        problem = pose_problem(plain, tables(tuning), tempo_of(tune)[0])
        assert not problem.layers.leaps
        graph = as_graph(problem.layers)
        expected = nx.shortest_path_length(graph, "start", "end", weight="weight")
        assert cheapest_path(problem.layers).cost == pytest.approx(expected, abs=1e-9)


def first_repeat(tune: Tune) -> Tune:
    """The first bars of ``tune``, the middle one of them repeated with the two around it."""
    return replace(tune, bars=tune.bars[:5], played=(0, 1, 2, 3, 1, 2, 3, 4))


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_tunes_with_repeats_cost_the_same_by_networkx(tuning: str) -> None:
    """Repeats: the least over the states of the repeat's first note of a path held to that state,
    with the way back added where the repeat ends."""
    checked = 0
    for whole in random_tunes(60, seed=11):
        tune = first_repeat(whole)
        if len(tune.bars) < 5:
            continue
        problem = pose_problem(tune, tables(tuning), tempo_of(tune)[0])
        layers = problem.layers
        if len(layers.leaps) != 1:
            continue
        checked += 1
        leap = layers.leaps[0]
        graph = as_graph(layers)
        costs = []
        for state in range(len(layers.states[leap.start])):
            held = list(layers.states)
            only = np.full(len(held[leap.start]), np.inf)
            only[state] = held[leap.start][state]
            held[leap.start] = only
            held[leap.end] = held[leap.end] + leap.costs[:, state]
            for layer in (leap.start, leap.end):
                lay_into(graph, Layers(held, layers.steps), layer)
            costs.append(nx.shortest_path_length(graph, "start", "end", weight="weight"))
        assert cheapest_path(layers).cost == pytest.approx(min(costs), abs=1e-9)
        if checked == 3:
            break
    assert checked == 3
