"""Ties: which tones are held into the next note, and what only looks like a tie.

Source: The ABC Music Standard 2.1, section 4.11: a tie joins notes of one pitch. Older files
write slurs of two notes as ties; those are read as slurs.
"""

from __future__ import annotations

from tunebook.read.abc_drafts import Attachments, NoteDraft
from tunebook.read.abc_pitches import PitchReader
from tunebook.read.notices import Notices


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
