"""The book that is asked for: titles, sets, editions, choices per tune; and what became of it.

The book that is asked for: titles, sets, editions, choices per tune.

What a build tells when it is done.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from tunebook.errors import Message, SourcePlace
from tunebook.model.changes import RetuneFacts
from tunebook.model.hand import Limits


@dataclass(frozen=True, slots=True)
class TuneSet:
    """Tunes played one after the other. ``tunes`` are "file.abc:X" or titles. ``is_kept_together``
    asks that the set begin on a new page and nothing come between its tunes."""

    title: str
    tunes: tuple[str, ...]
    note: str = ""
    is_kept_together: bool = True
    place: SourcePlace | None = None


@dataclass(frozen=True, slots=True)
class Edition:
    """What an edition shows and allows. ``fingers`` is all, needed or none; ``drones`` is none,
    open, held or substitution; ``chords`` is none, tune (the tune's own) or all (solved where the
    tune has none). ``tunes`` empty means all of the folder."""

    name: str
    title: str = ""
    fingers: str = "needed"
    drones: str = "held"
    chords: str = "all"
    shows_shapes: bool = False
    shows_words: bool = True
    shows_sources: bool = True
    shows_notes_on_choices: bool = False
    shows_accompaniment: bool = False
    shows_practice: bool = False
    shows_grace_notes: bool = True
    limits: Limits = field(default_factory=Limits)
    staff_size_pt: float = 16.5
    paper: str | None = None
    hand: str | None = None
    tunes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TuneChoice:
    """Choices for one tune in tunes.toml. ``drone`` is a pitch name ("D4"), "none" or None.
    ``fingers`` are (bar number, note counted from 1 in the bar, finger) and ``strings``
    (bar number, note, string name): pins written beside the tune instead of in it. ``tempo`` is
    in quarter notes a minute, ``transpose`` in semitones."""

    tune: str
    drone: str | None = None
    drone_finger: int | None = None
    tempo: float | None = None
    transpose: int = 0
    fingers: tuple[tuple[int, int, int], ...] = ()
    strings: tuple[tuple[int, int, str], ...] = ()
    is_left_out: bool = False
    place: SourcePlace | None = None


@dataclass(frozen=True, slots=True)
class HandChoice:
    """The [hand] table: a named size or own spans (mm, most comfortable, by pair)."""

    size: str = "medium"
    spans_mm: tuple[tuple[str, float], ...] = ()
    pad_width_mm: float | None = None
    allows_barre: bool = False
    higher_finger_on_higher_string: bool = True
    fingers: tuple[int, ...] = (1, 2, 3, 4)


@dataclass(frozen=True, slots=True)
class Book:
    """A whole tunes.toml with every default filled in. ``tuning`` None means the profile's own.
    ``note_names`` is one of NOTE_NAMES, None for those that are usual in the language.
    ``reading`` are the (name, value) pairs of the [reading] table that were given: voices and
    limits of reading."""

    title: str = "Tune book"
    subtitle: str = ""
    editor: str = ""
    paper: str = "a4"
    language: str = "en"
    note_names: str | None = None
    is_booklet: bool = False
    may_reorder: bool = False
    instrument: str = "nyckelharpa-3row"
    tuning: str | None = None
    hand: HandChoice = HandChoice()
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
