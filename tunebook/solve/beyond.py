"""Bars that cannot keep to an edition's limits are fingered as a player would without them.

Within the limits such a bar could only be reached by slides and strained fingers. So the bars that
go beyond take their fingering from the unlimited answer, by pins, and all others keep the limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tunebook.model.arrangement import FingeredNote
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Note, Tune


def bars_beyond(notes: Sequence[FingeredNote]) -> frozenset[int]:
    """Indices of bars with a note that could not keep to the limits."""
    return frozenset(one.bar_index for one in notes if one.beyond_limits)


def with_natural_fingers(
    tune: Tune, natural: Sequence[FingeredNote], bars: frozenset[int], instrument: Instrument
) -> Tune:
    """Return ``tune`` with the fingers and strings of ``natural`` pinned in ``bars``."""
    by_place = {(one.bar_index, one.note_index): one for one in natural}
    return replace(
        tune,
        bars=tuple(
            _pinned_bar(bar, by_place, instrument) if bar.index in bars else bar
            for bar in tune.bars
        ),
    )


def _pinned_bar(
    bar: Bar, natural: dict[tuple[int, int], FingeredNote], instrument: Instrument
) -> Bar:
    notes = (
        _pinned(note, natural.get((bar.index, at)), instrument) for at, note in enumerate(bar.notes)
    )
    return replace(bar, notes=tuple(notes))


def _pinned(note: Note, one: FingeredNote | None, instrument: Instrument) -> Note:
    if one is None or not one.stops or one.is_continued or any(note.finger_pins):
        return note
    string = instrument.string(one.stops[0].string_index)
    return replace(
        note,
        finger_pins=tuple(stop.finger for stop in one.stops),
        string_pin=str(string.index) if len(one.stops) == 1 else note.string_pin,
    )


def with_own_notes(notes: Sequence[FingeredNote], tune: Tune) -> tuple[FingeredNote, ...]:
    """Return ``notes`` pointing to the notes of ``tune`` again, without the pins."""
    return tuple(replace(one, note=tune.bars[one.bar_index].notes[one.note_index]) for one in notes)
