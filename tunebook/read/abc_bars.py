"""Gathers notes into bars and merges neighbouring bar signs.

Source: The ABC Music Standard 2.1, sections 4.8 (bar signs), 4.9 and 4.10 (endings).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tunebook.model.tune import Key, Meter
from tunebook.read.abc_drafts import BarDraft
from tunebook.read.notices import Notices

_WEIGHT = ("", ".|", "|", "||", "[|", "|]")


def merge_signs(first: str, second: str) -> str:
    """The one sign for two that stand next to each other with no notes between."""
    is_end = first in (":|", "::") or second in (":|", "::")
    is_start = first in ("|:", "::") or second in ("|:", "::")
    if is_end and is_start:
        return "::"
    if is_end:
        return ":|"
    if is_start:
        return "|:"
    return max(first, second, key=_WEIGHT.index)


class BarList:
    """The bars of a tune so far, the last one open. ``key`` and ``meter`` are those that the
    next bar begins with: a change in the middle of a bar is shown at the next one, that of a clef
    too."""

    def __init__(self, meter: Meter, key: Key, clef: str = "") -> None:
        self.bars: list[BarDraft] = []
        self.meter = meter
        self.key = key
        self.part = ""
        self._clef = clef
        self._new_clef = ""
        self.open = BarDraft(0, 1, meter, key, "")
        self.open.clef = clef

    def close(self, sign: str, ends: int, line: int, column: int) -> bool:
        """A bar sign: end the open bar (true), or merge with the sign before it (false).

        ``ends`` is how often the section that ends here is played, 0 where none ends.
        """
        bar = self.open
        if not bar.notes and not (bar.ending and ends):
            self._merge(sign, ends)
            bar.line, bar.column = line, column
            return False
        bar.sign_after = sign
        if ends:
            bar.passes = ends
        self.bars.append(bar)
        self.open = BarDraft(line, column, self.meter, self.key, sign)
        self.open.meter_changed = self.meter != bar.meter
        self.open.key_changed = self.key != bar.key
        self.open.part, self.part = self.part, ""
        self.open.clef, self._new_clef = self._new_clef, ""
        return True

    def _merge(self, sign: str, ends: int) -> None:
        bar = self.open
        bar.sign_before = merge_signs(bar.sign_before, sign)
        if not self.bars:
            return
        before = self.bars[-1]
        before.sign_after = bar.sign_before
        if ends:
            before.passes = max(ends, 2)
        before.decorations += bar.decorations
        before.annotations += bar.annotations
        bar.decorations, bar.annotations = [], []

    def set_key(self, key: Key) -> None:
        """A new key from here on."""
        self.key = key
        if not self.open.notes:
            self.open.key_changed = bool(self.bars) and key != self.bars[-1].key
            self.open.key = key
        else:
            self.open.has_alteration = True

    def set_meter(self, meter: Meter) -> None:
        """A new metre from here on."""
        self.meter = meter
        if not self.open.notes:
            self.open.meter_changed = bool(self.bars) and meter != self.bars[-1].meter
            self.open.meter = meter

    def set_clef(self, clef: str) -> None:
        """A new clef from here on."""
        if clef == self._clef:
            return
        self._clef = clef
        if self.open.notes:
            self._new_clef = clef
        else:
            self.open.clef = clef

    def set_part(self, label: str) -> None:
        """A part that begins with the next note; ``part`` waits where a bar is unfinished."""
        if self.open.notes:
            self.part = label
        else:
            self.open.part = label

    def end_line(self) -> None:
        """A source line that ends a line of music."""
        if self.open.notes:
            self.open.line_ends.append(len(self.open.notes))
        elif self.bars:
            self.bars[-1].line_breaks = True

    def finish(self) -> list[BarDraft]:
        """All bars, the open one included when it holds anything."""
        if self.open.notes:
            self.bars.append(self.open)
        elif self.bars:
            self.bars[-1].decorations += self.open.decorations
            self.bars[-1].annotations += self.open.annotations
        return self.bars


@dataclass(frozen=True, slots=True)
class DoubtfulSign:
    """``|:|`` before ``bar``, and the ``sign`` that it was taken for; ``line`` from 0."""

    bar: BarDraft
    sign: str
    text: str
    line: int
    column: int


def say_doubtful(signs: Iterable[DoubtfulSign], bars: BarList, notices: Notices) -> None:
    """Say what ``|:|`` was taken for; with no music after it, it cannot begin a repeat."""
    for one in signs:
        is_last = one.bar is bars.open and not one.bar.notes and bool(bars.bars)
        if is_last:
            bars.bars[-1].sign_after = ":|"
        is_end = is_last or one.sign == ":|"
        notices.add(
            "repeat",
            f"{one.text!r} is read as the {'end' if is_end else 'beginning'} of a repeat",
            "write |: where it begins and :| where it ends",
            line=one.line,
            column=one.column,
            length=len(one.text),
        )
