"""Difficulty: cost for each second of music."""

from __future__ import annotations

import pytest
from tune_maker import tune

from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import choose_fingering

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
TUNE = tune(["D4 E4 F#4 G4 F#4 E4 D4 D4", "E4 B4 A5 E4 B5 F#4 C#5 E4"])


def solve(speed: float):
    return choose_fingering(TUNE, CGDA, read_hand(), whole_notes_per_second=speed)


def test_a_leaping_bar_is_harder_than_a_scale() -> None:
    easy, hard = solve(0.5).bar_difficulties
    assert hard.difficulty > 2 * easy.difficulty


def test_a_faster_tune_is_harder() -> None:
    assert solve(1.0).difficulty > 1.5 * solve(0.5).difficulty


def test_the_tunes_difficulty_is_its_cost_over_its_seconds() -> None:
    found = solve(0.5)
    assert found.difficulty == pytest.approx(found.cost / 4.0)
