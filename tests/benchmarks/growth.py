"""How time and memory grow with the book: a full build of 100 tunes and of 1,000; prints ratios.

Usage: python tests/benchmarks/growth.py [SMALL LARGE]   (100 1000 by default; Linux)

The tunes are the first of the corpus folder oneills1850 of music21. Memory is the resident size,
looked at five times a second: that of the program itself, and that of all its processes together
(pages that they share are counted in each).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from build_speed import corpus_tunes, timed, write_tunes

PAGE_BYTES = 4096


def resident_mb(process: int) -> tuple[float, float]:
    """Megabytes of ``process`` itself and of its whole family."""
    sizes, children = {}, {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parent = (entry / "stat").read_text().rsplit(")", 1)[1].split()[1]
            pages = (entry / "statm").read_text().split()[1]
        except (OSError, IndexError):
            continue  # it has just ended
        sizes[int(entry.name)] = int(pages) * PAGE_BYTES / 1e6
        children.setdefault(int(parent), []).append(int(entry.name))
    family, waiting = [], [process]
    while waiting:
        family.append(waiting.pop())
        waiting += children.get(family[-1], [])
    return sizes.get(process, 0.0), sum(sizes.get(one, 0.0) for one in family)


def watched(command: list[str], environment: dict[str, str]) -> tuple[float, float, float]:
    """Seconds, and the peaks of memory in megabytes of the program and of its family."""
    start = time.perf_counter()
    run = subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    own = family = 0.0
    while run.poll() is None:
        now = resident_mb(run.pid)
        own, family = max(own, now[0]), max(family, now[1])
        time.sleep(0.2)
    return time.perf_counter() - start, own, family


def main() -> None:
    counts = [int(word) for word in sys.argv[1:3]] or [100, 1000]
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        environment = {**os.environ, "XDG_CACHE_HOME": str(home / "cache")}
        program = [sys.executable, "-m", "tunebook"]
        # Fonts are converted once a machine; that is not part of any book.
        write_tunes(home / "first", corpus_tunes(1))
        timed([*program, "build", str(home / "first"), "-o", str(home / "x.pdf")], environment)
        seconds = []
        for count in counts:
            subprocess.run([*program, "cache", "clear"], env=environment, capture_output=True)
            timed([*program, "build", str(home / "first"), "-o", str(home / "x.pdf")], environment)
            folder, book = home / str(count), home / f"{count}.pdf"
            write_tunes(folder, corpus_tunes(count))
            spent, own, family = watched(
                [*program, "build", str(folder), "-o", str(book)], environment
            )
            seconds.append(spent)
            size = book.stat().st_size / count / 1000
            print(f"{count} tunes: peak {own:.0f} MB, with its processes {family:.0f} MB; "
                  f"PDF {size:.1f} kB a tune")  # fmt: skip
        print(f"cores: {os.cpu_count()}; time {counts[1]} / {counts[0]} tunes: "
              f"{seconds[1] / seconds[0]:.1f}")  # fmt: skip


if __name__ == "__main__":
    main()
