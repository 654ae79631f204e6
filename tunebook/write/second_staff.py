"""A second voice or accompaniment on a full staff below the melody, with its own fingers."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from tunebook.model.arrangement import Arrangement, FingeredNote
from tunebook.write.key_signs import key_command
from tunebook.write.leaves import head_text, make_leaves, put, put_silent_graces
from tunebook.write.note_marks import Shown, note_marks
from tunebook.write.printed_bars import PrintedBar, PrintedBars
from tunebook.write.score import clef_name
from tunebook.write.spans import NoteSpans, spans_of


def second_staff(
    arrangement: Arrangement,
    printed: PrintedBars,
    shown: Shown,
    leading_graces: Mapping[int, Fraction],
) -> Any:
    """The staff of ``arrangement.accompaniment``; silence between its notes is left blank.
    ``leading_graces`` as for the drone staff."""
    import abjad

    by_bar = [_notes_in(one, arrangement.accompaniment) for one in printed.bars]
    spans = spans_of([[one.note for one in notes] for notes in by_bar])
    bars: list[Any] = []
    for place, (one, notes) in enumerate(zip(printed.bars, by_bar, strict=True)):
        leaves = _leaves(arrangement, one, notes, shown, spans)
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        container = abjad.Container(leaves)
        if place == 0 or one.bar.key_changed:
            put(container, [key_command(one.bar.key)], "opening")
        bars.append(container)
    voice = abjad.Voice(bars, name="SecondVoice")
    put(voice, [f"\\clef {clef_name(arrangement.instrument.clef)}"], "opening")
    return abjad.Staff([voice], name="SecondStaff", lilypond_type="SecondStaff")


def _notes_in(one: PrintedBar, notes: tuple[FingeredNote, ...]) -> list[FingeredNote]:
    inside = [
        fingered
        for fingered in notes
        if not fingered.note.is_grace and one.onset <= fingered.note.onset < one.end
    ]
    return sorted(inside, key=lambda fingered: fingered.note.onset)


def _leaves(
    arrangement: Arrangement,
    one: PrintedBar,
    notes: list[FingeredNote],
    shown: Shown,
    spans: dict[int, NoteSpans],
) -> list[Any]:
    leaves: list[Any] = []
    now = one.onset
    for fingered in notes:
        note = fingered.note
        end = min(note.onset + note.duration, one.end)
        if note.onset < now or end <= note.onset or not note.pitches:
            continue
        if note.onset > now:
            leaves += make_leaves("s", note.onset - now)
        written = note_marks(note, fingered, arrangement.instrument, shown)
        mine = spans.get(id(note), NoteSpans())
        written.events = [*mine.first, *written.events]
        written.last_events = list(mine.last)
        head = head_text(note, shows_accidentals=False)
        leaves += make_leaves(head, end - note.onset, written)
        now = end
    if now < one.end:
        leaves += make_leaves("s", one.end - now)
    return leaves
