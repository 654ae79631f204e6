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

from abc2midi_comparison import Reason, compare, is_explained, read_reasons
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
    tunes = reading.tunes
    reasons = read_reasons()
    unexplained: dict[str, Tune] = {}
    counts = {"agree": 0, "reason": 0}
    stale: list[Reason] = []
    differences = {which: compare(tunes, which, work) for which in ("written", "played")}
    for index, tune in enumerate(tunes):
        key = f"{name}/{tune.place.path}:{tune.place.line}"
        differing = [which for which in differences if differences[which][index] is not None]
        kept = reasons.get(key, [])
        if not differing:
            counts["agree"] += 1
            stale += kept
            continue
        has_reason = all(
            any(
                reason.which in (which, "both") and is_explained(tune, reason, which, work)
                for reason in kept
            )
            for which in differing
        )
        if has_reason:
            counts["reason"] += 1
            continue
        unexplained[key] = tune
        if with_list:
            which = "both" if len(differing) == 2 else differing[0]
            print(f"{key}\t{which}\tunknown", differences[differing[0]][index], tune.title)
    share = (counts["agree"] + counts["reason"]) / (len(tunes) + left_out)
    print(
        f"{name}: {len(tunes)} tunes read, {left_out} left out; {counts['agree']} agree, "
        f"{counts['reason']} differ for a kept reason, {len(unexplained)} without one; "
        f"{100 * share:.2f} %",
        flush=True,
    )
    for reason in stale:
        print(f"  agrees now: {reason.tune} {reason.name}")
    return share >= 0.995 and not stale


if __name__ == "__main__":
    sys.exit(main())
