"""A player's marks: fingers and strings written at notes, and how an answer agrees with them.

A mark is of a note that is struck (a note tied to it goes on with it). A note may bear a finger for
each of its tones, a string, both or neither; where nothing stands she is free.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tunebook.model.arrangement import FingeredNote, Stop
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Note, Tune
from tunebook.solve.fingering.demands import NoteRef, find_string, has_pins


@dataclass(frozen=True, slots=True)
class Mark:
    """What is marked at a note: fingers parallel to its tones, None where free (empty where none
    is marked), and the index of a string, None where free."""

    ref: NoteRef
    fingers: tuple[int | None, ...] = ()
    string: int | None = None

    def agrees(self, stops: Sequence[Stop]) -> bool:
        """Whether these stops are as marked."""
        return self.fingers_agree(stops) is not False and self.string_agrees(stops) is not False

    def fingers_agree(self, stops: Sequence[Stop]) -> bool | None:
        """Whether the fingers are as marked; None where none is marked."""
        if not self.fingers:
            return None
        pairs = zip(self.fingers, stops, strict=False)
        return bool(stops) and all(mark is None or mark == stop.finger for mark, stop in pairs)

    def string_agrees(self, stops: Sequence[Stop]) -> bool | None:
        """Whether the string is as marked; None where none is marked."""
        if self.string is None:
            return None
        return any(stop.string_index == self.string for stop in stops)


def marks_of(tune: Tune, instrument: Instrument) -> tuple[Mark, ...]:
    """The marks in ``tune``, in written order; a string that the instrument has not counts as
    none (the solver reports it)."""
    found = []
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            if note.is_rest or not has_pins(note) or goes_on(note):
                continue
            string = find_string(instrument, note.string_pin) if note.string_pin else None
            fingers = note.finger_pins if any(f is not None for f in note.finger_pins) else ()
            if fingers or string is not None:
                found.append(Mark(NoteRef(bar.index, index), tuple(fingers), string))
    return tuple(found)


def goes_on(note: Note) -> bool:
    """Whether a note is not struck: all of it is tied to the one before."""
    return bool(note.is_tied_from_before) and all(note.is_tied_from_before)


class Agreement(NamedTuple):
    """How many marked notes agree, and of how many: by finger, by string, and as a whole (all that
    is marked at the note)."""

    fingers: int = 0
    of_fingers: int = 0
    strings: int = 0
    of_strings: int = 0
    both: int = 0
    of_both: int = 0

    @property
    def share(self) -> float:
        """The part of the marked notes that agree as a whole."""
        return self.both / self.of_both if self.of_both else 1.0


def agreement(marks: Iterable[Mark], notes: Iterable[FingeredNote]) -> Agreement:
    """How ``notes`` agree with ``marks``."""
    stops = stops_by_place(notes)
    counts = [0] * 6
    for mark in marks:
        found = stops.get(mark.ref, ())
        for at, is_so in enumerate(
            (mark.fingers_agree(found), mark.string_agrees(found), mark.agrees(found))
        ):
            if is_so is not None:
                counts[2 * at] += is_so
                counts[2 * at + 1] += 1
    return Agreement(*counts)


def stops_by_place(notes: Iterable[FingeredNote]) -> Mapping[NoteRef, tuple[Stop, ...]]:
    """The stops of each written note."""
    return {NoteRef(one.bar_index, one.note_index): one.stops for one in notes}


def added(parts: Iterable[Agreement]) -> Agreement:
    """All of them together."""
    return Agreement(*(sum(column) for column in zip(Agreement(), *parts, strict=True)))
