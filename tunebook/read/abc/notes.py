"""Reads notes, chords, rests and grace notes into drafts, with what belongs to them.

Several tones struck together, between brackets.

Source: The ABC Music Standard 2.1, section 4.17, and section 10 for the older ``+CEG+``.

Reads notes, chords, rests and grace notes into drafts, with what belongs to them.

Source: The ABC Music Standard 2.1, sections 4.1 to 4.5, 4.12, 4.17.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tunebook.errors import InputError
from tunebook.read.abc.bars import BarList, FieldChanges
from tunebook.read.abc.decorations import attach_decoration, attach_quoted, attach_symbol
from tunebook.read.abc.drafts import (
    WHOLE_NOTE,
    Attachments,
    NoteDraft,
    Ticks,
    read_ratio,
    scaled,
    ticks_of,
)
from tunebook.read.abc.header import TuneHeader
from tunebook.read.abc.keys import PitchReader, read_note_text
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.ties_and_tuplets import TieKeeper, TupletCounter
from tunebook.read.abc.tokens import tokens_of
from tunebook.read.limits import ReadingLimits


class ChordReader:
    """Reads the tokens between the brackets of one chord. ``attached`` and ``slurs_closed``
    hold afterwards what stood inside and belongs to the chord as a whole."""

    def __init__(
        self,
        pitches: PitchReader,
        symbols: dict[str, str],
        notices: Notices,
        limits: ReadingLimits,
        line: int,
        column_of: Callable[[int], int],
    ) -> None:
        self._sound = pitches
        self._symbols = symbols
        self._notices = notices
        self._most = limits.chord_notes
        self._line = line
        self._column_of = column_of
        self._tones: list[list[Any]] = []
        self._count = 0
        self._first: Ticks | None = None
        self.attached = Attachments()
        self.slurs_closed = 0

    def read(self, text: str, start: int) -> NoteDraft:
        """Read ``[...]`` (or ``+...+``) with its length; ``start`` is its offset in the line.

        The length of the first tone counts, times that after the bracket (section 4.17).
        """
        close = text.rindex("]" if text[0] == "[" else "+")
        for kind, part, offset in tokens_of(text, 1, close):
            self._token(kind, part, self._column_of(start + offset))
        end = self._column_of(start + len(text))
        written = scaled(self._first or 0, *read_ratio(text[close + 1 :]))
        draft = NoteDraft(self._line, self._column_of(start), end, written)
        if self._tones:
            pitches, signs, ties, held, pins = zip(*self._tones, strict=True)
            draft.pitches, draft.has_sign, draft.ties, draft.is_tied_from = (
                pitches,
                signs,
                ties,
                held,
            )
            draft.pins = pins if any(pin is not None for pin in pins) else ()
        draft.slurs_closed = self.slurs_closed
        return draft

    def _token(self, kind: str, part: str, column: int) -> None:
        if kind == "note":
            self._note(part, column)
        elif kind == "rest":
            if self._first is None:
                self._first = self._sound.length(*read_ratio(part[1:]))
        elif kind == "tie" and self._tones:
            self._tones[-1][2] = True
        elif kind in ("decoration", "plus"):
            attach_decoration(
                self.attached, part[1:-1], self._notices, self._line, column, len(part)
            )
        elif kind == "symbol":
            attach_symbol(self.attached, part, self._symbols, self._notices, self._line, column)
        elif kind == "quoted":
            attach_quoted(self.attached, part[1:-1], self._notices, self._line, column)
        elif kind == "open":
            self.attached.slurs_opened += 1
        elif kind == "close":
            self.slurs_closed += 1
        elif kind not in ("space", "backtick"):
            self._notices.add(
                "text",
                f"{part!r} has no meaning in a chord and is ignored",
                line=self._line,
                column=column,
                length=len(part),
            )

    def _note(self, part: str, column: int) -> None:
        self._count += 1
        if self._count > self._most:
            if self._count == self._most + 1:
                self._say_cut(column)
            return
        sign, step, octave, numerator, denominator = read_note_text(part)
        pitch, is_held = self._sound.sound(sign, step, octave)
        fingers = self.attached.fingers
        pin = fingers[0] if fingers else None
        fingers.clear()
        self._tones.append([pitch, sign is not None, False, is_held, pin])
        if self._first is None:
            self._first = self._sound.length(numerator, denominator)

    def _say_cut(self, column: int) -> None:
        self._notices.add(
            "limit",
            f"this chord has more than {self._most} tones; the others are not read",
            "take some out, or raise chord_notes under [reading]",
            line=self._line,
            column=column,
        )


_MOST_REST_BARS = 500


class NoteReader:
    """The state of the reading of one voice, and the handlers of what sounds."""

    def __init__(self, header: TuneHeader, notices: Notices, limits: ReadingLimits) -> None:
        self.notices = notices
        self.limits = limits
        self.bars = BarList(header.meter, header.key, header.clef)
        self.pitches = PitchReader(header.key, ticks_of(header.unit_length))
        self.pitches.octaves = header.octaves
        self.pitches.rule = header.accidental_rule
        self.tuplets = TupletCounter(header.meter, notices, limits)
        self.ties = TieKeeper(self.pitches, notices)
        self.changes = FieldChanges(header, self.bars, self.pitches, self.tuplets, notices)
        self.symbols = header.symbols
        self.attached: Attachments | None = None
        self.last: NoteDraft | None = None
        self.broken: tuple[NoteDraft, str, int] | None = None
        self.longest = limits.note_length * WHOLE_NOTE
        self.is_gap = True
        self.grace = ""
        self.slurs: list[tuple[int, int]] = []
        self.count = 0
        self.line = 0
        self.columns: list[int] | None = None
        self.of_line: list[NoteDraft | None] = []

    def say(self, kind: str, what: str, remedy: str, start: int, text: str) -> None:
        """Note something about ``text`` at offset ``start`` of the line."""
        self.notices.add(
            kind, what, remedy, line=self.line, column=self.column_of(start), length=len(text)
        )

    def column_of(self, start: int) -> int:
        """The source column, from 1, of an offset in the line."""
        return start + 1 if self.columns is None else self.columns[start]

    def attachments(self) -> Attachments:
        """What waits for the next note."""
        if self.attached is None:
            self.attached = Attachments()
        return self.attached

    def read_note(self, text: str, start: int) -> None:
        sign, step, octave, numerator, denominator = read_note_text(text)
        pitch, is_tied = self.pitches.sound(sign, step, octave)
        written = self.pitches.length(numerator, denominator)
        end = start + len(text)
        if self.columns is None:
            draft = NoteDraft(self.line, start + 1, end + 1, written)
        else:
            draft = NoteDraft(self.line, self.columns[start], self.columns[end], written)
        draft.pitches = (pitch,)
        draft.has_sign = (sign is not None,)
        draft.ties = (False,)
        draft.is_tied_from = (is_tied,)
        self._place(draft)

    def read_rest(self, text: str, start: int) -> None:
        numerator, denominator = read_ratio(text[1:])
        end = self.column_of(start + len(text))
        if text[0] in "zx":
            written = self.pitches.length(numerator, denominator)
            draft = NoteDraft(self.line, self.column_of(start), end, written)
            draft.is_invisible = text[0] == "x"
            self._place(draft)
            return
        if numerator > _MOST_REST_BARS:
            self.say("limit", f"only {_MOST_REST_BARS} bars of rest are read", "", start, text)
        for number in range(max(1, min(numerator, _MOST_REST_BARS))):
            if number:
                self.bars.close("|", 0, self.line, self.column_of(start))
            length = ticks_of(self.bars.open.meter.length or self.changes.unit_length)
            draft = NoteDraft(self.line, self.column_of(start), end, length)
            draft.is_invisible = text[0] == "X"
            self._place(draft)

    def read_chord(self, text: str, start: int) -> None:
        reader = ChordReader(
            self.pitches, self.symbols, self.notices, self.limits, self.line, self.column_of
        )
        draft = reader.read(text, start)
        inside = reader.attached
        attached = self.attachments()
        attached.decorations += inside.decorations
        attached.annotations += inside.annotations
        attached.chord = attached.chord or inside.chord
        attached.slurs_opened += inside.slurs_opened
        self.slurs += [(self.line, self.column_of(start))] * inside.slurs_opened
        ties = draft.ties
        closed, draft.slurs_closed = draft.slurs_closed, 0
        self._place(draft)
        if any(ties):
            self.ties.open(draft, ties)
        for _ in range(closed):
            self.close_slur(")", start)

    def _place(self, draft: NoteDraft) -> None:
        """Add a finished note to the bar, with all that stood before it."""
        self.count += 1
        if self.count > self.limits.tune_notes:
            raise InputError(
                f"the tune has more than {self.limits.tune_notes} notes",
                "split it, or raise tune_notes under [reading]",
                self.notices.place(self.line),
            )
        last = self.last
        if not self.is_gap and last is not None and last.is_grace is bool(self.grace):
            last.is_joined = True
        self.is_gap = False
        if self.attached is not None:
            self._give(draft)
        if self.grace:
            draft.is_grace = True
            draft.is_slashed = self.grace == "/"
            draft.is_tied_from = (False,) * len(draft.pitches)
        else:
            draft.tuplet = self.tuplets.next()
            if self.broken is not None:
                self._break_rhythm(draft)
            if draft.written > self.longest:
                self._cut(draft)
            self.ties.arrive(draft)
            self.of_line.append(draft)
        if self.bars.part:
            self.bars.close("", 0, self.line, draft.column)
        elif len(self.bars.open.notes) >= self.limits.bar_notes:
            self._divide_bar(draft)
        bar = self.bars.open
        if self.pitches.has_alteration:
            bar.has_alteration = True
        bar.notes.append(draft)
        self.last = draft

    def _divide_bar(self, draft: NoteDraft) -> None:
        """Go on in a new bar: no line is long enough for what stands without a bar sign."""
        self.notices.add(
            "limit",
            f"this bar has more than {self.limits.bar_notes} notes and is divided here",
            "write bar signs, or raise bar_notes under [reading]",
            line=draft.line,
            column=draft.column,
            length=draft.end_column - draft.column,
        )
        self.bars.close("", 0, self.line, draft.column)

    def _cut(self, draft: NoteDraft) -> None:
        draft.written = self.longest
        self.notices.add(
            "limit",
            f"this note is longer than {self.limits.note_length} whole notes and is cut",
            "check its length, or raise note_length under [reading]",
            line=draft.line,
            column=draft.column,
            length=draft.end_column - draft.column,
        )

    def await_second(self, text: str, start: int) -> None:
        """``>`` after a note: its rhythm is broken when the second note is there."""
        assert self.last is not None
        self.broken = (self.last, text, self.column_of(start))

    def _break_rhythm(self, second: NoteDraft) -> None:
        """Lengthen one and shorten the other note around ``>`` or ``<``.

        Between notes of unequal length the standard leaves the result undefined (section 4.4);
        they keep their lengths then, so that the bar keeps its own, and it is said.
        """
        assert self.broken is not None
        first, text, column = self.broken
        self.broken = None
        if first.written != second.written or _ratio(first) != _ratio(second):
            self.notices.add(
                "rhythm",
                f"{text!r} between notes of unequal length is ignored",
                "write the lengths with numbers",
                cause="unequal",
                line=self.line,
                column=column,
                length=len(text),
            )
            return
        part = 2 ** len(text)
        long, short = (first, second) if text[0] == ">" else (second, first)
        length = first.written
        long.written = scaled(length, 2 * part - 1, part)
        short.written = scaled(length, 1, part)

    def _give(self, draft: NoteDraft) -> None:
        """Hand the waiting attachments to the note."""
        attached = self.attached
        assert attached is not None
        self.attached = None
        draft.attached = attached
        if attached.fingers and draft.pitches and not draft.pins:
            fingers = attached.fingers[: len(draft.pitches)]
            draft.pins = (*fingers, *[None] * (len(draft.pitches) - len(fingers)))

    def close_slur(self, text: str, start: int) -> None:
        """``)`` after a note."""
        if not self.slurs or self.last is None:
            self.say("slur", "a slur is closed here that was not opened", "take ) out", start, text)
            return
        self.slurs.pop()
        self.last.slurs_closed += 1


def _ratio(note: NoteDraft) -> tuple[int, int]:
    return (note.tuplet.p, note.tuplet.q) if note.tuplet is not None else (1, 1)
