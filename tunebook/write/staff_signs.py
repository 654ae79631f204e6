"""The signs of one staff, decided while it is written: what is written is what counts.

A grace note that an edition leaves out, a tie that is cut, a line that begins: each changes which
signs the page needs, so no sign is taken over from elsewhere without asking.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from tunebook.model.page_signs import PageSigns
from tunebook.model.tune import Note, Pitch
from tunebook.write.leaves import head_text
from tunebook.write.printed_bars import PrintedBar, PrintedBars


class StaffSigns:
    """Writes the heads of a staff with their signs, in the order in which they stand on it."""

    def __init__(self, printed: PrintedBars) -> None:
        self._bars = printed.bars
        self._page = PageSigns()
        self._is_new_line = False

    def begin_bar(self, place: int) -> None:
        """The bar at ``place`` in the printed bars begins."""
        one = self._bars[place]
        before: PrintedBar | None = self._bars[place - 1] if place else None
        self._is_new_line = before is not None and before.ends_line
        if before is None or before.line_after or before.ends_line or one.shows_key:
            self._page.begin_bar(one.bar.key.alters)

    def heads(
        self,
        pitches: Sequence[Pitch],
        wished: Sequence[str | None] = (),
        held: Collection[Pitch] = (),
        *,
        is_grace: bool = False,
    ) -> str:
        """The head or heads of a note. ``wished`` (parallel) asks for signs that may not be
        needed. Tones ``held`` by a tie bear none, except where a new line begins with them: the
        tie's other end is far away there (common practice, no source)."""
        signs = self._page.shown_together(
            pitches,
            [bool(wish) for wish in wished] or [False] * len(pitches),
            [pitch in held and not self._is_new_line for pitch in pitches],
        )
        self._is_new_line = self._is_new_line and is_grace
        return head_text(pitches, signs)

    def note(self, note: Note, held: Collection[Pitch] = ()) -> str:
        """The head or heads of a note, which may wish for signs of its own."""
        shown = note.shown_accidentals
        wished = shown if len(shown) == len(note.pitches) else ()
        return self.heads(note.pitches, wished, held, is_grace=note.is_grace)
