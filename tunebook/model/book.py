"""The book that is asked for (titles, sets, editions, choices per tune), and what a build tells
when it is done."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tunebook.errors import Message, SourcePlace
from tunebook.model.changes import RetuneFacts
from tunebook.model.choices import (
    ACCENTS,
    BOOK_PARTS,
    CHORDS,
    CLEFS,
    DENSITIES,
    DRONE_STYLES,
    DRONES,
    FINGERS,
    FITS,
    LINES,
    MELODIES_SHOWN,
    VOICES_SHOWN,
    Accents,
    BookPart,
    Chords,
    Clef,
    Density,
    Drones,
    DroneStyle,
    Fingers,
    Fit,
    HandSize,
    Language,
    Line,
    MelodyShown,
    NoteNames,
    Paper,
    VoicesShown,
    one_of,
)
from tunebook.model.hand import HandWeight, Limits
from tunebook.model.sound import SoundChoice
from tunebook.model.tune import Tune


@dataclass(frozen=True, slots=True)
class TuneSet:
    """Tunes played one after the other. ``tunes`` are "file.abc:X" or titles. ``is_kept_together``
    asks that the set begin on a new page and nothing come between its tunes. ``tuning`` None is the
    book's."""

    title: str
    tunes: tuple[str, ...]
    note: str = ""
    is_kept_together: bool = True
    place: SourcePlace | None = None
    tuning: str | None = None


LARGE_STAFF_PT = 21.0
"""From this staff size on, an edition is in large print and stays so."""
_USUAL_STAFF_PT = 16.5
# Small print of 8.5 pt is then some 12 pt, body text 14.7 pt.
_MOST_ENLARGED = 1.4
READABLE_STAFF_PT = 14.0
"""No staff is made smaller than 14 pt (4.9 mm), our judgement; of the customary sizes the one below
is 4.8 mm (Gould, Behind Bars, 2011, from memory), which a player does not read from a stand."""
# From one customary staff size to the next it is some 8 % (7.4, 7.0, 6.5, 6.0, 5.5 mm; as above).
_STAFF_STEP = 0.92
_USUAL_PARTS: tuple[BookPart, ...] = tuple(part for part in BOOK_PARTS if part != "practice")


@dataclass(frozen=True, slots=True)
class PlayerChoice:
    """Who plays a voice beside the melody: ``voice`` is its V: identity, its name, or its place
    ("2" the first beside the melody). ``hand`` is a named size or a hand file. What is None is the
    melody's, but for drones, of which it then has none; an instrument of its own has its own usual
    tuning."""

    voice: str
    instrument: str | None = None
    tuning: str | None = None
    hand: str | None = None
    drones: Drones | None = None


@dataclass(frozen=True, slots=True)
class Edition:
    """What an edition shows and allows. ``tunes`` empty means all of the folder; ``hand`` is a
    named size or a hand file, None the book's own hand; ``players`` are those of further voices,
    where the book's are not meant. ``parts`` are those the book may have beside the tunes; one
    that would say nothing is left out. ``fit`` says what becomes of tunes beyond the limits;
    ``sounds`` is where its own recordings lie, "" where the book's are meant; ``tunes_place`` is
    where its tunes are named. Raises
    SettingError when a word is none of the choices."""

    name: str
    title: str = ""
    fingers: Fingers = "needed"
    drones: Drones = "open"
    drone_style: DroneStyle = "staff"
    accents: Accents = "none"
    chords: Chords = "all"
    shows_shapes: bool = False
    shows_words: bool = True
    shows_sources: bool = True
    shows_notes_on_choices: bool = False
    shows_accompaniment: bool = False
    melody: MelodyShown = "whole"
    clef: Clef | None = None
    shows_grace_notes: bool = True
    limits: Limits = field(default_factory=Limits)
    parts: tuple[BookPart, ...] = _USUAL_PARTS
    density: Density = "roomy"
    fit: Fit = "print as written"
    line: Line = "full"
    tuning: str | None = None
    staff_size_pt: float = _USUAL_STAFF_PT
    paper: Paper | None = None
    hand: str | None = None
    tunes: tuple[str, ...] = ()
    sounds: str = ""
    voices: VoicesShown = "melody"
    players: tuple[PlayerChoice, ...] = ()
    tunes_place: SourcePlace | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        one_of(FINGERS, self.fingers, "fingers")
        one_of(DRONES, self.drones, "drones")
        one_of(DRONE_STYLES, self.drone_style, "drone style")
        one_of(ACCENTS, self.accents, "accents")
        one_of(CHORDS, self.chords, "chords")
        one_of(VOICES_SHOWN, self.voices, "voices")
        one_of(FITS, self.fit, "fit")
        one_of(LINES, self.line, "line")
        one_of(DENSITIES, self.density, "density")
        one_of(MELODIES_SHOWN, self.melody, "melody")
        if self.clef is not None:
            one_of(CLEFS, self.clef, "clef")
        for part in self.parts:
            one_of(BOOK_PARTS, part, "part of the book")

    @property
    def small_staff_pt(self) -> float | None:
        """The smaller staff size that a tight book may use, in points; None where there is none."""
        is_large = self.staff_size_pt >= LARGE_STAFF_PT
        least = LARGE_STAFF_PT if is_large else READABLE_STAFF_PT
        small = max(least, round(self.staff_size_pt * _STAFF_STEP, 1))
        return small if self.density == "tight" and small < self.staff_size_pt else None

    def has_words_of(self, tune: Tune) -> bool:
        """Whether the tune's words are printed: the part of a second voice is without them."""
        return self.shows_words and not (self.voices == "second" and tune.voices)

    @property
    def enlargement(self) -> float:
        """The factor by which what is read beside the music is larger in large print."""
        if self.staff_size_pt < LARGE_STAFF_PT:
            return 1.0
        return min(self.staff_size_pt / _USUAL_STAFF_PT, _MOST_ENLARGED)

    @property
    def shows_practice(self) -> bool:
        """Whether there are pages of exercises."""
        return "practice" in self.parts


AS_WRITTEN = "as written"


@dataclass(frozen=True, slots=True)
class TuneChoice:
    """Choices for one tune in tunes.toml. ``drone`` is a pitch name ("D4"), "none" or None; the
    melody bends to it where ``is_drone_strict``. ``drone_as_written`` is what it was
    where an edition moved it with the tune.
    ``fingers`` are (bar number, note counted from 1 in the bar, finger) and ``strings``
    (bar number, note, string name): pins written beside the tune instead of in it. ``tempo`` is
    in quarter notes a minute, ``transpose`` in semitones. ``key`` is a keynote to which the tune is
    transposed ("Bb"), or AS_WRITTEN; either way no edition moves it to another. ``title``
    is printed instead of the tune's; ``chords`` is a line of symbols by bar;
    ``line`` is printed in every edition, None that of the edition; ``tuning`` None that of its set,
    or the book's."""

    tune: str
    drone: str | None = None
    drone_finger: int | None = None
    tempo: float | None = None
    transpose: int = 0
    key: str | None = None
    title: str | None = None
    chords: str | None = None
    line: Line | None = None
    tuning: str | None = None
    fingers: tuple[tuple[int, int, int], ...] = ()
    strings: tuple[tuple[int, int, str], ...] = ()
    is_left_out: bool = False
    is_drone_strict: bool = False
    place: SourcePlace | None = None
    drone_as_written: str | None = None


@dataclass(frozen=True, slots=True)
class HandChoice:
    """The [hand] table: a named size or own spans (mm, most comfortable, by pair).

    ``span_factors`` are by what a player's relaxed, comfortable and practical upper spans go beyond
    those, ``weights`` what is her own of the fingering cost, ``name`` what the hand is called.
    ``file`` is a hand file that says all of this, read when a run begins; ``given`` are the fields
    that the table has, which stands at ``place``."""

    size: HandSize = "medium"
    spans_mm: tuple[tuple[str, float], ...] = ()
    pad_width_mm: float | None = None
    allows_barre: bool = False
    higher_finger_on_higher_string: bool = True
    fingers: tuple[int, ...] = (1, 2, 3, 4)
    span_factors: tuple[float, float, float] = (1.0, 1.0, 1.0)
    weights: tuple[HandWeight, ...] = ()
    name: str = ""
    file: str | None = None
    given: tuple[str, ...] = ()
    place: SourcePlace | None = None

    def of_size(self, size: HandSize) -> HandChoice:
        """The same with the spans and habits of a named hand instead of a player's own."""
        return replace(self, size=size, spans_mm=(), **_NOT_HER_OWN)


_NOT_HER_OWN: dict[str, Any] = {
    "span_factors": (1.0, 1.0, 1.0), "weights": (), "name": "", "file": None,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Book:
    """A whole tunes.toml with every default filled in. ``tuning`` None means the profile's own.
    ``note_names`` None are those that are usual in the language. ``has_sources`` puts the folder's
    files into the PDF.
    ``players`` play the voices beside the melody. ``sounds`` is an address, or a folder beside the
    book, where the recordings lie to which its pages lead; "" where there are none. ``reading`` are
    the (name, value) pairs of the [reading] table that were given: voices and limits of reading."""

    title: str = "Tune book"
    subtitle: str = ""
    editor: str = ""
    paper: Paper = "a4"
    language: Language = "en"
    note_names: NoteNames | None = None
    is_booklet: bool = False
    has_sources: bool = False
    may_reorder: bool = False
    instrument: str = "nyckelharpa-3row"
    tuning: str | None = None
    hand: HandChoice = HandChoice()
    players: tuple[PlayerChoice, ...] = ()
    sounds: str = ""
    has_qr: bool = False
    sound: SoundChoice = field(default_factory=SoundChoice)
    reading: tuple[tuple[str, str | int], ...] = ()
    sets: tuple[TuneSet, ...] = ()
    editions: tuple[Edition, ...] = ()
    choices: tuple[TuneChoice, ...] = ()
    place: SourcePlace | None = None

    def edition(self, name: str) -> Edition | None:
        """The edition of this name, or None."""
        return next((edition for edition in self.editions if edition.name == name), None)

    def choice(self, tune: str) -> TuneChoice | None:
        """The choices for the tune "file.abc:X", or None."""
        return next((choice for choice in self.choices if choice.tune == tune), None)


@dataclass(frozen=True, slots=True)
class BuildReport:
    """What was built and what was left out. ``seconds`` are (stage, wall time)."""

    output: Path
    pages: int
    tune_count: int
    left_out: tuple[Message, ...]
    messages: tuple[Message, ...]
    seconds: tuple[tuple[str, float], ...]
    sources: Path | None = None
    booklet: Path | None = None
    retuning: RetuneFacts | None = None
