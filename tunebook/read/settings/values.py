"""The shape of tunes.toml: its tables and keys, what each may hold, and where it stands.

Reads TOML that strangers may have written: what no settings need is refused before parsing.

The standard library's reader has no bounds of its own: deep keys take memory with the square of
their depth, deep brackets end in a RecursionError, numbers of thousands of digits in a ValueError.

Where each key of a TOML text stands, so that a mistake in a setting can name its line.

The standard library's TOML reader gives values without places. This scanner follows only what
is needed to know where a key begins: table headers, arrays of tables, and keys at the start of a
line, passing over strings and brackets that run over several lines (TOML 1.0.0, toml.io).

Only checking happens here; :mod:`tunebook.read.settings.tunes_file` makes a Book of it and says
mistakes with their line.
"""

from __future__ import annotations

import re
import tomllib
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from tunebook.errors import SettingError, SourcePlace
from tunebook.model import choices
from tunebook.model.choices import (
    Accents,
    BookPart,
    Chords,
    Clef,
    Density,
    Drones,
    DroneStyle,
    Fingers,
    Fit,
    GracePlace,
    HandSize,
    InstrumentKind,
    Language,
    MelodyShown,
    NoteNames,
    Paper,
    SoundBody,
    SoundFormat,
    VoicesShown,
)
from tunebook.model.hand import OWN_SPAN_BOUNDS_MM, SPAN_FACTOR_BOUNDS
from tunebook.model.sound import HIGHEST_PITCH_HZ, LOWEST_PITCH_HZ, STANDARD_PITCH_HZ

DEEPEST = 20
LONGEST_WORD = 500
"""Letters of a number, or of a key without quotation marks."""

_INTERESTING = re.compile(r"[\"'#\[\]{}]")
_WORD = re.compile(rf"[\w+-]{{{LONGEST_WORD + 1}}}")
_DEEP_KEY = re.compile(rf"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){{{DEEPEST}}}")


def load_toml(text: str, path: str) -> dict[str, Any]:
    """Return what ``text`` holds. Raises SettingError, with the place where there is one, when it
    is no TOML or goes beyond the bounds."""
    bare, deep = _without_strings(text)
    if deep is not None:
        raise _beyond(f"brackets are more than {DEEPEST} deep", text, deep, path)
    found = _DEEP_KEY.search(bare)
    if found:
        raise _beyond(f"a key has more than {DEEPEST} parts", bare, found.start(), path)
    found = _WORD.search(bare)
    if found:
        what = f"a number or key is longer than {LONGEST_WORD} letters"
        raise _beyond(what, bare, found.start(), path)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _no_toml(error, path) from None


def _beyond(what: str, text: str, at: int, path: str) -> SettingError:
    place = SourcePlace(path, text.count("\n", 0, at) + 1)
    return SettingError(what, "nothing that can be set needs that; mend the line", place)


def _no_toml(error: Exception, path: str) -> SettingError:
    place = re.search(r"line (\d+), column (\d+)", str(error))
    what = re.sub(r"\s*\(at .*\)$", "", str(error)) if place else "not readable as TOML"
    where = SourcePlace(path, int(place[1]), int(place[2])) if place else SourcePlace(path)
    return SettingError(
        f"not valid TOML: {what}", "text stands in quotes, lists in brackets", where
    )


def _without_strings(text: str) -> tuple[str, int | None]:
    """The text with each string as one letter (and its line ends), comments taken out; and where
    brackets become too deep."""
    parts: list[str] = []
    depth, place = 0, 0
    while match := _INTERESTING.search(text, place):
        parts.append(text[place : match.start()])
        sign, start = match.group(), match.start()
        if sign in "[{":
            depth += 1
            if depth > DEEPEST:
                return "".join(parts), start
        elif sign in "]}":
            depth = max(0, depth - 1)
        if sign in "[]{}":
            parts.append(sign)
            place = start + 1
        elif sign == "#":
            end = text.find("\n", start)
            place = len(text) if end < 0 else end
        else:
            place = _end_of_string(text, start)
            parts.append("s" + "\n" * text.count("\n", start, place))
    return "".join([*parts, text[place:]]), None


def _end_of_string(text: str, start: int) -> int:
    """The place after a string (TOML 1.0.0, toml.io), or the end of the text."""
    quote = text[start]
    mark = quote * 3 if text.startswith(quote * 3, start) else quote
    ends = mark if len(mark) == 3 else f"{mark}|\n"
    stop = re.compile(rf"\\.|{ends}" if quote == '"' else ends, re.DOTALL)
    place = start + len(mark)
    while match := stop.search(text, place):
        if match.group() == "\n":
            return match.start()
        place = match.end()
        if match.group() == mark:
            return place
    return len(text)


KeyPath = tuple[str | int, ...]

# Nothing is tried twice (possessive repeats), so a line takes time in proportion to its length.
_ONE = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\]|\\.)*+"|'[^']*+')"""
_DOTTED = rf"({_ONE}(?:\s*+\.\s*+{_ONE})*+)"
_HEADER = re.compile(rf"\s*+(\[\[?+)\s*+{_DOTTED}\s*+\]")
_KEY = re.compile(rf"\s*+{_DOTTED}\s*+=(.*)$")
_PART = re.compile(_ONE)


def find_key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line (from 1) of every table and key, by its path.

    Arrays of tables carry their index: ("set", 0, "title"). Keys inside inline tables are not
    listed; :func:`line_of` falls back to the key that holds them.
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    waiting_for: str | None = None
    depth = 0
    for number, line in enumerate(text.splitlines(), start=1):
        if waiting_for is not None or depth > 0:
            waiting_for, depth = _follow_value(line, waiting_for, depth)
            continue
        if header := _HEADER.match(line):
            table = _table_path(_parts(header[2]), header[1] == "[[", counts)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault(table + _parts(key[1]), number)
            waiting_for, depth = _follow_value(key[2], None, 0)
    return lines


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """Return the line of ``path``, or of the nearest table or key that holds it; 1 if none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def _parts(dotted: str) -> KeyPath:
    return tuple(
        part[1:-1].replace('\\"', '"') if part[0] in "\"'" else part
        for part in _PART.findall(dotted)
    )


def _table_path(parts: KeyPath, is_array: bool, counts: dict[KeyPath, int]) -> KeyPath:
    path: KeyPath = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        is_last = position == len(parts) - 1
        if is_last and is_array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _follow_value(text: str, waiting_for: str | None, depth: int) -> tuple[str | None, int]:
    """Follow strings and brackets to the end of the line; return what is still open."""
    position = 0
    while position < len(text):
        if waiting_for is not None:
            end = text.find(waiting_for, position)
            if end < 0:
                return waiting_for, depth
            position, waiting_for = end + 3, None
            continue
        letter = text[position]
        if text.startswith(('"""', "'''"), position):
            waiting_for, position = text[position : position + 3], position + 3
            continue
        if letter in "\"'":
            position = _string_end(text, position)
            continue
        if letter == "#":
            break
        depth += (letter in "[{") - (letter in "]}")
        position += 1
    return None, max(0, depth)


def _string_end(text: str, start: int) -> int:
    quote, position = text[start], start + 1
    while position < len(text) and text[position] != quote:
        position += 2 if text[position] == "\\" and quote == '"' else 1
    return position + 1


Line = Annotated[str, StringConstraints(max_length=300)]
Paragraph = Annotated[str, StringConstraints(max_length=2000)]
PinLine = Annotated[
    str,
    StringConstraints(
        pattern=r"^bar \d{1,4} note \d{1,3} (finger [0-4]|string [A-Za-z0-9#]{1,3})$"
    ),
]


HandFile = Annotated[str, StringConstraints(max_length=300, pattern=r"^.+\.toml$")]
HandName = Annotated[str, StringConstraints(pattern=r"^(small|medium|large|.{1,295}\.toml)$")]
VoiceName = Annotated[str, StringConstraints(min_length=1, max_length=100)]
SpanFactor = Annotated[float, Field(ge=SPAN_FACTOR_BOUNDS[0], le=SPAN_FACTOR_BOUNDS[1])]


SpanMm = Annotated[float, Field(ge=OWN_SPAN_BOUNDS_MM[0], le=OWN_SPAN_BOUNDS_MM[1])]


class Table(BaseModel):
    """A table in which unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", strict=True)


class InstrumentTable(Table):
    profile: Line = "nyckelharpa-3row"
    tuning: Line | None = None


class HandFields(Table):
    """What the table [hand] and a hand file say alike."""

    size: HandSize = "medium"
    spans_mm: dict[Literal["1-2", "1-3", "1-4", "2-3", "2-4", "3-4"], SpanMm] = {}
    pad_width_mm: float | None = Field(default=None, gt=5, lt=40)
    barre: bool = False
    higher_finger_on: Literal["higher string", "lower string"] = "higher string"
    fingers: list[Annotated[int, Field(ge=1, le=4)]] = Field(default=[1, 2, 3, 4], min_length=1)


class HandTable(HandFields):
    file: HandFile | None = None


class SpanFactors(Table):
    relaxed: SpanFactor = 1.0
    comfortable: SpanFactor = 1.0
    practical: SpanFactor = 1.0


class HandFileTable(HandFields):
    """A hand file; what each weight may be is checked where it is read."""

    span_factors: SpanFactors = SpanFactors()
    weights: dict[InstrumentKind, dict[str, float]] = {}


class PlayerTable(Table):
    """Who plays a voice beside the melody; None means "as the melody", of drones "none"."""

    instrument: Line | None = None
    tuning: Line | None = None
    hand: HandName | None = None
    drones: Drones | None = None


class SetTable(Table):
    title: Line
    tunes: list[Line] = Field(min_length=1)
    note: Paragraph = ""
    keep_together: bool = True
    tuning: Line | None = None


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


# An address or a folder beside the book to which names of files are added: no control characters,
# no user names, no query, nothing that could be another scheme or another machine's path.
_HOST = r"[^\s\p{C}<>\"\\^`{|}/?#@%]+"
_WAY = r"[^\p{C}<>\"\\?#]*"
SoundPlace = Annotated[
    str,
    StringConstraints(
        max_length=300,
        pattern=rf"^(https?://{_HOST}(/{_WAY})?|[^\p{{C}}<>\"\\?#:/\s][^\p{{C}}<>\"\\?#:]*)?$",
    ),
]


class EditionTable(Table):
    """What differs from the edition named in ``based_on``; None means "as there"."""

    name: Annotated[str, StringConstraints(pattern=r"^[\w][\w -]{0,40}$")]
    based_on: Line | None = None
    title: Line | None = None
    fingers: Fingers | None = None
    drones: Drones | None = None
    drone_style: DroneStyle | None = None
    accents: Accents | None = None
    chords: Chords | None = None
    shapes: bool | None = None
    words: bool | None = None
    sources: bool | None = None
    notes_on_choices: bool | None = None
    accompaniment: bool | None = None
    practice: bool | None = None
    grace_notes: bool | None = None
    parts: list[BookPart] | None = None
    density: Density | None = None
    melody: MelodyShown | None = None
    clef: Clef | None = None
    staff_size_pt: float | None = Field(default=None, ge=10, le=40)
    paper: Paper | None = None
    hand: HandName | None = None
    sounds: SoundPlace | None = None
    tunes: list[Line] | None = None
    voices: VoicesShown | None = None
    played_by: dict[VoiceName, PlayerTable] = {}
    limits: LimitsTable | None = None
    fit: Fit | None = None
    tuning: Line | None = None
    line: choices.Line | None = None


class TuneTable(Table):
    drone: Annotated[str, StringConstraints(pattern=r"^([A-G](#|b)?\d( strict)?|none)$")] | None = (
        None
    )
    drone_finger: int | None = Field(default=None, ge=0, le=4)
    tempo: float | None = Field(default=None, ge=20, le=400)
    transpose: int = Field(default=0, ge=-24, le=24)
    key: Annotated[str, StringConstraints(pattern=r"^([A-G](#|b)?|as written)$")] | None = None
    title: Line | None = None
    chords: Paragraph | None = None
    tuning: Line | None = None
    line: choices.Line | None = None
    pins: list[PinLine] = []
    leave_out: bool = False


class ReadingTable(Table):
    """Which voices are read, whether links and a profile's path may lead out of the folder, and
    the limits of :class:`tunebook.read.limits.ReadingLimits`."""

    voice: Line | None = None
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
    voices: int | None = Field(default=None, ge=1)
    score_notes: int | None = Field(default=None, ge=1)
    ending_number: int | None = Field(default=None, ge=2)
    name_letters: int | None = Field(default=None, ge=1)
    text_letters: int | None = Field(default=None, ge=1)
    solving_steps: int | None = Field(default=None, ge=1)


SoundLevel = Annotated[float, Field(ge=0, le=4)]
BeatLengths = Annotated[
    list[Annotated[float, Field(ge=0.3, le=3)]], Field(min_length=2, max_length=16)
]


class SoundTable(Table):
    """Of recordings; levels are 1 as the instrument has it, 0 is silence."""

    format: SoundFormat = "flac"
    tuning_pitch: float = Field(default=STANDARD_PITCH_HZ, ge=LOWEST_PITCH_HZ, le=HIGHEST_PITCH_HZ)
    grace_notes: GracePlace = "on the beat"
    body: SoundBody = "simple"
    key_knock: SoundLevel = 1.0
    bow_noise: SoundLevel = 1.0
    sympathetic: SoundLevel = 1.0
    most_minutes: float = Field(default=30.0, gt=0, le=600)
    beats: dict[Line, BeatLengths] = {}


class BookTable(Table):
    title: Line = "Tune book"
    subtitle: Line = ""
    editor: Line = ""
    paper: Paper = "a4"
    language: Language = "en"
    note_names: NoteNames | None = None
    booklet: bool = False
    attach: bool = False
    may_reorder: bool = False
    sounds: SoundPlace = ""
    qr: bool = False
    instrument: InstrumentTable = InstrumentTable()
    hand: HandTable = HandTable()
    voices: dict[VoiceName, PlayerTable] = {}
    reading: ReadingTable = ReadingTable()
    sound: SoundTable = SoundTable()
    set: list[SetTable] = []
    edition: list[EditionTable] = []
    tune: dict[str, TuneTable] = {}
