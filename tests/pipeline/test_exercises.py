"""Exercises of a tune: their order, and what they are solved with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.pipeline import exercises
from tunebook.pipeline.exercises import exercises_of
from tunebook.pipeline.load import Setup, load, prepare
from tunebook.pipeline.outcomes import arrange_tune

TUNE = """X:1
T:Trappan
M:2/4
L:1/8
Q:1/4=100
K:D
|: D2 A2 | FA dA | Ee Gg | d4 :|
|: D2 F2 | A2 F2 | Eb ab | d4 :|
"""


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    (tmp_path / "tunes.abc").write_text(TUNE)
    return prepare(tmp_path)


@pytest.fixture
def arrangement(setup: Setup) -> Arrangement:
    found = arrange_tune(load(setup).tunes[0], setup).arrangement
    assert found is not None
    return found


def test_exercises_stand_in_the_order_of_the_tune(
    setup: Setup, arrangement: Arrangement, monkeypatch: pytest.MonkeyPatch
) -> None:
    passages = [range(4, 6), range(0, 2), range(2, 4)]
    monkeypatch.setattr(exercises, "find_hard_passages", lambda _: passages)
    made = exercises_of(arrangement, "tunes.abc:1", setup, 400.0)
    assert [one.title for one in made] == ["Bars 1–2", "Bars 3–4", "Bars 5–6"]
    # No number of the exercise's own stands where the tune's could be looked for.
    assert all("\\barNumber" not in one.piece.text for one in made)


@pytest.mark.parametrize("has_change", [False, True])
def test_silent_changes_of_finger_are_practised_only_where_the_tune_has_them(
    setup: Setup, arrangement: Arrangement, monkeypatch: pytest.MonkeyPatch, has_change: bool
) -> None:
    if has_change:
        first = replace(arrangement.notes[0], ways=("substitution",))
        arrangement = replace(arrangement, notes=(first, *arrangement.notes[1:]))
    asked: list[bool] = []

    def noted(_tune: object, given: Setup, _width: float) -> Any:
        asked.append(given.edition.limits.allows_substitution)

    monkeypatch.setattr(exercises, "find_hard_passages", lambda _: [range(0, 2), range(2, 4)])
    monkeypatch.setattr(exercises, "piece_of_exercise", noted)
    exercises_of(arrangement, "tunes.abc:1", setup, 400.0)
    assert asked == [has_change, False]
