"""What chords and drones cost beside the fingering alone: processor time a tune, and ratios.

    python tests/benchmarks/arrange_speed.py [TUNES] [--against FOLDER]   (60 tunes by default)

Tunes of music21's corpus; each case is worked through some times in turn, and the least time a tune
counts. With --against, the program of another checkout is measured in turn with this one in the
same run, as a process of its own, and every case's ratio to it is printed.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 4
TURNS = 2
CASES: dict[str, dict[str, str]] = {
    "fingering alone": {"drones": "none", "chords": "none"},
    "no drones, chords": {"drones": "none", "chords": "all"},
    "open drones, no chords": {"drones": "open", "chords": "none"},
    "open drones, chords": {"drones": "open", "chords": "all"},
    "held drones, chords": {"drones": "held", "chords": "all"},
}


def measure(count: int) -> dict[str, float]:
    """Milliseconds a tune of each case, and of the chords alone."""
    sys.path.insert(0, str(ROOT / "tests" / "external"))
    from corpus_tunes import random_tunes

    from tunebook.read.settings.profile import read_hand, read_instrument
    from tunebook.solve.arrange import arrange
    from tunebook.solve.harmony.chords import solve_chords

    instrument, hand = read_instrument("nyckelharpa-3row", "CGDA"), read_hand()
    tunes = random_tunes(count, 3)
    works: dict[str, Callable[[int], object]] = {
        name: lambda at, asked=asked: arrange(tunes[at], instrument, hand, **asked)
        for name, asked in CASES.items()
    }
    works["chords alone"] = lambda at: solve_chords(tunes[at])
    times = {name: [float("inf")] * len(tunes) for name in works}
    gc.collect()
    gc.freeze()
    for _ in range(ROUNDS):
        for name, work in works.items():
            for at in range(len(tunes)):
                start = time.process_time()
                work(at)
                times[name][at] = min(times[name][at], time.process_time() - start)
    return {name: 1000.0 * sum(each) / len(each) for name, each in times.items()}


def in_checkout(folder: Path, count: int) -> dict[str, float]:
    surroundings = {**os.environ, "PYTHONPATH": str(folder), "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, __file__, str(count), "--figures"]
    done = subprocess.run(command, env=surroundings, check=True, capture_output=True, text=True)
    figures: dict[str, float] = json.loads(done.stdout)
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("tunes", type=int, nargs="?", default=60)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--figures", action="store_true", help="print JSON (for this program)")
    asked = parser.parse_args()
    if asked.figures:
        print(json.dumps(measure(asked.tunes)))
        return
    folders = [ROOT, *([asked.against.resolve()] if asked.against else [])]
    found: list[dict[str, float]] = [{} for _ in folders]
    for _ in range(TURNS):
        for at, folder in enumerate(folders):
            for name, value in in_checkout(folder, asked.tunes).items():
                found[at][name] = min(value, found[at].get(name, value))
    alone = found[0]["fingering alone"]
    for name, value in found[0].items():
        line = f"{name:24} {value:6.2f} ms a tune, {value / alone:5.2f} of the fingering alone"
        if len(found) > 1:
            other = found[1][name]
            line += f"; {value / other:5.2f} of {other:.2f} ms there"
        print(line)


if __name__ == "__main__":
    main()
