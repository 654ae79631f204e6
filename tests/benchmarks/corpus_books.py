"""Build a book of tunes taken at random from each corpus folder of music21; prints what came of it.

Usage: python tests/benchmarks/corpus_books.py [TUNES] [SEED]   (50 tunes a folder, seed 1)

For each folder: how many tunes were built, how many left out and why, pages and time. The folders
oneills1850, ryansMammoth and airdsAirs are read from the installed package.
"""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
import tempfile
from pathlib import Path

FOLDERS = ("oneills1850", "ryansMammoth", "airdsAirs")


def texts_of(folder: str) -> list[str]:
    """The texts of all tunes of a corpus folder."""
    import music21

    home = Path(music21.__file__).parent / "corpus" / folder
    tunes: list[str] = []
    for path in sorted(home.glob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace")
        tunes += [part for part in re.split(r"(?m)^(?=X:)", text) if part.startswith("X:")]
    return tunes


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for folder in FOLDERS:
        chosen = random.Random(seed).sample(texts_of(folder), count)
        with tempfile.TemporaryDirectory() as name:
            home = Path(name)
            (home / "tunes").mkdir()
            text = "\n\n".join(tune.strip() for tune in chosen)
            (home / "tunes" / "all.abc").write_text(text + "\n", encoding="utf-8")
            command = [sys.executable, "-m", "tunebook", "build", str(home / "tunes"), "--no-cache"]
            done = subprocess.run(
                [*command, "-o", str(home / "book.pdf"), "--json"],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            if done.returncode:
                print(folder, "exit", done.returncode, done.stderr[-500:])
                continue
            report = json.loads(done.stdout)
            seconds = sum(spent for _, spent in report["seconds"])
            print(
                f"{folder}: {report['tune_count']} of {count} built, "
                f"{len(report['left_out'])} left out, {report['pages']} pages, {seconds:.0f} s, "
                f"{len(report['messages'])} messages"
            )
            for message in report["left_out"]:
                print("   ", message["what"])


if __name__ == "__main__":
    main()
