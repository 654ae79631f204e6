"""The plain line of a tune: without trills and quick turns."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.line.plain import plain_line

HEAD = "X:1\nT:T\nM:4/4\nL:1/8\nK:D\n"
RUN = "defg fedc|"


def plain(music: str) -> tuple[Tune, str]:
    found = plain_line(read_abc(HEAD + music + "\n")[0])
    notes = [note for note in found.bars[0].notes if note.pitches]
    text = " ".join(f"{note.pitches[0].name}:{note.duration * 8}" for note in notes)
    return found, text


@pytest.mark.parametrize("sign", ["!trill!", "T", "!uppermordent!", "~", "!turn!", "!slide!"])
def test_ornaments_are_taken_out_and_other_signs_stay(sign: str) -> None:
    found, _ = plain(f"!fermata!{sign}d2 f2 u!upbow!e4|{RUN}")
    assert found.bars[0].notes[0].decorations == ("fermata",)
    assert "upbow" in found.bars[0].notes[2].decorations


@pytest.mark.parametrize(
    ("music", "wanted"),
    [
        ("(3ded f2 a2 d2|", "D5:2 F#5:2 A5:2 D5:2"),
        ("(3ded (3fgf a2 d2|", "D5:2 F#5:2 A5:2 D5:2"),
        ("d/e/d/c/ d2 f2 a2|", "D5:2 D5:2 F#5:2 A5:2"),
        ("d/e/d/e/ f2 a2 d2|", "D5:1/2 E5:1/2 D5:1/2 E5:1/2 F#5:2 A5:2 D5:2"),
        ("(3def f2 a2 d2|", "D5:2/3 E5:2/3 F#5:2/3 F#5:2 A5:2 D5:2"),
        ("ded2 f2 a2|", "D5:1 E5:1 D5:2 F#5:2 A5:2"),
        ("d/a/d/a/ d2 f2 a2|", "D5:1/2 A5:1/2 D5:1/2 A5:1/2 D5:2 F#5:2 A5:2"),
    ],
)
def test_a_quick_turn_becomes_its_tone_and_nothing_else_does(music: str, wanted: str) -> None:
    assert plain(music + RUN * 3)[1] == wanted


def test_a_tune_that_runs_in_short_notes_keeps_them() -> None:
    text = "d/e/d/c/ d/e/f/g/ a/g/f/e/ d/e/d/c/|"
    assert plain(text * 2)[1].count(":1/2") == 16


def test_slurs_over_a_turn_stay_in_balance() -> None:
    found, _ = plain("(d/e/d/c/ d2) f2 a2|" + RUN * 3)
    opened = sum(note.slurs_opened for note in found.bars[0].notes)
    assert opened == sum(note.slurs_closed for note in found.bars[0].notes) == 1


def test_the_bar_stays_full() -> None:
    found, _ = plain("(3ded (3fgf a/b/a/g/ d2|" + RUN * 3)
    assert sum((note.duration for note in found.bars[0].notes), Fraction(0)) == 1
