"""Golden pairs: an ABC file and the music of the LilyPond source that is written for it.

The fingering is a plain rule (each tone on the highest string that has it), a drone on the open
third string sounds under the first bars, chords are the tune's own. Only the music is compared;
the layout blocks in front of it are the same for all. ``pytest --renew-golden`` writes the
expected files anew.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.book import Edition
from tunebook.read.abc.tune import read_abc
from tunebook.write.lilypond.source import write_source

PAIRS = sorted((Path(__file__).parent / "golden").glob("*.abc"))
DRONE_BARS = 3


def music_of(abc: str, arranged) -> str:
    """The score block of the source of the only tune in ``abc``."""
    (tune,) = read_abc(abc)
    end = tune.bars[min(DRONE_BARS, len(tune.bars)) - 1]
    length = end.onset + end.duration
    stop = Stop(62, 3, 0, 0)
    spans = (
        DroneSpan(tune.bars[0].onset, length / 2, stop),
        DroneSpan(length / 2, length / 2, Stop(62, 3, 0, 1), is_taken_over=True),
    )
    chords = tuple(
        ChordSpan(bar.index, note.onset, note.duration, note.chord)
        for bar in tune.bars
        for note in bar.notes
        if note.chord is not None
    )
    piece = write_source(
        arranged(tune, drone=spans, chords=chords), Edition("golden", fingers="all"),
        line_width_pt=480, with_opening=True,
    )  # fmt: skip
    return piece.text.removeprefix(piece.text.partition("\\score")[0])


@pytest.mark.parametrize("path", PAIRS, ids=lambda path: path.stem)
def test_source_is_as_expected(path, arranged, is_renewing_golden):
    expected = path.with_suffix(".ly")
    made = music_of(path.read_text(encoding="utf-8"), arranged)
    if is_renewing_golden:
        expected.write_text(made, encoding="utf-8")
    assert made.split("\n") == expected.read_text(encoding="utf-8").split("\n")


def test_there_are_golden_pairs():
    assert len(PAIRS) >= 6
