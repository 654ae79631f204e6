"""Passages of a tune that can be shown by themselves: two bars, and a way to finger them."""

from __future__ import annotations

from tunebook.model.arrangement import Stop
from tunebook.model.tune import Tune
from tunebook.solve.fingering.demands import NoteRef

MOST_NOTES = 24

Form = tuple[tuple[NoteRef, tuple[Stop, ...]], ...]
"""A way to finger a passage: the stops of its notes, in written order."""


def stand_alone(tune: Tune, bar: int) -> bool:
    """Whether a bar and the next one can be played by themselves: without a sign, a new key or
    metre between them, and nothing tied into them."""
    first, second = tune.bars[bar], tune.bars[bar + 1]
    if first.sign_after != "|" or second.sign_before not in ("", "|"):
        return False
    if second.meter_changed or second.key_changed or first.ending != second.ending:
        return False
    sounding = [note for note in first.notes if not note.is_rest and not note.is_grace]
    return not (sounding and any(sounding[0].is_tied_from_before))


def bars_around(tune: Tune, bar: int) -> tuple[int, int]:
    """The first and last index of the passage that shows what happens in a bar: with the next one,
    else with the one before, else the bar alone."""
    for first in (bar, bar - 1):
        if first >= 0 and first + 1 < len(tune.bars) and stand_alone(tune, first):
            notes = len(tune.bars[first].notes) + len(tune.bars[first + 1].notes)
            if notes <= MOST_NOTES:
                return first, first + 1
    return bar, bar
