"""Notes and bars while they are being read, with exact times that are not final yet.

Exact musical time for the reader, without the price of fraction arithmetic.

Inside the reader a time is a number of ticks: a plain int wherever it divides evenly (nearly
always), else a Fraction of a tick, so it is exact in every case. Fractions of a whole note, as
the model wants them, are made once for each distinct number and then looked up.

Notes and bars while they are being read, before their times are final.

These are the reader's own working values; a Tune holds none of them.
"""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.choices import BarSign, ShownSign
from tunebook.model.tune import (
    AccentPin,
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

Ticks = int | Fraction

WHOLE_NOTE = 2**12 * 3**3 * 5 * 7 * 11 * 13
_MOST_KEPT = 50_000

_fractions: dict[Ticks, Fraction] = {}


def fraction_of(ticks: Ticks) -> Fraction:
    """``ticks`` as a Fraction of a whole note."""
    value = _fractions.get(ticks)
    if value is None:
        if len(_fractions) >= _MOST_KEPT:
            _fractions.clear()
        value = _fractions[ticks] = Fraction(ticks) / WHOLE_NOTE
    return value


def ticks_of(value: Fraction) -> Ticks:
    """A Fraction of a whole note in ticks."""
    return scaled(WHOLE_NOTE, value.numerator, value.denominator)


def scaled(ticks: Ticks, numerator: int, denominator: int) -> Ticks:
    """``ticks`` times ``numerator / denominator``, exactly."""
    product = ticks * numerator
    if isinstance(product, int) and product % denominator == 0:
        return product // denominator
    return Fraction(product) / denominator


def read_ratio(text: str) -> tuple[int, int]:
    """The multiplier written after a note: "" 1/1, "3" 3/1, "3/2", "/" 1/2, "//" 1/4, "/4".

    Each lone slash halves (ABC 2.1, section 4.3). A zero counts as 1; of a number above the line
    the first six digits are read, of one below the line the first three, so that no text can ask
    for numbers without end.
    """
    if not text:
        return 1, 1
    top, slash, rest = text.partition("/")
    numerator = int(top[:6]) or 1 if top else 1
    if not slash:
        return numerator, 1
    slashes = 1
    while rest.startswith("/"):
        rest = rest[1:]
        slashes += 1
    if rest:
        return numerator, max(1, int(rest[:3])) * 2 ** min(slashes - 1, 10)
    return numerator, 2 ** min(slashes, 10)


NO_PINS: tuple[int | None, ...] = ()


class Attachments:
    """What stands before a note and belongs to it."""

    __slots__ = (
        "accent_pin",
        "annotations",
        "chord",
        "decorations",
        "drone_pin",
        "fingers",
        "later_chords",
        "remark",
        "slurs_opened",
        "solved",
        "string_pin",
        "trill_pin",
    )

    def __init__(self) -> None:
        self.decorations: list[str] = []
        self.annotations: list[Annotation] = []
        self.fingers: list[int] = []
        self.chord: ChordSymbol | None = None
        self.string_pin: str | None = None
        self.drone_pin: DronePin | None = None
        self.accent_pin: AccentPin | None = None
        self.trill_pin: int | None = None
        self.slurs_opened = 0
        self.solved: ChordSymbol | None = None
        self.later_chords: list[tuple[Fraction, ChordSymbol]] = []
        self.remark = ""


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
        self.shown: tuple[ShownSign | None, ...] = ()
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

    def __init__(
        self, line: int, column: int, meter: Meter, key: Key, sign_before: BarSign
    ) -> None:
        self.line = line
        self.column = column
        self.meter = meter
        self.key = key
        self.sign_before = sign_before
        self.sign_after: BarSign = ""
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
