"""Time for harmony, drones, shapes and accompaniment of one tune, tables warm.

Usage: python tests/benchmarks/harmony_speed.py [TUNES]   (60 by default)

Tunes of music21's corpus, read from the installed package. Each is solved twice; the first time
fills the tables of postures and costs, the second is counted.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial

from harmony_corpus import tunes_without_chords

from tunebook.model.arrangement import ChordSpan, FingeredNote
from tunebook.model.book import HandChoice
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.drones.moments import drone_lengths, drone_moments
from tunebook.solve.drones.open import best_line
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.harmony.chords import solve_chords
from tunebook.solve.shapes.accompaniment import accompany
from tunebook.solve.shapes.shapes import choose_shapes
from tunebook.solve.times import tempo_of, whole_times

Notes = Sequence[FingeredNote]
Chords = Sequence[ChordSpan]


def _drones(tune: Tune, notes: Notes, instrument: Instrument, chords: Chords) -> object:
    moments = drone_moments(tune, notes, instrument, chords)
    return best_line(moments, drone_lengths(tune, whole_times(tune)))


def main(count: int) -> None:
    instrument, hand = read_instrument("nyckelharpa-3row", "CGDA"), read_hand(HandChoice())
    times: dict[str, list[float]] = {}
    for turn in ("cold", "warm"):
        for tune, _ in tunes_without_chords()[:count]:
            speed, _ = tempo_of(tune)
            chords = solve_chords(tune)
            given = {"whole_notes_per_second": speed}
            notes = choose_fingering(tune, instrument, hand, **given).notes
            steps: dict[str, Callable[[], object]] = {
                "harmony": partial(solve_chords, tune),
                "drones": partial(_drones, tune, notes, instrument, chords),
                "shapes": partial(choose_shapes, chords, instrument, hand, **given),
                "accompaniment": partial(accompany, tune, chords, instrument, hand, **given),
            }
            for name, step in steps.items():
                start = time.perf_counter()
                step()
                if turn == "warm":
                    times.setdefault(name, []).append(1000.0 * (time.perf_counter() - start))
    for name, values in times.items():
        ordered = sorted(values)
        print(
            f"{name}: median {statistics.median(values):.1f} ms, nine in ten within "
            f"{ordered[int(0.9 * len(ordered))]:.1f} ms, most {ordered[-1]:.1f} ms"
        )
    both = sorted(a + b for a, b in zip(times["harmony"], times["drones"], strict=True))
    print(f"harmony and drones: median {statistics.median(both):.1f} ms, most {both[-1]:.1f} ms")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
