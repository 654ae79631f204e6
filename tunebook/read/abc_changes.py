"""Fields inside the body: changes of key, metre, unit length, tempo, part and symbols.

Source: The ABC Music Standard 2.1, sections 3.1, 3.2 and 7.
"""

from __future__ import annotations

from fractions import Fraction

from tunebook.read.abc_bars import BarList
from tunebook.read.abc_decorations import read_user_symbol
from tunebook.read.abc_fields import read_meter, read_unit_length
from tunebook.read.abc_header import (
    TuneHeader,
    printed_clef,
    read_instruction,
    say_field,
    say_key,
    say_transposition,
    tempo_of_field,
)
from tunebook.read.abc_keys import read_key
from tunebook.read.abc_lengths import ticks_of
from tunebook.read.abc_pitches import PitchReader
from tunebook.read.abc_text import plain_text
from tunebook.read.abc_tuplets import TupletCounter
from tunebook.read.notices import Notices

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
