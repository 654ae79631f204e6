"""A tune as a chain of events to be fingered, in written order.

An event is one stroke of fingers: a note with all that is tied to it, a chord, or a grace note. A
long note, and a note during which the drone changes, is cut into several events that sound on, so
that another finger may take over silently. Rests are no events; they free the hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.tune import Bar, Note, Tune

UPPER_NOTE_DECORATIONS = frozenset(
    {"trill", "T", "trill(", "pralltriller", "uppermordent", "roll", "~", "P", "turn"}
)


class NoteRef(NamedTuple):
    """A written note: index of its bar in the tune, index of the note in the bar."""

    bar: int
    note: int


@dataclass(frozen=True, slots=True)
class Event:
    """One event. ``refs`` are the written notes it covers, the struck one first. ``piece`` counts
    the parts of a note that was cut, of ``pieces``. Onset and duration are of the event itself,
    in whole notes along the written tune."""

    refs: tuple[NoteRef, ...]
    midis: tuple[int, ...]
    onset: Fraction
    duration: Fraction
    is_grace: bool
    trill: int
    note: Note
    piece: int = 0
    pieces: int = 1

    @property
    def bar(self) -> int:
        return self.refs[0].bar


def written_events(tune: Tune, cuts: Iterable[Fraction], long_note: Fraction) -> list[Event]:
    """Events in written order.

    ``cuts`` are times at which a sounding note is cut (changes of the drone); notes of at least
    ``long_note`` whole notes are cut in half.
    """
    strokes: list[tuple[list[NoteRef], Note, Fraction]] = []
    before: Note | None = None
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            if note.is_rest:
                continue
            ref = NoteRef(bar.index, index)
            if before is not None and _is_continued(before, strokes[-1], note):
                refs, first, duration = strokes[-1]
                strokes[-1] = ([*refs, ref], first, duration + note.duration)
            else:
                strokes.append(([ref], note, _NO_TIME if note.is_grace else note.duration))
            before = note
    events: list[Event] = []
    times = sorted(set(cuts))
    long = float(long_note)
    for refs, note, duration in strokes:
        points = _cut_points(note, duration, times, long)
        events.extend(_cut(tune, refs, note, duration, points))
    return events


_NO_TIME = Fraction(0)


def _is_continued(before: Note, stroke: tuple[list[NoteRef], Note, Fraction], note: Note) -> bool:
    """True when every tone of ``note`` is tied to the note before, the last of ``stroke``."""
    if not note.is_tied_from_before or not all(note.is_tied_from_before):
        return False
    _, first, duration = stroke
    if note.is_grace or before.is_grace or not before.ties or not all(before.ties):
        return False
    same = sorted(p.midi for p in note.pitches) == sorted(p.midi for p in first.pitches)
    return same and first.onset + duration == note.onset


def _cut_points(
    note: Note, duration: Fraction, times: list[Fraction], long_note: float
) -> list[Fraction]:
    """Times within a note at which it is cut."""
    if note.is_grace:
        return []
    points = []
    if times:
        end = note.onset + duration
        points = [time for time in times if note.onset < time < end]
    if not points and float(duration) >= long_note:
        points = [note.onset + duration / 2]
    return points


def _cut(
    tune: Tune, refs: list[NoteRef], note: Note, duration: Fraction, points: list[Fraction]
) -> Iterator[Event]:
    midis = tuple([pitch.midi for pitch in note.pitches])
    trill = upper_note_interval(note, tune.bars[refs[0].bar]) if note.decorations else 0
    if not points:
        yield Event(tuple(refs), midis, note.onset, duration, note.is_grace, trill, note)
        return
    starts = [note.onset, *points]
    ends = [*points, note.onset + duration]
    for piece, (start, stop) in enumerate(zip(starts, ends, strict=True)):
        yield Event(
            tuple(refs), midis, start, stop - start, note.is_grace, trill, note, piece, len(starts)
        )


def upper_note_interval(note: Note, bar: Bar) -> int:
    """Semitones up to the upper note of a trill or the like in the key of ``bar``, else 0."""
    if not note.decorations or not UPPER_NOTE_DECORATIONS.intersection(note.decorations):
        return 0
    top = max(note.pitches, key=lambda pitch: pitch.midi)
    step = (top.step + 1) % 7
    natural = (0, 2, 4, 5, 7, 9, 11)[step] + (12 if step == 0 else 0)
    own = (0, 2, 4, 5, 7, 9, 11)[top.step] + top.alter
    return max(1, min(3, natural + bar.key.alters[step] - own))
