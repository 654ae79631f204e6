"""Measures how fast ABC text becomes tunes, beside music21's converter, in one run.

Usage: python tests/benchmarks/read_speed.py [NUMBER OF TUNES]

Takes tunes at random (seeded) from the ABC folders of music21's corpus, reads each with both
(processor time, after one warm-up tune), and reads all folders once for the tunes per second.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_folders import FOLDERS, corpus_folder

from tunebook.errors import InputError
from tunebook.read.abc.tune import TuneText, read_tune
from tunebook.read.folder import iterate_files, iterate_tune_texts


def main() -> None:
    """Print both times, their ratio, and the tunes read per second."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    texts = [text for name in FOLDERS for text in texts_of(name)]
    sample = random.Random(1).sample(texts, count)
    ours = time_ours(sample)
    theirs = time_music21(sample)
    print(
        f"{count} tunes: {1000 * ours / count:.2f} ms a tune, music21 {1000 * theirs / count:.1f}"
    )
    print(f"ratio {theirs / ours:.1f}")
    whole = time_ours(texts)
    print(f"all {len(texts)} tunes in {whole:.1f} s, {len(texts) / whole:.0f} a second")


def texts_of(name: str) -> list[TuneText]:
    """All tune texts of one folder."""
    folder = corpus_folder(name)
    pieces = iterate_tune_texts(iterate_files(folder))
    return [piece for piece in pieces if isinstance(piece, TuneText)]


def time_ours(texts: list[TuneText]) -> float:
    """Processor seconds for reading the texts."""
    read_tune(texts[0])
    start = time.process_time()
    for text in texts:
        try:
            read_tune(text)
        except InputError as error:
            print(error)
    return time.process_time() - start


def time_music21(texts: list[TuneText]) -> float:
    """Processor seconds for music21's converter; a tune it fails on costs what it took."""
    from music21 import converter

    converter.parse(texts[0].text, format="abc", forceSource=True)
    start = time.process_time()
    for text in texts:
        try:
            converter.parse(text.text, format="abc", forceSource=True)
        except Exception as error:
            print(f"{text.place}: music21: {type(error).__name__}")
    return time.process_time() - start


if __name__ == "__main__":
    main()
