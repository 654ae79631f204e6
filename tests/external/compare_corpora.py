"""Source: abc2midi (Debian package abcmidi) on all ABC tunes of music21's corpus.

Usage: python tests/external/compare_corpora.py [FOLDER ...] [--list]

Prints for each folder how many tunes agree, how many differ for a kept reason (each put to the
test), and how many differ without one; ``--list`` prints the latter as lines for the list. Exits
with 1 when fewer than 99.5 % of a folder agree or have a reason, or a kept reason is out of date.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from abc2midi_comparison import compare, is_explained, read_reasons
from corpus_folders import FOLDERS, corpus_folder

from tunebook.model.tune import Tune
from tunebook.read.folder import read_folder


def main() -> int:
    """Compare the folders named on the command line, or all."""
    names = [name for name in sys.argv[1:] if not name.startswith("--")] or list(FOLDERS)
    is_good = True
    with tempfile.TemporaryDirectory() as work:
        for name in names:
            is_good = compare_folder(name, Path(work), "--list" in sys.argv) and is_good
    return 0 if is_good else 1


def compare_folder(name: str, work: Path, with_list: bool) -> bool:
    """Compare one folder and print the figures."""
    reading = read_folder(corpus_folder(name))
    left_out = sum(message.is_fatal for message in reading.messages)
    differences = {which: compare(reading.tunes, which, work) for which in ("written", "played")}
    counts = {"agree": 0, "reason": 0, "open": 0, "stale": 0}
    for index, tune in enumerate(reading.tunes):
        found = {which: found[index] for which, found in differences.items() if found[index]}
        verdict = judge(f"{name}/{tune.place.path}:{tune.place.line}", tune, list(found), work)
        counts[verdict] += 1
        if verdict == "stale" or (with_list and verdict == "open"):
            print(f"{name}/{tune.place.path}:{tune.place.line}\t{verdict}", tune.title, found)
    share = (len(reading.tunes) - counts["open"]) / (len(reading.tunes) + left_out)
    print(
        f"{name}: {len(reading.tunes)} tunes read, {left_out} left out; {counts['agree']} agree, "
        f"{counts['reason']} differ for a kept reason, {counts['open']} without one; "
        f"{100 * share:.2f} %",
        flush=True,
    )
    return share >= 0.995 and not counts["stale"]


def judge(key: str, tune: Tune, differing: list[str], work: Path) -> str:
    """Say "agree", "reason" (a kept one that stands the test), "open", or "stale" where a
    reason is kept for a tune that agrees."""
    kept = read_reasons().get(key, [])
    if not differing:
        return "stale" if kept else "agree"
    has_reasons = all(
        any(
            reason.which in (which, "both") and is_explained(tune, reason, which, work)
            for reason in kept
        )
        for which in differing
    )
    return "reason" if has_reasons else "open"


if __name__ == "__main__":
    sys.exit(main())
