"""Notes tied together as one: what is struck once is one entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.arrangement import FingeredNote


@dataclass(frozen=True, slots=True)
class TiedNote:
    """A note that is struck, with the whole duration (whole notes) it and its tied notes sound."""

    fingered: FingeredNote
    duration: Fraction


def tied_notes(notes: Sequence[FingeredNote]) -> tuple[TiedNote, ...]:
    """Return ``notes`` (written order) with those tied to the one before joined to it.

    A note is joined when the note before is tied on every tone of it and ends where it begins. A
    note tied from the far side of a repeat sign (into a second ending) has nothing written right
    before it and stays an entry of its own. So does a double stop of which one tone is new.
    """
    joined: list[TiedNote] = []
    last: FingeredNote | None = None  # the last note that takes time, tied or not
    last_index = -1
    for fingered in notes:
        if last is not None and _continues(last, fingered):
            longer = joined[last_index].duration + fingered.note.duration
            joined[last_index] = TiedNote(joined[last_index].fingered, longer)
            last = fingered
            continue
        joined.append(TiedNote(fingered, fingered.note.duration))
        if not fingered.note.is_grace:
            last, last_index = fingered, len(joined) - 1
    return tuple(joined)


def _continues(last: FingeredNote, fingered: FingeredNote) -> bool:
    note = fingered.note
    if note.is_grace or last.note.onset + last.note.duration != note.onset:
        return False
    tied = {
        pitch.midi
        for pitch, is_tied in zip(last.note.pitches, last.note.ties, strict=False)
        if is_tied
    }
    return all(pitch.midi in tied for pitch in note.pitches)
