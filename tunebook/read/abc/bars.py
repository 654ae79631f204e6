"""Gathers notes into bars, with the fields that change key, metre or tempo between them.

Gathers notes into bars and merges neighbouring bar signs.

Source: The ABC Music Standard 2.1, sections 4.8 (bar signs), 4.9 and 4.10 (endings).

Fields inside the body: changes of key, metre, unit length, tempo, part and symbols.

Source: The ABC Music Standard 2.1, sections 3.1, 3.2 and 7.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.choices import BarSign
from tunebook.model.tune import Key, Meter
from tunebook.read.abc.decorations import read_user_symbol
from tunebook.read.abc.drafts import BarDraft, ticks_of
from tunebook.read.abc.header import (
    TuneHeader,
    printed_clef,
    read_instruction,
    read_meter,
    read_unit_length,
    say_field,
    say_key,
    say_transposition,
    tempo_of_field,
)
from tunebook.read.abc.keys import PitchReader, read_key
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.text import plain_text
from tunebook.read.abc.ties_and_tuplets import TupletCounter

_WEIGHT = ("", ".|", "|", "||", "[|", "|]")


def merge_signs(first: BarSign, second: BarSign) -> BarSign:
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

    def close(self, sign: BarSign, ends: int, line: int, column: int) -> bool:
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

    def _merge(self, sign: BarSign, ends: int) -> None:
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
    sign: BarSign
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


HEADER_ONLY = frozenset("ABCDFGHOSXZ")


class FieldChanges:
    """Applies fields of the body to the reading. ``unit_length`` is the one in force."""

    def __init__(
        self,
        header: TuneHeader,
        bars: BarList,
        pitches: PitchReader,
        tuplets: TupletCounter,
        notices: Notices,
    ) -> None:
        self.header = header
        self.unit_length: Fraction = header.unit_length
        self._bars = bars
        self._pitches = pitches
        self._tuplets = tuplets
        self._notices = notices

    @property
    def breaks_at_line_ends(self) -> bool:
        return self.header.line_break == "end"

    def apply(self, letter: str, value: str, line: int) -> None:
        """Apply the field ``letter:value``; what only informs is kept with the header's."""
        change = {
            "K": self._key,
            "M": self._meter,
            "L": self._unit,
            "Q": self._tempo,
            "P": self._part,
            "U": self._symbol,
            "V": self._voice,
            "I": self._instruction,
        }.get(letter)
        if change is not None:
            change(value, line)
            return
        if letter not in "wsmr":
            self.header.add_field(letter, value)
        if letter == "T" and not self.has_notes:
            self.header.titles.append(plain_text(value))
        if letter in HEADER_ONLY and not (letter == "X" and not value):
            self._notices.add(
                "field",
                f"{letter}: belongs before K:",
                "move it into the header",
                line=line,
                column=1,
                length=2,
            )

    @property
    def has_notes(self) -> bool:
        """Whether any note stands before this place."""
        return bool(self._bars.bars or self._bars.open.notes)

    def _key(self, value: str, line: int) -> None:
        found = read_key(value)
        if found.octaves is not None:
            self._pitches.octaves = found.octaves
        say_key(self._notices, value, found.key is None and bool(found.unread), found.unread, line)
        say_transposition(self._notices, found.semitones, line)
        self._clef(found.clef, value, line)
        if found.key is not None:
            self._pitches.set_key(found.key)
            self._bars.set_key(found.key)

    def _meter(self, value: str, line: int) -> None:
        meter = read_meter(value)
        if meter is None:
            say_field(self._notices, "M", value, "write a metre as M:3/4, M:C or M:none", line)
            return
        self._bars.set_meter(meter)
        self._tuplets.meter = meter

    def _unit(self, value: str, line: int) -> None:
        unit = read_unit_length(value)
        if unit is None:
            say_field(self._notices, "L", value, "write a unit length as L:1/8", line)
            return
        self.unit_length = unit
        self._pitches.set_unit(ticks_of(unit))

    def _tempo(self, value: str, line: int) -> None:
        tempo = tempo_of_field(value, self.unit_length, self._notices, line)
        if tempo is None:
            return
        if not self.has_notes and self.header.tempo is None:
            self.header.tempo = tempo
        else:
            self._bars.open.tempo = tempo

    def _part(self, value: str, line: int) -> None:
        self._bars.set_part(plain_text(value))

    def _symbol(self, value: str, line: int) -> None:
        symbol = read_user_symbol(value)
        if symbol is None:
            say_field(self._notices, "U", value, "write U:T = !trill!", line)
        else:
            self.header.symbols[symbol[0]] = symbol[1]

    def _voice(self, value: str, line: int) -> None:
        _, _, properties = value.partition(" ")
        if "=" in properties or properties.strip():
            found = read_key(properties)
            if found.octaves is not None:
                self._pitches.octaves = found.octaves
            self._clef(found.clef, properties, line)

    def _clef(self, clef: str, value: str, line: int) -> None:
        clef = printed_clef(clef, value, self._notices, line)
        if clef:
            self._bars.set_clef(clef)

    def _instruction(self, value: str, line: int) -> None:
        after = self.has_notes
        read_instruction(self.header, value, self._notices, line, is_after_notes=after)
        self._pitches.rule = self.header.accidental_rule
