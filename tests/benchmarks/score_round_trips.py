"""Sends tunes out as MusicXML and reads them in again, and says what did not come back.

Usage: python tests/benchmarks/score_round_trips.py [NUMBER OF TUNES]

Takes the tunes at random (seeded) from music21's corpus (oneills1850, ryansMammoth, airdsAirs),
each by this program's writer and by music21's; tunes with something that the latter does not keep
(see score_round_trip.py) are counted apart.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_tunes import random_tunes
from score_round_trip import (
    by_music21,
    by_our_writer,
    differences,
    is_changed_by_music21,
    read_back,
)

from tunebook import HandChoice, arrange, read_hand, read_instrument


def main() -> None:
    """Print for each writer how many tunes came back, and what the others lack."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    harpa = read_instrument("nyckelharpa-3row", "CGDA")
    hand = read_hand(HandChoice("medium"))
    found: dict[str, Counter[str]] = {"ours": Counter(), "music21": Counter()}
    for tune in random_tunes(count, seed=3):
        arrangement = arrange(tune, harpa, hand, drones="none")
        for name, write in (("ours", by_our_writer), ("music21", by_music21)):
            what = differences(arrangement, read_back(write(arrangement)))
            if what and name == "music21" and is_changed_by_music21(tune):
                what = ["have what music21's writer does not keep"]
            found[name][", ".join(what) or "all came back"] += 1
            if what:
                print(f"{name}: {tune.place} {tune.title}: {', '.join(what)}", flush=True)
    for name, counts in found.items():
        print(f"{name}: " + "; ".join(f"{count} {what}" for what, count in counts.most_common()))


if __name__ == "__main__":
    main()
