"""Prints how fast fingerings are found, and the ratio to networkx on the same graph.

Times are processor times on one core after a warm-up on other tunes; every figure is the median.
Run: python tests/benchmarks/solve_speed.py
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

import networkx as nx
from corpus_tunes import notes_of, random_tunes
from test_fingering_exact import as_graph

from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import DroneDemand, choose_fingering, k_best_fingerings
from tunebook.solve.fingering.move_tables import tables_for
from tunebook.solve.fingering.problem import pose_problem
from tunebook.solve.search.layers import Layers
from tunebook.solve.search.shortest_path import cheapest_path
from tunebook.solve.times import tempo_of

INSTRUMENT = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand()


def timed(work: Callable[[], object], rounds: int = 3) -> float:
    """Milliseconds, the least of some rounds, garbage collected between them (as timeit does)."""
    best = float("inf")
    gc.collect()
    gc.freeze()  # what lies in memory from other tunes is no part of the work
    for _ in range(rounds):
        gc.collect()
        gc.disable()
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
        gc.enable()
    return 1000 * best


def drone_of(tune: Tune) -> tuple[DroneDemand, ...]:
    last = tune.bars[-1]
    return (DroneDemand(Fraction(0), last.onset + last.duration, 2, 2),)


def solve(tune: Tune) -> object:
    return choose_fingering(tune, INSTRUMENT, HAND, whole_notes_per_second=tempo_of(tune)[0])


def solve_under_drone(tune: Tune) -> object:
    return k_best_fingerings(
        tune, INSTRUMENT, HAND, whole_notes_per_second=tempo_of(tune)[0],
        drone=drone_of(tune), count=3,
    )  # fmt: skip


def report_tunes(tunes: list[Tune], others: list[Tune]) -> None:
    for tune in others:
        solve(tune)
        solve_under_drone(tune)
    lengths = [len(notes_of(tune)) for tune in tunes]
    print(f"{len(tunes)} tunes of 150 to 300 notes, median {statistics.median(lengths):.0f}")
    single = [timed(lambda tune=tune: solve(tune)) for tune in tunes]
    print(f"  no drone                     {statistics.median(single):8.1f} ms a tune")
    print(f"    slowest                    {max(single):8.1f} ms")
    drone = [timed(lambda tune=tune: solve_under_drone(tune)) for tune in tunes]
    print(f"  held drone, three best       {statistics.median(drone):8.1f} ms a tune")
    print(f"    slowest                    {max(drone):8.1f} ms")


def report_networkx(tunes: list[Tune]) -> None:
    for words, has_drone in (("no drone", False), ("held drone", True)):
        ratios = [ratio_to_networkx(tune, has_drone) for tune in tunes[:5]]
        print(f"networkx, same graph, {words:<11}{statistics.median(ratios):5.0f} times as slow")


def ratio_to_networkx(tune: Tune, has_drone: bool) -> float:
    """How many times as long networkx takes on the layered graph of ``tune`` as written."""
    tables = tables_for(INSTRUMENT, HAND, Limits(), None)
    plain = replace(tune, played=tuple(range(len(tune.bars))))
    drone = drone_of(tune) if has_drone else ()
    layers = pose_problem(plain, tables, tempo_of(tune)[0], drone).layers
    own = timed(lambda: cheapest_path(Layers(layers.states, layers.steps)), 10)
    graph = as_graph(layers)
    return timed(lambda: nx.shortest_path_length(graph, "start", "end", weight="weight")) / own


def report_growth(tunes: list[Tune]) -> None:
    bars = [bar for tune in tunes[:6] for bar in tune.bars]
    figures = []
    for notes in (1_000, 10_000):
        long_tune = joined(tunes[0], bars, notes)
        count = len(notes_of(long_tune))
        figures.append((count, timed(lambda tune=long_tune: solve(tune), 2)))
    (few, fast), (many, slow) = figures
    growth = (slow / fast) / (many / few)
    print(f"{few} notes {fast:.0f} ms, {many} notes {slow:.0f} ms: {growth:.2f} times linear")


def joined(first: Tune, bars: list, notes: int) -> Tune:
    """Bars of many tunes in a row, as one long tune without repeats."""
    made, onset, count, number = [], Fraction(0), 0, 0
    while count < notes:
        bar = bars[number % len(bars)]
        moved = tuple(replace(note, onset=note.onset - bar.onset + onset) for note in bar.notes)
        made.append(replace(bar, index=number, onset=onset, notes=moved))
        onset += bar.duration
        count += sum(len(note.pitches) for note in bar.notes)
        number += 1
    return replace(first, bars=tuple(made), played=tuple(range(len(made))))


def main() -> None:
    found = [tune for tune in random_tunes(500, 2) if 150 <= len(notes_of(tune)) <= 300]
    report_tunes(found, random_tunes(60, 3))
    report_networkx(found)
    report_growth(found)


if __name__ == "__main__":
    main()
