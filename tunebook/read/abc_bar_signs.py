"""Reads bar signs and numbered endings into bars.

Source: The ABC Music Standard 2.1, sections 4.8 to 4.10.
"""

from __future__ import annotations

from tunebook.read.abc_attached import bar_sign_share
from tunebook.read.abc_bars import DoubtfulSign
from tunebook.read.abc_decorations import AT_BAR_SIGNS, DYNAMICS, canonical_decoration
from tunebook.read.abc_drafts import add_decoration
from tunebook.read.abc_header import TuneHeader
from tunebook.read.abc_notes import NoteReader
from tunebook.read.abc_overlays import OverlayKeeper
from tunebook.read.abc_tokens import is_doubtful_sign, passes_of_ending, read_bar_sign
from tunebook.read.limits import ReadingLimits
from tunebook.read.notices import Notices


class BarReader(NoteReader):
    """The part of the reader that parts the notes into bars."""

    def __init__(self, header: TuneHeader, notices: Notices, limits: ReadingLimits) -> None:
        super().__init__(header, notices, limits)
        self.overlay = OverlayKeeper()
        self.doubtful: list[DoubtfulSign] = []
        self._is_repeating = False

    def read_bar(self, text: str, start: int) -> None:
        """A bar sign, with the number of the ending that begins at it."""
        if self.overlay.passes_bar():
            return
        sign, ends, begins, ending = read_bar_sign(text)
        if sign == ":":
            self.say("text", "a lone colon has no meaning", "write a bar sign", start, text)
            return
        is_doubtful = is_doubtful_sign(text)
        if is_doubtful and self._is_repeating:
            sign, ends, begins = ":|", 2, 0
        if ends or begins:
            self._is_repeating = bool(begins)
        if self.bars.bars or self.bars.open.notes:
            self.leave_attachments(start)
        if self.bars.close(sign, ends, self.line, self.column_of(start)):
            self.of_line.append(None)
        self.pitches.begin_bar()
        self.is_gap = True
        if is_doubtful:
            column = self.column_of(start)
            self.doubtful.append(DoubtfulSign(self.bars.open, sign, text, self.line, column))
        if ending:
            self._begin_ending(ending, start, text)

    def read_ending(self, text: str, start: int) -> None:
        """A numbered ending by itself, as ``[1``."""
        if self.bars.open.notes:
            self.bars.close("", 0, self.line, self.column_of(start))
        self._begin_ending(text, start, text)

    def _begin_ending(self, ending: str, start: int, text: str) -> None:
        passes = passes_of_ending(ending)
        most = self.limits.ending_number
        if any(number > most for number in passes):
            what = f"endings are read up to number {most}"
            remedy = "write the music out, or raise ending_number under [reading]"
            self.say("limit", what, remedy, start, text)
            passes = tuple(number for number in passes if number <= most)
        self.bars.open.ending = passes
        self.ties.begin_ending(passes)

    def read_number(self, text: str, start: int) -> None:
        """A number by itself: an ending when it follows a bar sign at a distance."""
        bar = self.bars.open
        has_ending = any(draft.ending for draft in self.bars.bars[-8:])
        is_first = (
            self.is_gap and bool(self.bars.bars) and (text == "1" or (text == "2" and has_ending))
        )
        if bar.notes or bar.ending or not is_first:
            return self.pass_over(text, start)
        self.say("ending", f"{text!r} is read as a numbered ending", f"write [{text}", start, text)
        self._begin_ending(text, start, text)

    def leave_attachments(self, start: int, *, is_last: bool = False) -> None:
        """Decorations and words with no note after them belong to the bar sign at ``start``, a
        chord symbol stands at the end of its bar. What begins something waits for its note, and so
        does what stands between two bar signs."""
        attached = self.attached
        if attached is None:
            return
        bar = self.bars.open
        is_between = not bar.notes and not is_last
        left, waits = bar_sign_share(attached, is_between)
        for name in left.decorations:
            if name not in AT_BAR_SIGNS and canonical_decoration(name)[1]:
                what = f"decoration {name!r} stands on no note and is not printed"
                self.say("decoration", what, "write it right before its note", start, "|")
        if "trill)" in left.decorations and bar.notes:
            left.decorations.remove("trill)")
            add_decoration(bar.notes[-1], "trill)")
        bar.decorations += left.decorations
        bar.annotations += left.annotations
        attached.decorations, attached.annotations = waits.decorations, waits.annotations
        if bar.notes and attached.chord is not None:
            bar.end_chord, attached.chord = attached.chord, None

    def say_unplaced(self) -> None:
        """What waits for a note that never comes, at the end of the tune."""
        last = self.bars.open if self.bars.open.notes else (self.bars.bars or [self.bars.open])[-1]
        waiting = self.attached.decorations if self.attached is not None else []
        for name in [*(name for name in last.decorations if name in DYNAMICS), *waiting]:
            what = f"decoration {name!r} has no note after it and is not printed"
            self.notices.add("decoration", what, "write it before a note", line=self.line, column=1)

    def pass_over(self, text: str, start: int) -> None:
        """Text that means nothing at this place."""
        self.is_gap = False
        self.say("text", f"{text!r} has no meaning here and is ignored", "take it out", start, text)
