"""Drafts to the bars and notes of the model, and what is wrong with their lengths.

Drafts to the bars and notes of the model: onsets, numbers, accidentals to print.

Bar lines that some collections leave out at the ends of lines.

ABC 2.1 knows no bar line that is not written. Collections converted from other formats leave it
out where a line ends with a full bar; the page needs it there. Accidentals run on over such a line
end, as the standard says of a bar with no sign in it.

Finds bars whose length does not fit the metre.

A bar may be short where it shares its time with another one: a pickup with the last bar of its
section, two halves around a repeat sign or a double bar, the ends of numbered endings (common
practice, no source). All wrong bars of a tune make one message, which names the cause where one
lies behind most of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.names import bar_name, bars_in_words
from tunebook.model.spelling import PageSigns
from tunebook.model.tune import Bar, Meter, Note
from tunebook.read.abc.drafts import (
    WHOLE_NOTE,
    Attachments,
    BarDraft,
    NoteDraft,
    Ticks,
    fraction_of,
    scaled,
)
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.remarks import chord_as_marked

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
    chord = attached.chord
    return Note(
        place=notices.place(note.line, note.column),
        pitches=note.pitches,
        onset=fraction_of(onset),
        duration=written if note.is_grace else fraction_of(ticks),
        written=written,
        shown_accidentals=note.shown,
        ties=note.ties,
        is_tied_from_before=note.is_tied_from,
        is_grace=note.is_grace,
        is_slashed_grace=note.is_slashed,
        is_invisible=note.is_invisible,
        is_joined=note.is_joined,
        slurs_opened=attached.slurs_opened,
        slurs_closed=note.slurs_closed,
        tuplet=note.tuplet,
        decorations=tuple(attached.decorations),
        annotations=tuple(attached.annotations),
        chord=None if chord is None else chord_as_marked(chord, attached.solved),
        finger_pins=note.pins,
        string_pin=attached.string_pin,
        drone_pin=attached.drone_pin,
        accent_pin=attached.accent_pin,
        trill_pin=attached.trill_pin,
        syllables=note.syllables,
        end_column=note.end_column,
        later_chords=tuple(attached.later_chords),
        remark=attached.remark,
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


def split_at_line_ends(drafts: list[BarDraft]) -> list[BarDraft]:
    """Split bars that are too long where a line ends after a full bar. Since the bar is full
    there, it is sure, and nothing is said."""
    result: list[BarDraft] = []
    for draft in drafts:
        result += _split(draft) if draft.line_ends else [draft]
    return result


def _split(draft: BarDraft) -> list[BarDraft]:
    full = full_length(draft)
    cuts = [end for end in draft.line_ends if end < len(draft.notes)]
    if not full or not cuts:
        return [draft]
    pieces = []
    start = 0
    for end in cuts:
        if sum([note.ticks for note in draft.notes[start:end]]) == full:
            pieces.append(_piece(draft, start, end))
            start = end
    if not pieces:
        return [draft]
    pieces.append(_piece(draft, start, len(draft.notes)))
    _share_ends(draft, pieces)
    return pieces


def _piece(draft: BarDraft, start: int, end: int) -> BarDraft:
    piece = BarDraft(draft.notes[start].line, 1, draft.meter, draft.key, "|")
    piece.notes = draft.notes[start:end]
    piece.sign_after = "|"
    piece.has_alteration = draft.has_alteration
    piece.line_breaks = True
    return piece


def _share_ends(draft: BarDraft, pieces: list[BarDraft]) -> None:
    """What stood at the bar's beginning and end goes to the first and the last piece."""
    first, last = pieces[0], pieces[-1]
    first.sign_before, first.ending = draft.sign_before, draft.ending
    first.meter_changed, first.key_changed = draft.meter_changed, draft.key_changed
    first.part, first.tempo, first.clef = draft.part, draft.tempo, draft.clef
    last.sign_after, last.passes = draft.sign_after, draft.passes
    last.line_breaks = draft.line_breaks
    last.decorations, last.annotations = draft.decorations, draft.annotations


_LEAST_OF_ONE_CAUSE = 4
_lengths: dict[Meter, Fraction] = {}


def diagnose_bars(
    bars: Sequence[Bar], notices: Notices, assumed_unit: Fraction | None = None
) -> None:
    """Note the bars that are too long or too short. ``assumed_unit`` is the unit length that was
    taken where no L: stands."""
    wrong = _wrong_bars(bars)
    if not wrong:
        return
    cause = _unit_behind(bars, wrong, assumed_unit) or _meter_behind(bars, wrong)
    what, remedy = cause or (_each_of(wrong), "check its note lengths and bar signs")
    if not cause and len(wrong) > 1:
        remedy = "check their note lengths and bar signs"
    _say(wrong[0], what, remedy, notices)


def _wrong_bars(bars: Sequence[Bar]) -> list[Bar]:
    wrong = []
    pickup = Fraction(0)
    for index, bar in enumerate(bars):
        full = _full(bar.meter)
        if not full:
            continue
        if _begins_section(bars, index):
            pickup = bar.duration if bar.duration < full else Fraction(0)
        if bar.duration == full or not bar.notes:
            continue
        if bar.duration > full or not _is_shared(bars, index, full, pickup):
            wrong.append(bar)
    return wrong


def _unit_behind(
    bars: Sequence[Bar], wrong: Sequence[Bar], assumed_unit: Fraction | None
) -> tuple[str, str] | None:
    """What to say where another unit length makes most of the wrong bars right."""
    if assumed_unit is None or len(wrong) < _LEAST_OF_ONE_CAUSE:
        return None
    for factor in (Fraction(2), Fraction(1, 2), Fraction(4), Fraction(1, 4)):
        if sum(_fits(bar, factor) for bar in wrong) * 3 >= len(wrong) * 2:
            length = "short" if factor > 1 else "long"
            count = sum(_fits(bar, factor) for bar in bars)
            what = f"{count} bars are too {length}: L: is missing, {assumed_unit} was assumed"
            return what, f"write L:{assumed_unit * factor}"
    return None


def _fits(bar: Bar, factor: Fraction) -> bool:
    """Whether the bar would be right with notes so many times as long."""
    return bool(bar.notes) and bar.duration * factor == _full(bar.meter)


def _meter_behind(bars: Sequence[Bar], wrong: Sequence[Bar]) -> tuple[str, str] | None:
    """What to say where most bars of the tune have one length that is not the metre's."""
    meters = {bar.meter for bar in bars}
    length, _ = Counter(bar.duration for bar in wrong).most_common(1)[0]
    count = sum(bar.duration == length for bar in bars)
    if len(meters) > 1 or count < _LEAST_OF_ONE_CAUSE or count * 3 < len(bars) * 2:
        return None
    meter = wrong[0].meter
    what = f"{count} of {len(bars)} bars are {_name(length)} long instead of {meter.sign}"
    return what, "write the metre that is meant, or check L:"


def _each_of(wrong: Sequence[Bar]) -> str:
    """The wrong bars by number."""
    if len(wrong) == 1:
        (bar,) = wrong
        how = "long" if bar.duration > _full(bar.meter) else "short"
        lengths = f"{_name(bar.duration)} instead of {bar.meter.sign}"
        return f"{bar_name(bar.number)} is too {how}: {lengths}"
    signs = ", ".join(dict.fromkeys(bar.meter.sign for bar in wrong))
    parts = [
        f"too {how}: {bars_in_words(bar.number for bar in some)}"
        for how, some in (
            ("short", [bar for bar in wrong if bar.duration < _full(bar.meter)]),
            ("long", [bar for bar in wrong if bar.duration > _full(bar.meter)]),
        )
        if some
    ]
    return f"{len(wrong)} bars do not fit {signs}; {'; '.join(parts)}"


def _full(meter: Meter) -> Fraction:
    length = _lengths.get(meter)
    if length is None:
        if len(_lengths) > 500:
            _lengths.clear()
        length = _lengths[meter] = meter.length
    return length


def _begins_section(bars: Sequence[Bar], index: int) -> bool:
    if index == 0:
        return True
    bar = bars[index]
    return bool(bar.part) or (bar.sign_before not in ("|", ".|", "") and not bar.ending)


def _is_shared(bars: Sequence[Bar], index: int, full: Fraction, pickup: Fraction) -> bool:
    """Whether the rest of a short bar stands somewhere else."""
    bar = bars[index]
    if _begins_section(bars, index) or bar.is_continued:
        return True
    following = bars[index + 1] if index + 1 < len(bars) else None
    if following is not None and following.is_continued:
        return bar.duration + following.duration <= full
    is_last = following is None or bar.sign_after not in ("|", ".|", "")
    if not is_last and not (following is not None and (following.ending or following.part)):
        return False
    if pickup and bar.duration + pickup == full:
        return True
    if following is not None and bar.duration + following.duration == full:
        return True
    return bar.duration + bars[0].duration == full


def _say(bar: Bar, what: str, remedy: str, notices: Notices) -> None:
    first, last = bar.notes[0], bar.notes[-1]
    is_one_line = first.place.line == last.place.line
    length = (last.end_column if is_one_line else first.end_column) - first.place.column
    notices.add(
        "bar-length",
        what,
        remedy,
        line=first.place.line - notices.first_line,
        column=first.place.column,
        length=max(1, length),
    )


def _name(length: Fraction) -> str:
    """A length in quarters or shorter values, as 5/8."""
    if length.denominator < 4:
        return f"{length.numerator * 4 // length.denominator}/4"
    return str(length)
