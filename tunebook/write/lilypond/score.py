"""The melody as a staff: bars, notes, tuplets, grace notes and all that stands on them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.arrangement import Accent, Arrangement, FingeredNote
from tunebook.model.tune import Bar, Note
from tunebook.write.clefs import clef_command
from tunebook.write.lilypond.bars import (
    MarkCommands,
    PrintedBar,
    PrintedBars,
    StaffSigns,
    key_command,
    length_of,
    time_command,
)
from tunebook.write.lilypond.leaves import (
    Component,
    Group,
    Written,
    context,
    first_leaf,
    grace_group,
    last_leaf,
    leaves_of,
    make_leaves,
)
from tunebook.write.lilypond.marks import (
    NoteSpans,
    Shown,
    accent_events,
    departure_to_coda,
    end_marks,
    note_marks,
    spans_of,
    trill_events,
    write_remark,
)
from tunebook.write.note_values import split_value, value_text
from tunebook.write.safe_text import lilypond_string
from tunebook.write.tones import spelled_pitch

_LONGEST_GRACE = Fraction(1, 8)
_LONGEST_OF_GRACES = Fraction(1, 16)
# What an ABC file can ask for that would make LilyPond draw for minutes.
_MOST_GRACES = 12


class MelodyWriter:
    """Builds the melody staff of one arrangement.

    ``marks`` are the commands that mark bars. An instance serves for one staff.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        printed: PrintedBars,
        shown: Shown,
        marks: MarkCommands | None = None,
    ) -> None:
        self.arrangement = arrangement
        self.printed = printed
        self.shown = shown
        self.marks = marks or MarkCommands()
        self.departure = departure_to_coda(printed)
        self.fingered = fingered_by_place(arrangement.notes)
        self.accents = accents_by_place(arrangement) if shown.has_accents else {}
        self.notes = _notes_to_print(printed, has_graces=shown.has_grace_notes)
        self.spans: dict[int, NoteSpans] = spans_of(self.notes)
        self.graces: list[Note] = []
        self.leading_graces: dict[int, Fraction] = {}
        self.time = Fraction(-1)
        self.signs = StaffSigns(printed)

    def staff(self) -> Group:
        """The staff, one group a bar."""
        bars = [self._bar(place, one) for place, one in enumerate(self.printed.bars)]
        voice = context("Voice", "Melody", bars)
        own = self.printed.bars[0].bar.clef if self.printed.bars else ""
        clef = self.shown.clef or own or self.arrangement.instrument.clef
        voice.opening.append(clef_command(clef))
        return context("Staff", "MelodyStaff", [voice])

    def _bar(self, place: int, one: PrintedBar) -> Group:
        parts: list[Component] = []
        self.signs.begin_bar(place)
        notes = self.notes[place]
        start = 0
        while start < len(notes):
            end = _end_of_tuplet(notes, start)
            parts += self._group(one.bar, notes[start:end], place if not parts else -1)
            start = end
        missing = one.length - length_of(notes)
        if missing > 0:
            parts += make_leaves("s", missing)
        if self.graces and place == len(self.printed.bars) - 1:
            self._leave_graces(parts)
        return Group(parts, opening=self._opening(place, one), closing=self._closing(place, one))

    def _group(self, bar: Bar, notes: Sequence[Note], place: int) -> list[Component]:
        """One note, or a tuplet of several; ``place`` is the bar's when this begins it."""
        leaves: list[Component] = []
        for note in notes:
            if note.is_grace:
                self.graces.append(note)
                continue
            if not _value_of(note):
                continue
            # Grace notes first: their signs hold for the note.
            graces, length = self._waiting_graces(bar)
            made = self._note(bar, note)
            first_leaf(made[0]).graces = graces
            if place >= 0 and not leaves and length:
                self.leading_graces[place] = length
            leaves += made
        tuplet = next((note.tuplet for note in notes if note.tuplet), None)
        if tuplet is None or not leaves:
            return leaves
        return [Group(leaves, before=[f"\\tuplet {tuplet.p}/{tuplet.q}"])]

    def _note(self, bar: Bar, note: Note) -> list[Component]:
        value = _value_of(note)
        if note.is_rest:
            written = self._texts_only(note)
            if note.is_invisible:
                return make_leaves("s", value, written)
            is_whole_bar = length_of(bar.notes) == note.duration == bar.meter.length
            is_single = len(split_value(value)) == 1 and value_text(value) is not None
            is_bar_rest = is_whole_bar and is_single and not note.tuplet and not written.events
            return make_leaves("R" if is_bar_rest else "r", value, written)
        written = self._written(bar, note)
        if note.is_invisible:
            return make_leaves("s", value, Written(after=written.after))
        spans = self.spans.get(id(note), NoteSpans())
        accent = self.accents.get((bar.index, _place_in_bar(bar, note)))
        if accent is not None:
            return self._double_stop(bar, note, accent, written)
        leaves = make_leaves(self.signs.note(note, spans.held), value, written)
        if spans.tied_heads:
            last_leaf(leaves[-1]).tied_heads = tuple(spans.tied_heads)
        return leaves

    def _double_stop(
        self, bar: Bar, note: Note, accent: Accent, written: Written
    ) -> list[Component]:
        """A note with the added tone of a double stop as a small head below its own."""
        added = spelled_pitch(accent.span.stop.midi, bar.key)
        held = set(self.spans.get(id(note), NoteSpans()).held)
        if any(note.is_tied_from_before):
            held.add(added)
        else:
            written.events += accent_events(accent, self.shown)
        wished = (None, *(note.shown_accidentals or (None,)))
        head = self.signs.heads((added, *note.pitches), wished, held)
        leaves = make_leaves(head, _value_of(note), written)
        for leaf in leaves_of(leaves):
            leaf.small_heads = (0,)
        return leaves

    def _texts_only(self, note: Note) -> Written:
        written = note_marks(note, None, self.arrangement.instrument, self.shown)
        if self.shown.has_texts:
            write_remark(note, written)
        return written

    def _written(self, bar: Bar, note: Note) -> Written:
        fingered = self.fingered.get((bar.index, _place_in_bar(bar, note)))
        written = note_marks(note, fingered, self.arrangement.instrument, self.shown)
        spans = self.spans.get(id(note), NoteSpans())
        written.events = [*spans.first, *written.events]
        written.last_events = list(spans.last)
        if self.shown.has_texts:
            written.events += trill_events(spans.trills, fingered, self.shown)
            write_remark(note, written)
            written.after += spans.trill_ends
        return written

    def _waiting_graces(self, bar: Bar) -> tuple[Group | None, Fraction]:
        """The grace notes that stand before the next leaf, and the length they are written with."""
        is_slashed = any(note.is_slashed_grace for note in self.graces)
        leaves, length = self._grace_leaves(bar)
        command = "\\slashedGrace" if is_slashed else "\\grace"
        return (grace_group(command, leaves) if leaves else None), length

    def _leave_graces(self, parts: list[Component]) -> None:
        """Grace notes at the very end have no note to lean on: they follow the last one."""
        leaves, _ = self._grace_leaves(self.printed.bars[-1].bar)
        if leaves and parts:
            last_leaf(parts[-1]).late_graces = Group(leaves)

    def _grace_leaves(self, bar: Bar) -> tuple[list[Component], Fraction]:
        """The waiting grace notes, and their length."""
        graces, self.graces = self.graces, []
        longest = _LONGEST_GRACE if len(graces) == 1 else _LONGEST_OF_GRACES
        leaves: list[Component] = []
        length = Fraction(0)
        for note in graces:
            value = min(split_value(note.written)[0] if note.written > 0 else longest, longest)
            length += value
            if note.is_rest:
                leaves += make_leaves("s", value)
            else:
                home = self._home_of(note, bar)
                leaves += make_leaves(self.signs.note(note), value, self._written(home, note))
        return leaves, length

    def _home_of(self, note: Note, bar: Bar) -> Bar:
        if any(one is note for one in bar.notes):
            return bar
        for one in self.printed.bars:
            if any(other is note for other in one.bar.notes):
                return one.bar
        return bar

    def _opening(self, place: int, one: PrintedBar) -> list[str]:
        bar, lines = one.bar, list(one.brackets)
        if place and self.printed.bars[place - 1].ends_line:
            has_number = bar.number > 0 and not bar.is_continued
            lines.append(f"\\barNumber {bar.number}" if has_number else "\\noBarNumber")
        if one.line_before:
            lines.append(f'\\bar "{one.line_before}"')
        if place and bar.clef and self.shown.clef is None:
            lines.append(clef_command(bar.clef))
        if one.shows_key:
            lines.append(key_command(bar.key))
        is_new = place == 0 or bar.meter_changed
        if is_new or one.length != self.time:
            lines += time_command(one, is_new=is_new)
            self.time = one.length
        if bar.part:
            lines.append(f"\\partLabel {lilypond_string(bar.part, 24)}")
        lines += tempo_commands(bar) if place else []
        return [*lines, *self.marks.starts.get(place, ())]

    def _closing(self, place: int, one: PrintedBar) -> list[str]:
        lines = list(self.marks.ends.get(place, ()))
        if self.shown.has_texts:
            lines += end_marks(one, self.shown.language, is_departure=place == self.departure)
        lines.append(f'\\bar "{one.line_after}"')
        if place == len(self.printed.bars) - 1:
            lines += self.printed.brackets_at_end
        else:
            lines.append("\\break" if one.ends_line else "\\noBreak")
        return lines


def fingered_by_place(notes: Sequence[FingeredNote]) -> dict[tuple[int, int], FingeredNote]:
    """Fingered notes by (bar index, note index)."""
    return {(one.bar_index, one.note_index): one for one in notes}


def accents_by_place(arrangement: Arrangement) -> dict[tuple[int, int], Accent]:
    """Double stops by (bar index, note index), for their notes and all that is tied to these."""
    found = {(one.bar_index, one.note_index): one for one in arrangement.accents}
    last: Accent | None = None
    for note in arrangement.notes:
        place = note.bar_index, note.note_index
        last = found.get(place, last if note.is_continued else None)
        if last is not None:
            found[place] = last
    return found


def _notes_to_print(printed: PrintedBars, *, has_graces: bool) -> list[list[Note]]:
    """The notes of each bar, without grace notes that are too many or not wanted."""
    waiting = 0
    bars: list[list[Note]] = []
    for one in printed.bars:
        notes: list[Note] = []
        bars.append(notes)
        for note in one.bar.notes:
            if note.is_grace:
                waiting += 1
            elif _value_of(note):
                waiting = 0
            if not note.is_grace or (has_graces and waiting <= _MOST_GRACES):
                notes.append(note)
    return bars


def _value_of(note: Note) -> Fraction:
    """The value that is written: inside a tuplet the notated one."""
    return note.duration if note.tuplet is None else note.written


def tempo_commands(bar: Bar) -> list[str]:
    """A tempo that begins inside the tune, as words, as a number, or both."""
    tempo = bar.tempo
    if tempo is None:
        return []
    words = lilypond_string(tempo.text, 60) if tempo.text.strip() else ""
    value = value_text(tempo.beat) if tempo.beat > 0 and tempo.per_minute > 0 else None
    number = f"{value} = {max(1, min(999, round(tempo.per_minute)))}" if value else ""
    return [f"\\tempo {words} {number}".replace("  ", " ").rstrip()] if words or number else []


def _place_in_bar(bar: Bar, note: Note) -> int:
    for place, one in enumerate(bar.notes):
        if one is note:
            return place
    return -1


def _end_of_tuplet(notes: Sequence[Note], start: int) -> int:
    """Index after the last note of the tuplet that begins at ``start`` (or of the note there,
    with grace notes in front of it)."""
    main = start
    while main < len(notes) and notes[main].is_grace:
        main += 1
    if main == len(notes):
        return main
    tuplet, end = notes[main].tuplet, main + 1
    while tuplet is not None and end < len(notes):
        following = next((note for note in notes[end:] if not note.is_grace), None)
        if following is None or following.tuplet is None:
            break
        if following.tuplet.serial != tuplet.serial:
            break
        while notes[end].is_grace:
            end += 1
        end += 1
    return end
