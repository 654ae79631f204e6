"""Read tunes.toml into a Book, every mistake with its line; what is wrong is left out and said.

A setting that cannot be used falls back to its default, so that one slip does not stop a book.
Only a file that is no TOML at all, or cannot be read, stops with an error.
"""

from __future__ import annotations

import difflib
import re
import tomllib
import unicodedata
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from tunebook.errors import Message, SettingError, SourcePlace
from tunebook.files import FilesRead, read_text
from tunebook.model.book import Book, Edition, HandChoice, PlayerChoice, TuneChoice, TuneSet
from tunebook.model.choices import BOOK_PARTS, BookPart
from tunebook.model.hand import Limits
from tunebook.model.sound import SoundChoice
from tunebook.read.settings.values import (
    BookTable,
    EditionTable,
    HandFields,
    HandTable,
    KeyPath,
    LimitsTable,
    PlayerTable,
    SoundTable,
    SpanFactors,
    TuneTable,
    find_key_lines,
    line_of,
    load_toml,
)

MAX_BOOK_FILE_BYTES = 1_000_000
MOST_MISTAKES = 1000
SETTINGS_KIND = "tunes.toml"

_PIN = re.compile(r"bar (\d+) note (\d+) (finger|string) (\S+)")
_IN_A_FILE = re.compile(r"\.abc:[^\\/]*$", re.I)
_PATTERNS = {
    "pins": 'write "bar 3 note 2 finger 1" (0 to 4) or "bar 3 note 2 string D"',
    "drone": 'write a pitch like "D4", or "D4 strict", or "none"',
    "sounds": "write an address with https:// or http://, or a folder beside the book",
    "key": 'write a keynote like "D" or "Bb", or "as written"',
    "name": "letters, digits, - and spaces, at most 41",
    "hand": "write small, medium, large, or a hand file, as anna.toml",
    "file": "write a hand file, as anna.toml",
}
_EDITION_FIELDS = {
    "title": "title",
    "fingers": "fingers",
    "drones": "drones",
    "drone_style": "drone_style",
    "accents": "accents",
    "chords": "chords",
    "shapes": "shows_shapes",
    "words": "shows_words",
    "sources": "shows_sources",
    "notes_on_choices": "shows_notes_on_choices",
    "accompaniment": "shows_accompaniment",
    "grace_notes": "shows_grace_notes",
    "density": "density",
    "melody": "melody",
    "clef": "clef",
    "staff_size_pt": "staff_size_pt",
    "paper": "paper",
    "hand": "hand",
    "sounds": "sounds",
    "voices": "voices",
    "fit": "fit",
    "line": "line",
    "tuning": "tuning",
}


def read_settings(
    path: Path | None, read: FilesRead | None = None
) -> tuple[Book, tuple[Message, ...]]:
    """Return the Book in the file, with all defaults, and the messages about its mistakes; the
    file is noted in ``read``.

    Without a path, the Book of all defaults. Raises SettingError when the file cannot be read
    or is no TOML.
    """
    built_in, _ = _editions_from(_load_built_in(), (), {}, "")
    if path is None:
        return Book(editions=built_in), ()
    return parse_settings(text_of(path, SETTINGS_KIND, read), str(path), built_in)


def parse_settings(
    text: str, path: str, built_in: tuple[Edition, ...]
) -> tuple[Book, tuple[Message, ...]]:
    """Return the Book written in ``text``; ``built_in`` are the editions it may build on."""
    raw = load_toml(text, path)
    lines = find_key_lines(text)
    table, messages = checked(BookTable, raw, lines, path)
    own, edition_messages = _editions_from(table.edition, built_in, lines, path)
    messages += _code_messages(table, SourcePlace(path, line_of(lines, ("qr",))))
    return (
        Book(
            title=table.title,
            subtitle=table.subtitle,
            editor=table.editor,
            paper=table.paper,
            language=table.language,
            note_names=table.note_names,
            is_booklet=table.booklet,
            has_sources=table.attach,
            may_reorder=table.may_reorder,
            sounds=table.sounds,
            has_qr=table.qr,
            sound=_sound_choice(table.sound),
            instrument=table.instrument.profile,
            tuning=table.instrument.tuning,
            hand=hand_choice(
                table.hand,
                file=table.hand.file,
                place=SourcePlace(path, line_of(lines, ("hand",))),
            ),
            players=_players(table.voices),
            reading=tuple(table.reading.model_dump(exclude_none=True).items()),
            sets=tuple(
                TuneSet(
                    one.title,
                    _tune_names(one.tunes),
                    one.note,
                    one.keep_together,
                    SourcePlace(path, line_of(lines, ("set", index))),
                    tuning=one.tuning,
                )
                for index, one in enumerate(table.set)
            ),
            editions=own,
            choices=tuple(
                _tune_choice(name, one, SourcePlace(path, line_of(lines, ("tune", name))))
                for name, one in table.tune.items()
            ),
            place=SourcePlace(path),
        ),
        tuple(sorted(messages + edition_messages)),
    )


def text_of(path: Path, kind: str, read: FilesRead | None) -> str:
    """The text of a settings file of this ``kind``, noted in ``read``. Raises SettingError."""
    try:
        if path.stat().st_size > MAX_BOOK_FILE_BYTES:
            raise SettingError(
                "file is larger than 1 MB", f"is this a {kind}?", SourcePlace(str(path))
            )
        return read_text(path, read)
    except UnicodeDecodeError:
        raise SettingError(
            "file is not UTF-8 text", "save it as UTF-8", SourcePlace(str(path))
        ) from None
    except OSError as error:
        raise SettingError(
            f"cannot be read ({error.strerror})",
            "check the path and its rights",
            SourcePlace(str(path)),
        ) from None


def _load_built_in() -> list[EditionTable]:
    text = resources.files("tunebook.data").joinpath("editions.toml").read_text(encoding="utf-8")
    return [EditionTable.model_validate(one) for one in tomllib.loads(text)["edition"]]


def checked(
    shape: type[BaseModel], raw: dict[str, Any], lines: dict[KeyPath, int], path: str
) -> tuple[Any, tuple[Message, ...]]:
    """Check ``raw``; each mistake is said, taken out, and the rest checked again. Raises
    SettingError when there are too many."""
    messages: list[Message] = []
    while True:
        try:
            return shape.model_validate(raw), tuple(messages)
        except ValidationError as error:
            found: dict[KeyPath, dict[str, Any]] = {}
            for one in error.errors(include_url=False):
                found.setdefault(_raw_path(raw, one["loc"]), dict(one))
        if len(messages) + len(found) > MOST_MISTAKES:
            what = f"there are more than {MOST_MISTAKES} mistakes"
            raise SettingError(what, "write the file anew", SourcePlace(path))
        # From the last to the first, so that places in lists stay what they are; what stands in
        # something else that is wrong goes with it.
        for where in sorted(found, key=_backwards, reverse=True):
            if not any(where[:length] in found for length in range(len(where))):
                place = SourcePlace(path, line_of(lines, where))
                messages.append(_setting_message(found[where], where, place, shape))
                _take_out(raw, where)


def _backwards(path: KeyPath) -> tuple[tuple[int, str], ...]:
    return tuple((part, "") if isinstance(part, int) else (0, part) for part in path)


def _raw_path(raw: Any, location: tuple[Any, ...]) -> KeyPath:
    """Keep the part of pydantic's location that exists in the data (it adds words of its own)."""
    path: list[Any] = []
    for part in location:
        if (isinstance(raw, dict) and part in raw) or (
            isinstance(raw, list) and isinstance(part, int) and part < len(raw)
        ):
            path.append(part)
            raw = raw[part]
        elif isinstance(raw, dict) and part == location[-1]:
            break
    return tuple(path)


def _take_out(raw: Any, path: KeyPath) -> None:
    for part in path[:-1]:
        raw = raw[part]
    del raw[path[-1]]


def _setting_message(
    error: dict[str, Any], path: KeyPath, place: SourcePlace, shape: type[BaseModel]
) -> Message:
    name = ".".join(str(part) for part in path if isinstance(part, str)) or "file"
    if error["type"] == "extra_forbidden":
        known = _known_keys(path, shape)
        close = difflib.get_close_matches(str(path[-1]), known, 1)
        remedy = f"did you mean {close[0]!r}?" if close else "known are " + ", ".join(known)
        return Message(place, "setting", f"unknown setting {name!r}", remedy)
    if error["type"] == "missing":
        what = f"{name!r} wants {error['loc'][-1]!r}"
        return Message(place, "setting", what, "left out; add it")
    if error["type"] == "string_pattern_mismatch":
        wanted = _PATTERNS.get(str(path[-1]) if isinstance(path[-1], str) else str(path[-2]), "")
    else:
        wanted = error["msg"][0].lower() + error["msg"][1:]
    what = f"setting {name!r} cannot be {_short(error['input'])}: {wanted}"
    is_listed = bool(path) and isinstance(path[-1], int)
    remedy = "it is passed over" if is_listed else "the default is used"
    return Message(place, "setting", what, remedy)


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _known_keys(path: KeyPath, shape: type[BaseModel]) -> list[str]:
    """Keys known in the table that holds the last part of ``path`` in a file of this shape."""
    tables: dict[str, type[BaseModel]] = {
        "limits": LimitsTable,
        "edition": EditionTable,
        "tune": TuneTable,
        "hand": HandTable,
        "span_factors": SpanFactors,
        "voices": PlayerTable,
        "played_by": PlayerTable,
    }
    for part in reversed(path[:-1]):
        if part in tables:
            return list(tables[str(part)].model_fields)
        if isinstance(part, str) and part in BookTable.model_fields:
            kind = BookTable.model_fields[part].annotation
            inner = getattr(kind, "__args__", (kind,))[-1]
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                return list(inner.model_fields)
    return list(shape.model_fields)


def _editions_from(
    tables: list[EditionTable], known: tuple[Edition, ...], lines: dict[KeyPath, int], path: str
) -> tuple[tuple[Edition, ...], tuple[Message, ...]]:
    editions = {edition.name: edition for edition in known}
    messages = []
    for index, table in enumerate(tables):
        base = editions.get(table.based_on or table.name) or Edition(name=table.name)
        if table.based_on and table.based_on not in editions:
            place = SourcePlace(path, line_of(lines, ("edition", index, "based_on")))
            what = f"edition {table.name!r} is based on {table.based_on!r}, which is not known"
            messages.append(Message(place, "setting", what, "known are " + ", ".join(editions)))
        place = SourcePlace(path, line_of(lines, ("edition", index, "tunes")))
        editions[table.name] = _edition(table, base, place)
    return tuple(editions.values()), tuple(messages)


def _edition(table: EditionTable, base: Edition, tunes_place: SourcePlace) -> Edition:
    changes: dict[str, Any] = {
        field: value
        for key, field in _EDITION_FIELDS.items()
        if (value := getattr(table, key)) is not None
    }
    if table.based_on and table.title is None:
        changes["title"] = f"{table.name} ({base.title})"
    changes["parts"] = _parts(table, base)
    if table.tunes is not None:
        changes |= {"tunes": _tune_names(table.tunes), "tunes_place": tunes_place}
    if table.played_by:
        changes["players"] = _players(table.played_by)
    if table.limits is not None:
        changes["limits"] = _limits(table.limits, base.limits)
    return replace(base, name=table.name, **changes)


def _parts(table: EditionTable, base: Edition) -> tuple[BookPart, ...]:
    """The parts of the book in the order of the closed list. Without a list of its own, an edition
    has those of its base; exercises and shapes that it asks for bring their pages with them."""
    wanted = set(base.parts if table.parts is None else table.parts)
    if table.parts is None and table.shapes:
        wanted.add("chords")
    if table.practice is not None:
        wanted = wanted | {"practice"} if table.practice else wanted - {"practice"}
    return tuple(part for part in BOOK_PARTS if part in wanted)


def _limits(table: LimitsTable, base: Limits) -> Limits:
    given = table.model_fields_set
    names = {
        "highest_key": "highest_key",
        "highest_position": "highest_position",
        "crossed_stops": "allows_crossed_stops",
        "barre": "allows_barre",
        "shifts": "allows_shifts",
        "stretches": "allows_stretches",
        "drone": "allows_drone",
        "held_drone": "allows_held_drone",
        "substitution": "allows_substitution",
    }
    return replace(base, **{names[key]: getattr(table, key) for key in given})


def _players(tables: dict[str, PlayerTable]) -> tuple[PlayerChoice, ...]:
    return tuple(
        PlayerChoice(
            unicodedata.normalize("NFC", voice),
            instrument=one.instrument,
            tuning=one.tuning,
            hand=one.hand,
            drones=one.drones,
        )
        for voice, one in tables.items()
    )


_HAND_FIELDS = {
    "size": "size",
    "spans_mm": "spans_mm",
    "pad_width_mm": "pad_width_mm",
    "barre": "allows_barre",
    "higher_finger_on": "higher_finger_on_higher_string",
    "fingers": "fingers",
}


def hand_choice(table: HandFields, **more: Any) -> HandChoice:
    """The choice that a table about a hand makes, with ``more`` of its fields."""
    return HandChoice(
        size=table.size,
        spans_mm=tuple(sorted(table.spans_mm.items())),
        pad_width_mm=table.pad_width_mm,
        allows_barre=table.barre,
        higher_finger_on_higher_string=table.higher_finger_on == "higher string",
        fingers=tuple(sorted(set(table.fingers))),
        given=tuple(_HAND_FIELDS[key] for key in _HAND_FIELDS if key in table.model_fields_set),
        **more,
    )


def _tune_names(names: list[str]) -> tuple[str, ...]:
    """Names of tunes, letters composed; folders before a file may be parted as Windows does it."""
    composed = (unicodedata.normalize("NFC", name) for name in names)
    return tuple(name.replace("\\", "/") if _IN_A_FILE.search(name) else name for name in composed)


def _code_messages(table: BookTable, place: SourcePlace) -> tuple[Message, ...]:
    """A telephone opens nothing but an address of the web."""
    places = [table.sounds, *(one.sounds or "" for one in table.edition)]
    if not table.qr or any("://" in place for place in places):
        return ()
    what = "a QR code wants recordings at an address"
    return (Message(place, "setting", what, 'none is printed; write sounds = "https://..."'),)


def _sound_choice(table: SoundTable) -> SoundChoice:
    return SoundChoice(
        format=table.format,
        tuning_pitch_hz=table.tuning_pitch,
        grace_notes=table.grace_notes,
        body=table.body,
        key_knock=table.key_knock,
        bow_noise=table.bow_noise,
        sympathetic=table.sympathetic,
        most_minutes=table.most_minutes,
        beats=tuple((kind, tuple(lengths)) for kind, lengths in sorted(table.beats.items())),
    )


def _tune_choice(name: str, table: TuneTable, place: SourcePlace) -> TuneChoice:
    pins = [match.groups() for pin in table.pins if (match := _PIN.fullmatch(pin))]
    return TuneChoice(
        tune=_tune_names([name])[0],
        drone=table.drone.removesuffix(" strict") if table.drone else None,
        is_drone_strict=bool(table.drone and table.drone.endswith(" strict")),
        drone_finger=table.drone_finger,
        tempo=table.tempo,
        transpose=table.transpose,
        key=table.key,
        title=table.title,
        chords=table.chords,
        line=table.line,
        tuning=table.tuning,
        fingers=tuple((int(b), int(n), int(v)) for b, n, kind, v in pins if kind == "finger"),
        strings=tuple((int(b), int(n), v) for b, n, kind, v in pins if kind == "string"),
        is_left_out=table.leave_out,
        place=place,
    )
