"""Prints how tunes taken at random are fingered, in both common tunings.

Run: python tests/benchmarks/corpus_statistics.py [tunes] [seed]
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_tunes import random_tunes

from tunebook.model.arrangement import FingeredNote
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import Fingering, choose_fingering
from tunebook.solve.times import tempo_of

ROWS = (
    "tunes", "notes", "cannot be played, notes", "within a key of first position, % of notes",
    "fingers printed for players, % of notes", "string letters a tune", "little finger, % of notes",
    "shifts a bar", "crossed stops a tune", "row jumps a tune", "substitutions a tune",
    "difficulty, median", "difficulty, highest", "price of likeness a tune",
)  # fmt: skip


def statistics_of(tunes: list[Tune], tuning: str) -> tuple[list[str], list[tuple[float, str]]]:
    """The column of the table, and (difficulty, title) of each tune."""
    instrument, hand = read_instrument("nyckelharpa-3row", tuning), read_hand()
    solved: list[Fingering] = [
        choose_fingering(tune, instrument, hand, whole_notes_per_second=tempo_of(tune)[0])
        for tune in tunes
    ]
    notes = [note for one in solved for note in one.notes if not note.is_continued]
    bars = sum(len(tune.bars) for tune in tunes)
    count = len(tunes)

    def share(is_so) -> str:
        return f"{100 * sum(map(is_so, notes)) / len(notes):.1f}"

    def each(way: str, among: int) -> str:
        return f"{sum(way in note.ways for note in notes) / among:.2f}"

    def is_little(note: FingeredNote) -> bool:
        return any(stop.finger == 4 for stop in note.stops)

    hard = [one.difficulty for one in solved]
    column = [
        str(count), str(len(notes)), str(sum(not note.stops for note in notes)),
        share(lambda note: abs(note.hand_key - 2) <= 1), share(lambda note: note.is_needed),
        f"{sum(note.shows_string for note in notes) / count:.1f}", share(is_little),
        each("shift", bars), each("crossed", count), each("row_jump", count),
        each("substitution", count), f"{statistics.median(hard):.2f}", f"{max(hard):.2f}",
        f"{sum(one.consistency_cost for one in solved) / count:.2f}",
    ]  # fmt: skip
    ranked = sorted((one.difficulty, tune.title) for one, tune in zip(solved, tunes, strict=True))
    return column, ranked


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    tunes = random_tunes(count, seed)
    found = {tuning: statistics_of(tunes, tuning) for tuning in ("CGDA", "CGCA")}
    print(f"{'':<46}" + "".join(f"{tuning:>10}" for tuning in found))
    for number, row in enumerate(ROWS):
        print(f"{row:<46}" + "".join(f"{column[number]:>10}" for column, _ in found.values()))
    for tuning, (_, ranked) in found.items():
        print(f"\n{tuning}, easiest: " + "; ".join(f"{t} {d:.2f}" for d, t in ranked[:3]))
        print(f"{tuning}, hardest: " + "; ".join(f"{t} {d:.2f}" for d, t in ranked[-3:]))


if __name__ == "__main__":
    main()
