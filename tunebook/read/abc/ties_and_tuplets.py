"""Which notes belong together: ties and tuplets.

Ties: which tones are held into the next note, and what only looks like a tie.

Source: The ABC Music Standard 2.1, section 4.11: a tie joins notes of one pitch. Older files
write slurs of two notes as ties; those are read as slurs.

Tuplets: which notes they hold and in what time.

Source: The ABC Music Standard 2.1, section 4.13.
"""

from __future__ import annotations

from tunebook.model.tune import Meter, Tuplet
from tunebook.read.abc.drafts import Attachments, NoteDraft
from tunebook.read.abc.keys import PitchReader
from tunebook.read.abc.notices import Notices
from tunebook.read.limits import ReadingLimits


class TieKeeper:
    """Remembers the note whose ties are open, and the tie that leads into numbered endings."""

    def __init__(self, pitches: PitchReader, notices: Notices) -> None:
        self._pitches = pitches
        self._notices = notices
        self._from: NoteDraft | None = None
        self._column = 0
        self._before_endings: tuple[NoteDraft, int] | None = None
        self._is_again = False

    def open(self, note: NoteDraft, ties: tuple[bool, ...], column: int = 0) -> None:
        """A tie sign after ``note``, for the tones marked in ``ties``."""
        if self._from is note:
            ties = tuple(a or b for a, b in zip(ties, note.ties, strict=True))
        elif self._from is not None:
            self._settle(None)
        note.ties = ties
        self._from, self._is_again = note, False
        self._column = column or note.end_column
        self._expect(note)

    def _expect(self, note: NoteDraft) -> None:
        self._pitches.tied = {
            (pitch.octave, pitch.step): pitch.alteration
            for pitch, tie in zip(note.pitches, note.ties, strict=True)
            if tie
        }

    def begin_ending(self, passes: tuple[int, ...]) -> None:
        """A numbered ending: a tie into the first one leads into the later ones too."""
        if not passes:
            return
        if 1 in passes:
            self._before_endings = (self._from, self._column) if self._from is not None else None
        elif self._before_endings is not None and self._from is None:
            self._from, self._column = self._before_endings
            self._is_again = True
            self._expect(self._from)

    def arrive(self, note: NoteDraft) -> None:
        """The next note, chord or rest after the tie."""
        if self._from is not None:
            self._settle(note)

    def finish(self) -> None:
        """The end of the tune."""
        if self._from is not None:
            self._settle(None)

    def _settle(self, note: NoteDraft | None) -> None:
        source, self._from = self._from, None
        self._pitches.tied = {}
        assert source is not None
        held = set()
        if note is not None:
            held = {p for p, tied in zip(note.pitches, note.is_tied_from, strict=True) if tied}
        if self._is_again:
            return
        kept = tuple(
            tie and pitch in held for tie, pitch in zip(source.ties, source.pitches, strict=True)
        )
        if kept == source.ties:
            return
        source.ties = kept
        if any(kept):
            self._say(source, "a tie leads to no note of the same pitch", "take - out")
        elif note is not None and note.pitches:
            _as_slur(source, note)
        else:
            self._say(source, "a tie leads to no note", "take - out")

    def _say(self, source: NoteDraft, what: str, remedy: str) -> None:
        self._notices.add("tie", what, remedy, line=source.line, column=self._column)


def _as_slur(source: NoteDraft, note: NoteDraft) -> None:
    if source.attached is None:
        source.attached = Attachments()
    source.attached.slurs_opened += 1
    note.slurs_closed += 1


_USUAL = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}


class TupletCounter:
    """Counts the notes of the tuplet that is open. ``meter`` decides q for p = 5, 7, 9."""

    def __init__(self, meter: Meter, notices: Notices, limits: ReadingLimits) -> None:
        self.meter = meter
        self._notices = notices
        self._limit = limits.tuplet_number
        self._serial = 0
        self._open: tuple[int, int, int] | None = None
        self._position = 0
        self._place = (0, 0, 0)

    def begin(self, text: str, line: int, column: int) -> None:
        """Read ``(p:q:r`` and begin that tuplet."""
        if self._open is not None:
            self._say_unfinished()
        numbers = [int(part[:6]) if part else 0 for part in text[1:].split(":")]
        numbers += [0] * (3 - len(numbers))
        p = numbers[0]
        compound = self.meter.unit >= 8 and self.meter.beats in (6, 9, 12)
        q = numbers[1] or _USUAL.get(p, 3 if compound else 2)
        r = numbers[2] or p
        if p < 1 or max(p, q, r) > self._limit:
            self._notices.add(
                "tuplet",
                f"tuplet {text} is beyond what can be read and is taken for plain notes",
                "write (p:q:r with numbers from 1 to " + str(self._limit),
                line=line,
                column=column,
                length=len(text),
            )
            return
        self._serial += 1
        self._open = (p, q, r)
        self._position = 0
        self._place = (line, column, len(text))

    def next(self) -> Tuplet | None:
        """The place of the next note in the open tuplet; None where none is open."""
        if self._open is None:
            return None
        p, q, r = self._open
        tuplet = Tuplet(self._serial, p, q, self._position, r)
        self._position += 1
        if self._position >= r:
            self._open = None
        return tuplet

    def finish(self) -> None:
        """The end of the tune: say when a tuplet lacks notes."""
        if self._open is not None:
            self._say_unfinished()
            self._open = None

    def _say_unfinished(self) -> None:
        assert self._open is not None
        line, column, length = self._place
        self._notices.add(
            "tuplet",
            f"this tuplet has {self._position} of its {self._open[2]} notes",
            "add the missing notes, or say their number as (p:q:r",
            line=line,
            column=column,
            length=length,
        )
