"""Tempi: the tune's own, the book's, or a usual one for the type."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from tune_maker import line

from tunebook.model.tune import Meter, Tempo
from tunebook.solve.times import default_tempo, tempo_of

TUNE = line("A4 B4")


def test_the_tunes_own_tempo_decides() -> None:
    timed = replace(TUNE, tempo=Tempo(Fraction(1, 4), 120))
    assert tempo_of(timed) == (0.5, False)


def test_a_tempo_of_words_alone_leaves_the_default() -> None:
    timed = replace(TUNE, tempo=Tempo(Fraction(0), 0, "Allegro"), rhythm="reel")
    assert tempo_of(timed) == (pytest.approx(104 / 120), True)


def test_the_books_tempo_wins_and_counts_the_metres_beat() -> None:
    timed = replace(TUNE, tempo=Tempo(Fraction(1, 4), 120))
    assert tempo_of(timed, 60) == (0.25, False)
    jig = replace(timed, meter=Meter(6, 8, "6/8"))
    assert tempo_of(jig, 60) == (0.375, False)


@pytest.mark.parametrize("slip", [1.0, 5000.0])
def test_a_tempo_that_nobody_plays_is_taken_for_a_slip(slip: float) -> None:
    assert tempo_of(replace(TUNE, tempo=Tempo(Fraction(1, 4), slip)))[1] is True


@pytest.mark.parametrize(
    ("rhythm", "meter", "expected"),
    [
        ("Polska", Meter(3, 4, "3/4"), (Fraction(1, 4), 108)),
        ("slip jig", Meter(9, 8, "9/8"), (Fraction(3, 8), 116)),
        ("Jig, slow", Meter(6, 8, "6/8"), (Fraction(3, 8), 112)),
        ("", Meter(6, 8, "6/8"), (Fraction(3, 8), 100)),
        ("", Meter(3, 4, "3/4"), (Fraction(1, 4), 112)),
        ("", Meter(2, 2, "C|"), (Fraction(1, 2), 88)),
        ("", Meter(4, 4, "4/4"), (Fraction(1, 4), 104)),
    ],
)
def test_default_tempi_follow_type_then_metre(rhythm: str, meter: Meter, expected) -> None:
    assert default_tempo(rhythm, meter) == expected
