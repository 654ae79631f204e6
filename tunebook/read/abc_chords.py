"""Several tones struck together, between brackets.

Source: The ABC Music Standard 2.1, section 4.17, and section 10 for the older ``+CEG+``.
"""

from __future__ import annotations

from collections.abc import Callable

from tunebook.read.abc_attached import attach_decoration, attach_quoted, attach_symbol
from tunebook.read.abc_drafts import Attachments, NoteDraft
from tunebook.read.abc_lengths import Ticks, read_ratio, scaled
from tunebook.read.abc_pitches import PitchReader, read_note_text
from tunebook.read.abc_tokens import tokens_of
from tunebook.read.limits import ReadingLimits
from tunebook.read.notices import Notices


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
        self._tones: list[list] = []
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
