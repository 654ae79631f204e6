"""The shape of tunes.toml: which tables and keys there are, and what each may hold.

Only checking happens here; :mod:`tunebook.read.settings_file` makes a Book of it and says mistakes
with their line.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Line = Annotated[str, StringConstraints(max_length=300)]
Paragraph = Annotated[str, StringConstraints(max_length=2000)]
PinLine = Annotated[
    str,
    StringConstraints(
        pattern=r"^bar \d{1,4} note \d{1,3} (finger [0-4]|string [A-Za-z0-9#]{1,3})$"
    ),
]
Paper = Literal["a4", "letter", "a5"]


class Table(BaseModel):
    """A table in which unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", strict=True)


class InstrumentTable(Table):
    profile: Line = "nyckelharpa-3row"
    tuning: Line | None = None


class HandTable(Table):
    size: Literal["small", "medium", "large"] = "medium"
    spans_mm: dict[Literal["1-2", "1-3", "1-4", "2-3", "2-4", "3-4"], float] = {}
    pad_width_mm: float | None = Field(default=None, gt=5, lt=40)
    barre: bool = False
    higher_finger_on: Literal["higher string", "lower string"] = "higher string"
    fingers: list[Annotated[int, Field(ge=1, le=4)]] = Field(default=[1, 2, 3, 4], min_length=1)


class SetTable(Table):
    title: Line
    tunes: list[Line] = Field(min_length=1)
    note: Paragraph = ""
    keep_together: bool = True


class LimitsTable(Table):
    highest_key: int | None = Field(default=None, ge=1, le=40)
    highest_position: int | None = Field(default=None, ge=0, le=30)
    crossed_stops: bool = True
    barre: bool = True
    shifts: bool = True
    stretches: bool = True
    drone: bool = True
    held_drone: bool = True
    substitution: bool = True


class EditionTable(Table):
    """What differs from the edition named in ``based_on``; None means "as there"."""

    name: Annotated[str, StringConstraints(pattern=r"^[\w][\w -]{0,40}$")]
    based_on: Line | None = None
    title: Line | None = None
    fingers: Literal["all", "needed", "none"] | None = None
    drones: Literal["none", "open", "held", "substitution"] | None = None
    chords: Literal["none", "tune", "all"] | None = None
    shapes: bool | None = None
    words: bool | None = None
    sources: bool | None = None
    notes_on_choices: bool | None = None
    accompaniment: bool | None = None
    practice: bool | None = None
    grace_notes: bool | None = None
    staff_size_pt: float | None = Field(default=None, ge=10, le=40)
    paper: Paper | None = None
    hand: Literal["small", "medium", "large"] | None = None
    tunes: list[Line] | None = None
    limits: LimitsTable | None = None


class TuneTable(Table):
    drone: Annotated[str, StringConstraints(pattern=r"^([A-G](#|b)?\d|none)$")] | None = None
    drone_finger: int | None = Field(default=None, ge=0, le=4)
    tempo: float | None = Field(default=None, ge=20, le=400)
    transpose: int = Field(default=0, ge=-24, le=24)
    pins: list[PinLine] = []
    leave_out: bool = False


class ReadingTable(Table):
    """Which voices are read, whether links and a profile's path may lead out of the folder, and
    the limits of :class:`tunebook.read.limits.ReadingLimits`."""

    voice: Line | None = None
    second_voice: Line | None = None
    may_leave_folder: bool | None = None
    file_bytes: int | None = Field(default=None, ge=1)
    tune_characters: int | None = Field(default=None, ge=1)
    tune_notes: int | None = Field(default=None, ge=1)
    tuplet_number: int | None = Field(default=None, ge=2)
    note_length: int | None = Field(default=None, ge=1)
    macro_factor: int | None = Field(default=None, ge=1)
    played_bars: int | None = Field(default=None, ge=1)
    bar_notes: int | None = Field(default=None, ge=1)
    chord_notes: int | None = Field(default=None, ge=1)
    ending_number: int | None = Field(default=None, ge=2)
    name_letters: int | None = Field(default=None, ge=1)
    text_letters: int | None = Field(default=None, ge=1)
    solving_steps: int | None = Field(default=None, ge=1)


class BookTable(Table):
    title: Line = "Tune book"
    subtitle: Line = ""
    editor: Line = ""
    paper: Paper = "a4"
    language: Literal["en", "sv"] = "en"
    note_names: Literal["b", "h"] | None = None
    booklet: bool = False
    may_reorder: bool = False
    instrument: InstrumentTable = InstrumentTable()
    hand: HandTable = HandTable()
    reading: ReadingTable = ReadingTable()
    set: list[SetTable] = []
    edition: list[EditionTable] = []
    tune: dict[str, TuneTable] = {}
