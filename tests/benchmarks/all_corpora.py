"""Read and solve every tune of four corpus folders of music21; prints tunes a second and failures.

Usage: python tests/benchmarks/all_corpora.py [STEP]   (every STEP-th tune; 1 by default)

Solved are fingering, chords and an open drone, on the three-row nyckelharpa in CGDA, by two worker
processes. A tune that raises anything is a failure.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

FOLDERS = ("oneills1850", "ryansMammoth", "airdsAirs", "essenFolksong")
BATCH = 40


def solve_batch(tunes: list) -> list[str]:
    from tunebook import HandChoice, arrange, read_hand, read_instrument

    harpa, hand = read_instrument("nyckelharpa-3row"), read_hand(HandChoice())
    failures = []
    for tune in tunes:
        try:
            arrange(tune, harpa, hand, drones="open")
        except Exception as error:
            failures.append(f"{tune.place}: {type(error).__name__}: {error}")
    return failures


def main() -> None:
    import music21

    from tunebook import read_folder
    from tunebook.pipeline.workers import map_on_cores

    step = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    home = Path(music21.__file__).parent / "corpus"
    for folder in FOLDERS:
        start = time.perf_counter()
        reading = read_folder(home / folder)
        read_s = time.perf_counter() - start
        tunes = list(reading.tunes[::step])
        batches = [tunes[at : at + BATCH] for at in range(0, len(tunes), BATCH)]
        start = time.perf_counter()
        results = list(map_on_cores(solve_batch, [(batch,) for batch in batches], jobs=2))
        solve_s = time.perf_counter() - start
        failures = [one for result in results for one in result]
        left_out = sum(message.is_fatal for message in reading.messages)
        print(
            f"{folder}: {len(reading.tunes)} read, {len(reading.tunes) / read_s:.0f} a second, "
            f"{left_out} left out; {len(tunes)} solved, {len(tunes) / solve_s:.0f} a second, "
            f"{len(failures)} failures"
        )
        for failure in failures[:10]:
            print("   ", failure)


if __name__ == "__main__":
    main()
