"""Notes and bars while they are being read, before their times are final.

These are the reader's own working values; a Tune holds none of them.
"""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.tune import (
    Annotation,
    ChordSymbol,
    DronePin,
    Key,
    Meter,
    Pitch,
    Syllable,
    Tempo,
    Tuplet,
)
from tunebook.read.abc_lengths import Ticks

NO_PINS: tuple[int | None, ...] = ()


class Attachments:
    """What stands before a note and belongs to it."""

    __slots__ = (
        "annotations",
        "chord",
        "decorations",
        "drone_pin",
        "fingers",
        "later_chords",
        "slurs_opened",
        "solved",
        "string_pin",
    )

    def __init__(self) -> None:
        self.decorations: list[str] = []
        self.annotations: list[Annotation] = []
        self.fingers: list[int] = []
        self.chord: ChordSymbol | None = None
        self.string_pin: str | None = None
        self.drone_pin: DronePin | None = None
        self.slurs_opened = 0
        self.solved: ChordSymbol | None = None
        self.later_chords: list[tuple[Fraction, ChordSymbol]] = []


class NoteDraft:
    """A note, chord, grace note or rest. ``written`` is its notated length in ticks;
    ``line`` counts from 0 in the tune's text, ``column`` and ``end_column`` from 1."""

    __slots__ = (
        "attached",
        "column",
        "end_column",
        "has_sign",
        "is_grace",
        "is_invisible",
        "is_joined",
        "is_slashed",
        "is_tied_from",
        "line",
        "pins",
        "pitches",
        "shown",
        "slurs_closed",
        "syllables",
        "ties",
        "tuplet",
        "written",
    )

    def __init__(self, line: int, column: int, end_column: int, written: Ticks) -> None:
        self.line = line
        self.column = column
        self.end_column = end_column
        self.written = written
        self.pitches: tuple[Pitch, ...] = ()
        self.has_sign: tuple[bool, ...] = ()
        self.ties: tuple[bool, ...] = ()
        self.is_tied_from: tuple[bool, ...] = ()
        self.pins: tuple[int | None, ...] = NO_PINS
        self.shown: tuple[str | None, ...] = ()
        self.attached: Attachments | None = None
        self.is_grace = False
        self.is_slashed = False
        self.is_invisible = False
        self.is_joined = False
        self.slurs_closed = 0
        self.tuplet: Tuplet | None = None
        self.syllables: tuple[Syllable | None, ...] = ()

    @property
    def ticks(self) -> Ticks:
        """Sounding length: the tuplet applied; 0 for a grace note."""
        if self.is_grace:
            return 0
        if self.tuplet is None:
            return self.written
        product = self.written * self.tuplet.q
        if isinstance(product, int) and product % self.tuplet.p == 0:
            return product // self.tuplet.p
        return Fraction(product) / self.tuplet.p


def add_decoration(note: NoteDraft, name: str) -> None:
    """Give one more decoration to a note that is read already."""
    if note.attached is None:
        note.attached = Attachments()
    note.attached.decorations.append(name)


class BarDraft:
    """What stands between two bar signs. ``passes`` is how often the section ending here is
    played; ``line_ends`` lists the numbers of notes after which a source line ended."""

    __slots__ = (
        "annotations",
        "clef",
        "column",
        "decorations",
        "end_chord",
        "ending",
        "has_alteration",
        "key",
        "key_changed",
        "line",
        "line_breaks",
        "line_ends",
        "meter",
        "meter_changed",
        "notes",
        "part",
        "passes",
        "sign_after",
        "sign_before",
        "tempo",
    )

    def __init__(self, line: int, column: int, meter: Meter, key: Key, sign_before: str) -> None:
        self.line = line
        self.column = column
        self.meter = meter
        self.key = key
        self.sign_before = sign_before
        self.sign_after = ""
        self.notes: list[NoteDraft] = []
        self.ending: tuple[int, ...] = ()
        self.passes = 2
        self.has_alteration = False
        self.key_changed = False
        self.meter_changed = False
        self.line_breaks = False
        self.line_ends: list[int] = []
        self.clef = ""
        self.part = ""
        self.tempo: Tempo | None = None
        self.decorations: list[str] = []
        self.annotations: list[Annotation] = []
        self.end_chord: ChordSymbol | None = None

    @property
    def ticks(self) -> Ticks:
        """The sounding length of all notes."""
        return sum([note.ticks for note in self.notes])
