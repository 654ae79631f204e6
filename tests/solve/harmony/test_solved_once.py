"""Chords are solved where something needs them, and once for a tune."""

from __future__ import annotations

import pytest

from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.harmony import chords

HAND = read_hand()
TEXT = "X:1\nT:Trial\nM:3/4\nL:1/8\nK:D\n|:d2 f2 a2|g2 e2 c2|d6:|\n"


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[Tune]:
    """The tunes whose chords are solved."""
    found: list[Tune] = []
    solve = chords.solve_chords

    def note(tune: Tune, *given: object) -> object:
        found.append(tune)
        return solve(tune, *given)

    monkeypatch.setattr(chords, "solve_chords", note)
    return found


def test_one_tune_in_several_tunings_is_harmonised_once(solved: list[Tune]) -> None:
    (tune,) = read_abc(TEXT)
    found = [
        arrange(tune, read_instrument("nyckelharpa-3row", tuning), HAND).chords
        for tuning in ("CGDA", "CGCA", "DGDA")
    ]
    assert solved == [tune]
    assert found[0] and found[0] == found[1] == found[2]


@pytest.mark.parametrize(
    ("drones", "limits", "count"),
    [("none", Limits(), 0), ("open", Limits(allows_drone=False), 0), ("open", Limits(), 1)],
)
def test_nothing_is_harmonised_where_nothing_needs_it(
    solved: list[Tune], drones: str, limits: Limits, count: int
) -> None:
    (tune,) = read_abc(TEXT)
    instrument = read_instrument("nyckelharpa-3row", "CGDA")
    arrange(tune, instrument, HAND, limits, drones=drones, chords="none")  # type: ignore[arg-type]
    assert len(solved) == count
