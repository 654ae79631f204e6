"""Drafts to the bars and notes of the model: onsets, numbers, accidentals to print."""

from __future__ import annotations

from tunebook.model.page_signs import PageSigns
from tunebook.model.tune import Bar, Note
from tunebook.read.abc_drafts import Attachments, BarDraft, NoteDraft
from tunebook.read.abc_lengths import WHOLE_NOTE, Ticks, fraction_of, scaled
from tunebook.read.abc_remarks import chord_as_marked
from tunebook.read.notices import Notices

_NOTHING = Attachments()
_ENDING_SIGNS = frozenset((":|", "::", "||", "|]", "[|", "|:"))


def finish_bars(drafts: list[BarDraft], notices: Notices) -> tuple[Bar, ...]:
    """The bars of the tune with exact times."""
    show_accidentals(drafts)
    numbers = number_bars(drafts)
    ends = _ends_of_endings(drafts)
    bars = []
    onset: Ticks = 0
    for index, draft in enumerate(drafts):
        bar = _finish_bar(draft, index, onset, notices, numbers[index], index in ends)
        bars.append(bar)
        onset += draft.ticks
    return tuple(bars)


def _finish_bar(
    draft: BarDraft,
    index: int,
    onset: Ticks,
    notices: Notices,
    counted: tuple[int, bool, bool],
    ends_ending: bool,
) -> Bar:
    notes, after = _finish_notes(draft, onset, notices)
    return Bar(
        place=notes[0].place if notes else notices.place(draft.line, draft.column),
        index=index,
        number=counted[0],
        notes=notes,
        onset=fraction_of(onset),
        duration=fraction_of(after - onset),
        meter=draft.meter,
        key=draft.key,
        sign_before=draft.sign_before,
        sign_after=draft.sign_after,
        ending=draft.ending,
        ends_ending=ends_ending,
        is_pickup=counted[1],
        is_continued=counted[2],
        meter_changed=draft.meter_changed,
        key_changed=draft.key_changed,
        tempo=draft.tempo,
        part=draft.part,
        breaks_line_after=draft.line_breaks,
        decorations=tuple(draft.decorations),
        annotations=tuple(draft.annotations),
        repeat_passes=draft.passes,
        end_chord=draft.end_chord,
        clef=draft.clef,
    )


def _finish_notes(
    draft: BarDraft, onset: Ticks, notices: Notices
) -> tuple[tuple[Note, ...], Ticks]:
    notes = []
    for note in draft.notes:
        ticks = note.ticks
        notes.append(_finish_note(note, onset, ticks, notices))
        onset += ticks
    return tuple(notes), onset


def _finish_note(note: NoteDraft, onset: Ticks, ticks: Ticks, notices: Notices) -> Note:
    attached = note.attached or _NOTHING
    written = fraction_of(note.written)
    return Note(
        notices.place(note.line, note.column),
        note.pitches,
        fraction_of(onset),
        written if note.is_grace else fraction_of(ticks),
        written,
        note.shown,
        note.ties,
        note.is_tied_from,
        note.is_grace,
        note.is_slashed,
        note.is_invisible,
        note.is_joined,
        attached.slurs_opened,
        note.slurs_closed,
        note.tuplet,
        tuple(attached.decorations),
        tuple(attached.annotations),
        None if attached.chord is None else chord_as_marked(attached.chord, attached.solved),
        note.pins,
        attached.string_pin,
        attached.drone_pin,
        note.syllables,
        note.end_column,
        tuple(attached.later_chords),
    )


def show_accidentals(drafts: list[BarDraft]) -> None:
    """Decide for each tone whether the page shows its accidental."""
    page = PageSigns()
    for bar in drafts:
        if not bar.has_alteration and not page.used:
            # Most bars: nothing in them or before them is altered.
            for note in bar.notes:
                note.shown = (None,) * len(note.pitches)
            page.begin_bar(bar.key.alters)
            continue
        if bar.sign_before or bar is drafts[0]:
            page.begin_bar(bar.key.alters)
        for note in bar.notes:
            note.shown = page.shown_together(note.pitches, note.has_sign, note.is_tied_from)


def number_bars(drafts: list[BarDraft]) -> list[tuple[int, bool, bool]]:
    """Number, is_pickup and is_continued of each bar, as a player counts.

    A bar continues the one before when no bar sign stands between them, or when both together
    make a full bar around a repeat sign or double bar. A later ending continues what the first
    ending continued.
    """
    numbers: list[tuple[int, bool, bool]] = []
    number = 0
    missing: Ticks = 0
    ending_continues: int | None = None
    for index, draft in enumerate(drafts):
        ticks = draft.ticks
        full = full_length(draft)
        is_pickup = index == 0 and 0 < ticks < full and len(drafts) > 1
        is_continued = bool(index) and (not draft.sign_before or 0 < ticks == missing)
        shown = number
        if draft.ending:
            is_first = 1 in draft.ending
            if is_first:
                is_continued = bool(index) and not draft.sign_before
                ending_continues = number if is_continued else None
            else:
                is_continued = ending_continues is not None
                shown = ending_continues if ending_continues is not None else number
        if not is_pickup and not is_continued:
            number += 1
            shown = number
        numbers.append((shown, is_pickup, is_continued))
        is_cut = draft.sign_after not in ("|", ".|")
        is_half = 0 < ticks < full and is_cut and not is_continued and not is_pickup
        missing = full - ticks if is_half else 0
    return numbers


def full_length(draft: BarDraft) -> Ticks:
    """The length of a full bar in ticks, 0 where the metre is free."""
    return scaled(WHOLE_NOTE, draft.meter.beats, draft.meter.unit)


def _ends_of_endings(drafts: list[BarDraft]) -> set[int]:
    ends = set()
    is_open = False
    for index, draft in enumerate(drafts):
        is_open = is_open or bool(draft.ending)
        if not is_open:
            continue
        following = drafts[index + 1] if index + 1 < len(drafts) else None
        if following is None or draft.sign_after in _ENDING_SIGNS or following.ending:
            ends.add(index)
            is_open = False
    return ends
