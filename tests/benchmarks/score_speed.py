"""Measures how fast a score becomes tunes, beside music21's own parse of it, in one run.

Usage: python tests/benchmarks/score_speed.py [NUMBER OF SCORES]

Takes MusicXML files of music21's corpus (seeded, those of at most 300 kB), and reads each with both
(processor time, after a first one to warm up). Ours is all of it: from bytes to tunes with voices.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_tunes import corpus_root

from tunebook.errors import Message
from tunebook.read.folder import AbcFile, iterate_tunes


def main() -> None:
    """Print both times and their ratio."""
    from music21 import converter

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    paths = sorted(path for path in corpus_root().rglob("*") if path.suffix in (".mxl", ".xml"))
    paths = [path for path in paths if path.stat().st_size < 300_000]
    ours = theirs = 0.0
    for number, path in enumerate(random.Random(5).sample(paths, count + 1)):
        start = time.process_time()
        found = list(iterate_tunes([AbcFile(path.name, path.read_bytes())]))
        middle = time.process_time()
        converter.parse(path, forceSource=True)
        if number:
            ours += middle - start
            theirs += time.process_time() - middle
        for one in found:
            if isinstance(one, Message) and one.is_fatal:
                print(one)
    print(f"{count} scores: {1000 * ours / count:.0f} ms each, music21 {1000 * theirs / count:.0f}")
    print(f"ratio {ours / theirs:.2f} (goal 1.3)")


if __name__ == "__main__":
    main()
