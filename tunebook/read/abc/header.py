"""The header of a tune, and the texts of its fields for metre, unit length and tempo.

Metre, unit length and tempo: the texts of M:, L: and Q:.

Source: The ABC Music Standard 2.1, sections 3.1.6 to 3.1.8.

The header of a tune: its fields, with the file's own header as defaults.

Source: The ABC Music Standard 2.1, sections 2.2.3 (file header), 3.1 (fields) and 11.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.model.tune import Key, Meter, Tempo
from tunebook.read.abc.decorations import DEFAULT_SYMBOLS, read_user_symbol
from tunebook.read.abc.keys import NO_KEY, is_printed, read_key
from tunebook.read.abc.lines import Item
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.text import add_text, is_text, plain_text

FREE_METER = Meter(0, 4, "none", ())
_METER = re.compile(r"\(?\s*(\d{1,3}(?:\s*\+\s*\d{1,3})*)\s*\)?\s*/\s*(\d{1,3})")
_METER_SUM = re.compile(r"\d{1,3}\s*/\s*\d{1,3}(?:\s*\+\s*\d{1,3}\s*/\s*\d{1,3})+")
_LENGTH = re.compile(r"\s*(\d{1,4})\s*(?:/\s*(\d{1,4}))?\s*$")
_BEAT = r"\d{1,3}\s?/\s?\d{1,3}"
_BEATS = re.compile(rf"(?<!\d)({_BEAT}(?:\s{{1,9}}{_BEAT})*)\s*=\s*(\d{{1,5}}(?:\.\d+)?)")
_OLD_BEAT = re.compile(r"[Cc](\d{0,2})(?:/(\d{1,2}))?\s*=\s*(\d{1,5}(?:\.\d+)?)")
_BARE = re.compile(r"\s*(\d{1,5}(?:\.\d+)?)\s*$")
_LONGEST = 200
_QUOTED = re.compile(r'"([^"]*)"?')
_FRACTION = re.compile(r"(\d{1,3})\s*/\s*(\d{1,3})")


def read_meter(text: str) -> Meter | None:
    """Read the text of M:; None when it is no metre.

    "none" and an empty text are free metre; C is 4/4 and C| is 2/2 (4.3 of the 2.1 text calls it
    cut time). Sums may stand above (2+3/8, (2+3)/8) or between fractions (3/8+2/8).
    """
    text = text.strip()
    if len(text) > _LONGEST:
        return None
    if text in ("C", "c"):
        return Meter(4, 4, "C", (4,))
    if text in ("C|", "c|", "C |"):
        return Meter(2, 2, "C|", (2,))
    if not text or text.lower() in ("none", "free"):
        return FREE_METER
    total = _METER_SUM.fullmatch(text)
    if total:
        return _meter_of_sum(text)
    match = _METER.match(text)
    if not match:
        return None
    groups = tuple(int(number) for number in match[1].split("+"))
    unit = int(match[2])
    if not unit or not sum(groups):
        return None
    return Meter(sum(groups), unit, "+".join(map(str, groups)) + f"/{unit}", groups)


def _meter_of_sum(text: str) -> Meter | None:
    pairs = [(int(a), int(b)) for a, b in _FRACTION.findall(text)]
    if any(not top or not bottom for top, bottom in pairs):
        return None
    unit = max(bottom for _, bottom in pairs)
    if any(unit % bottom for _, bottom in pairs):
        return None
    groups = tuple(top * unit // bottom for top, bottom in pairs)
    sign = "+".join(f"{top}/{bottom}" for top, bottom in pairs)
    return Meter(sum(groups), unit, sign, groups)


def read_unit_length(text: str) -> Fraction | None:
    """Read the text of L: ("1/8", "1"); None when it is no length."""
    match = _LENGTH.match(text)
    if not match or not int(match[1]) or (match[2] is not None and not int(match[2])):
        return None
    return Fraction(int(match[1]), int(match[2] or 1))


def default_unit_length(meter: Meter) -> Fraction:
    """The unit length where no L: stands: 1/16 for metres below 3/4, else 1/8 (section 3.1.7)."""
    if meter.is_free or meter.length >= Fraction(3, 4):
        return Fraction(1, 8)
    return Fraction(1, 16)


def read_tempo(text: str, unit: Fraction) -> Tempo | None:
    """Read the text of Q:; None when nothing in it can be read.

    Forms: ``1/4=120``, ``"Allegro" 1/4=120``, ``1/4 3/8 1/4=40``, words alone (in quotes or
    not), and the older ``120``, ``C=120`` and ``C3=40``, which count in unit lengths.
    """
    if len(text) > _LONGEST:
        return None
    words = " ".join(_QUOTED.findall(text)).strip()
    rest = _QUOTED.sub(" ", text)
    match = _BEATS.search(rest)
    if match:
        beats = [(int(a), int(b)) for a, b in _FRACTION.findall(match[1])]
        if all(bottom for _, bottom in beats):
            beat = sum((Fraction(a, b) for a, b in beats), Fraction(0))
            return Tempo(beat, float(match[2]), words) if beat and float(match[2]) else None
    match = _OLD_BEAT.search(rest)
    if match:
        beat = unit * Fraction(int(match[1] or 1), int(match[2] or 1) or 1)
        return Tempo(beat, float(match[3]), words) if beat and float(match[3]) else None
    match = _BARE.match(rest)
    if match and float(match[1]):
        return Tempo(unit, float(match[1]), words)
    if not words and "=" not in rest and any(letter.isalpha() for letter in rest):
        words = rest.strip()
    return Tempo(Fraction(0), 0.0, words) if words else None


@dataclass(slots=True)
class TuneHeader:
    """What holds at the beginning of the music. ``assumed_unit`` is set where no L: stands;
    ``octaves`` shifts the notes; ``voices`` maps a voice's name to its properties, ``voice_lines``
    to the line they stand in; ``line_break`` is one of "end", "sign", "none"; ``texts`` are free
    text before the music, ``closing_texts`` after it."""

    fields: dict[str, list[str]] = field(default_factory=dict)
    key: Key = NO_KEY
    meter: Meter = FREE_METER
    unit_length: Fraction = Fraction(1, 8)
    assumed_unit: Fraction | None = None
    tempo: Tempo | None = None
    octaves: int = 0
    clef: str = ""
    has_key: bool = False
    accidental_rule: str = "pitch"
    line_break: str = "end"
    decoration_sign: str = "!"
    part_order: str = ""
    symbols: dict[str, str] = field(
        default_factory=lambda: {sign: f"!{name}!" for sign, name in DEFAULT_SYMBOLS.items()}
    )
    macros: list[tuple[str, str]] = field(default_factory=list)
    voices: dict[str, str] = field(default_factory=dict)
    voice_lines: dict[str, int] = field(default_factory=dict)
    titles: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    closing_texts: list[str] = field(default_factory=list)

    def add_field(self, letter: str, text: str) -> None:
        """Keep a field's text under its letter."""
        self.fields.setdefault(letter, []).append(plain_text(text))


def read_header(items: list[Item], notices: Notices) -> TuneHeader:
    """Read the header's fields in order; those of the file header come first."""
    header = TuneHeader()
    tempo_text: tuple[str, int] | None = None
    unit: Fraction | None = None
    meter: Meter | None = None
    for item in items:
        letter, value = item.letter, item.value
        if letter == "I":
            read_instruction(header, value, notices, item.line)
            continue
        header.add_field(letter, value)
        if letter == "M":
            meter = _meter(value, notices, item) or meter
        elif letter == "L":
            unit = _unit(value, notices, item) or unit
        elif letter == "Q":
            tempo_text = (value, item.line)
        elif letter == "K":
            _key(header, value, notices, item)
        elif letter == "P":
            header.part_order = value
        elif letter in "UmV" and value:
            define(header, letter, value, notices, item.line)
    header.titles = list(header.fields.get("T", ()))
    header.meter = meter or FREE_METER
    header.unit_length = unit or default_unit_length(header.meter)
    header.assumed_unit = None if unit else header.unit_length
    if tempo_text is not None:
        header.tempo = tempo_of_field(tempo_text[0], header.unit_length, notices, tempo_text[1])
    return header


def _meter(value: str, notices: Notices, item: Item) -> Meter | None:
    meter = read_meter(value)
    if meter is None:
        say_field(notices, "M", value, "write a metre as M:3/4, M:C or M:none", item.line)
    return meter


def _unit(value: str, notices: Notices, item: Item) -> Fraction | None:
    unit = read_unit_length(value)
    if unit is None:
        say_field(notices, "L", value, "write a unit length as L:1/8", item.line)
    return unit


def _key(header: TuneHeader, value: str, notices: Notices, item: Item) -> None:
    found = read_key(value)
    header.has_key = True
    if found.key is not None:
        header.key = found.key
    if found.octaves is not None:
        header.octaves = found.octaves
    header.clef = printed_clef(found.clef, value, notices, item.line) or header.clef
    say_key(notices, value, found.key is None and bool(found.unread), found.unread, item.line)
    say_transposition(notices, found.semitones, item.line)


def define(header: TuneHeader, letter: str, value: str, notices: Notices, line: int) -> None:
    """Apply U: (a symbol), m: (a macro) or V: (a voice's properties)."""
    if letter == "U":
        symbol = read_user_symbol(value)
        if symbol is None:
            say_field(notices, "U", value, "write U:T = !trill!", line)
        else:
            header.symbols[symbol[0]] = symbol[1]
    elif letter == "m":
        name, equals, text = value.partition("=")
        if equals and name.strip():
            header.macros.append((name.strip(), text.strip()))
        else:
            say_field(notices, "m", value, "write m:~g2 = {a}g{f}g", line)
    else:
        name, _, properties = value.partition(" ")
        header.voices[name] = properties
        header.voice_lines[name] = line


def read_instruction(
    header: TuneHeader, text: str, notices: Notices, line: int, *, is_after_notes: bool = False
) -> None:
    """Read an I: field or a %% directive; those that do not change the notes pass quietly. Free
    text of the file's own header (a negative ``line``) belongs to no tune."""
    name, _, value = text.partition(" ")
    value = value.strip()
    if name == "propagate-accidentals":
        if value in ("not", "octave", "pitch"):
            header.accidental_rule = value
        else:
            say_field(notices, "I", text, "say not, octave or pitch", line)
    elif name == "linebreak":
        if "<none>" in value:
            header.line_break = "none"
        else:
            header.line_break = "end" if "<EOL>" in value or "$" not in value else "sign"
    elif name == "decoration" and value in ("!", "+"):
        header.decoration_sign = value
    elif is_text(text) and line >= 0:
        add_text(header.closing_texts if is_after_notes else header.texts, value, notices, line)


def tempo_of_field(text: str, unit: Fraction, notices: Notices, line: int) -> Tempo | None:
    """Read Q:, and say when it cannot be read."""
    tempo = read_tempo(text, unit)
    if tempo is None and text.strip():
        say_field(notices, "Q", text, "write a tempo as Q:1/4=120", line)
    return tempo


def say_field(notices: Notices, letter: str, value: str, remedy: str, line: int) -> None:
    """Note a field whose text cannot be read."""
    source = notices.lines[line] if 0 <= line < len(notices.lines) else ""
    column = source.find(value) + 1 if value else 1
    notices.add(
        "field",
        f"{letter}:{value} cannot be read and is ignored",
        remedy,
        line=line,
        column=max(column, 1),
        length=len(value) or 2,
    )


def say_key(notices: Notices, value: str, is_unknown: bool, unread: str, line: int) -> None:
    """Note a key, or a part of it, that cannot be read."""
    if is_unknown:
        say_field(notices, "K", value, "write a key as K:D, K:Em or K:A dorian", line)
    elif unread:
        source = notices.lines[line] if 0 <= line < len(notices.lines) else ""
        notices.add(
            "field",
            f"{unread!r} in K:{value} is not understood",
            "write a key as K:D, K:Em or K:A dorian",
            line=line,
            column=max(source.find(unread) + 1, 1),
            length=len(unread),
        )


def printed_clef(clef: str, value: str, notices: Notices, line: int) -> str:
    """``clef`` if it can be printed, else "" with a message."""
    if not clef or is_printed(clef):
        return clef
    source = notices.lines[line] if 0 <= line < len(notices.lines) else ""
    notices.add(
        "field",
        f"clef={clef} is not printed: the music stands in the instrument's own clef",
        line=line,
        column=max(source.find(value) + 1, 1),
        length=len(value),
    )
    return ""


def say_transposition(notices: Notices, semitones: int, line: int) -> None:
    """Note that transpose= is left to players of sound files."""
    if semitones:
        notices.add(
            "field",
            f"transpose={semitones} concerns playback and leaves the written notes as they are",
            line=line,
            column=1,
        )
