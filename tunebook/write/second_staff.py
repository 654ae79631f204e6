"""A second voice or accompaniment on a full staff below the melody, with its own fingers."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, FingeredNote
from tunebook.write.clefs import clef_command
from tunebook.write.key_signs import key_command
from tunebook.write.leaves import make_leaves, put_silent_graces
from tunebook.write.note_marks import Shown, note_marks
from tunebook.write.printed_bars import PrintedBar, PrintedBars
from tunebook.write.spans import NoteSpans, spans_of
from tunebook.write.staff_signs import StaffSigns
from tunebook.write.text_tree import Component, Group, context


def second_staff(
    arrangement: Arrangement,
    printed: PrintedBars,
    shown: Shown,
    leading_graces: Mapping[int, Fraction],
) -> Group:
    """The staff of ``arrangement.accompaniment``; silence between its notes is left blank.
    ``leading_graces`` as for the drone staff."""
    ordered = sorted(
        (one for one in arrangement.accompaniment if not one.note.is_grace),
        key=lambda one: one.note.onset,
    )
    onsets = [one.note.onset for one in ordered]
    by_bar = [
        ordered[bisect_left(onsets, one.onset) : bisect_left(onsets, one.end)]
        for one in printed.bars
    ]
    spans = spans_of([[one.note for one in notes] for notes in by_bar])
    signs = StaffSigns(printed)
    bars: list[Component] = []
    for place, (one, notes) in enumerate(zip(printed.bars, by_bar, strict=True)):
        signs.begin_bar(place)
        leaves = _leaves(arrangement, one, notes, shown, spans, signs)
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        bars.append(Group(leaves, opening=[key_command(one.bar.key)] if one.shows_key else []))
    voice = context("Voice", "SecondVoice", bars)
    voice.opening.append(clef_command(arrangement.instrument.clef))
    return context("SecondStaff", "SecondStaff", [voice])


def _leaves(
    arrangement: Arrangement,
    one: PrintedBar,
    notes: list[FingeredNote],
    shown: Shown,
    spans: dict[int, NoteSpans],
    signs: StaffSigns,
) -> list[Component]:
    leaves: list[Component] = []
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
        leaves += make_leaves(signs.note(note, mine.held), end - note.onset, written)
        now = end
    if now < one.end:
        leaves += make_leaves("s", one.end - now)
    return leaves
