"""Sources: chords of an editor in music21's corpus (folder nottingham-dataset), and plain chords of
a handbook of folk accompaniment (from memory) under tunes of the folders ryansMammoth and
miscFolk, read from the installed package.

The bounds are far below what is measured: two editors of one tune agree on about 86 % of the beats
(measured on a collection of folk tunes), so no more can be asked of a program.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.harmony.chords import own_chords, solve_chords

music21 = pytest.importorskip("music21")
CORPUS = Path(music21.__file__).parent / "corpus"

# Chord of each full bar, "/" where it changes in the middle: I, IV and V only.
HANDBOOK = {
    "ryansMammoth/SoldiersJoy.abc":
        "D|D|D|A|D|D|D/A|D|D|A|D|A|D|A|D/A|D",
    "ryansMammoth/KeelRowReel.abc":
        "G/C|G/D|G/C|D/G|G/C|G/D|G/C|D/G|G/C|G/D|G/C|D/G|G/C|G/D|G/C|D/G",
    "ryansMammoth/IrishWashWomanJig.abc":
        "G|G|D|D|G|G|C/D|G|G|G|D|D|C/G|C/G|D|G",
    "ryansMammoth/HasteToTheWeddingJig.abc":
        "D|G|D|A|D|G|D/A|D|D|G|D|A|D|G|D/A|D",
    "ryansMammoth/DurangsHornpipe.abc":
        "D|G/D|D|A|D|G/D|D/A|D",
    "miscFolk/northumbrianminstrelsyopus.abc:39":
        "Bb|Bb|Bb|F|Bb|Bb|F|Bb|Bb|Bb|F|F|Bb|Bb|F|Bb",
}  # fmt: skip
ROOTS = {"C": 0, "D": 2, "F": 5, "G": 7, "A": 9, "Bb": 10}


def corpus_tunes(reference: str) -> list[Tune]:
    name, _, number = reference.partition(":")
    text = (CORPUS / name).read_text(encoding="latin-1").replace("\r", "")
    if number:
        parts = re.split(r"\n(?=X:)", text)
        text = next(p for p in parts if re.match(rf"X:\s*{number}\s", p)).split("\n\n")[0] + "\n"
    return read_abc(text, name)


def chord_at(spans, onset):  # type: ignore[no-untyped-def]
    return next((s.chord for s in spans if s.onset <= onset < s.onset + s.duration), None)


@pytest.mark.parametrize("reference, bars", HANDBOOK.items())
def test_plain_tunes_get_the_handbook_s_chords(reference: str, bars: str) -> None:
    (tune,) = corpus_tunes(reference)
    spans = solve_chords(tune)
    measures = [bar for bar in tune.bars if not bar.is_pickup and not bar.is_continued]
    right = total = 0
    for bar, text in zip(measures, bars.split("|"), strict=False):
        parts = text.split("/")
        for index in range(2):
            onset = bar.onset + index * bar.meter.length / 2
            chord = chord_at(spans, onset) if onset < bar.onset + bar.duration else None
            if chord is None:
                continue
            total += 1
            right += chord.root_class == ROOTS[parts[min(index, len(parts) - 1)]]
    assert total > 12 and right / total >= 0.7


def test_most_of_an_editor_s_chords_are_found() -> None:
    right = total = 0
    for tune in corpus_tunes("nottingham-dataset/reelsa-c.abc"):
        theirs, ours = own_chords(tune), solve_chords(tune)
        for bar in tune.bars:
            for beat in range(int(bar.duration * 4)):
                onset = bar.onset + beat * bar.duration / max(1, int(bar.duration * 4))
                one, other = chord_at(theirs, onset), chord_at(ours, onset)
                if one is None or other is None:
                    continue
                total += 1
                right += one.root_class == other.root_class
    assert total > 100 and right / total >= 0.65
