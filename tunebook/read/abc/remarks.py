"""Remarks that say something to this program: pins, and chords that it wrote into the text.

They are remark fields, ``[r:string D]``, ``[r:drone E4 finger 1]``, ``[r:drone off]``,
``[r:drone free]``, ``[r:accent D4 finger 1]`` and ``[r:accent off]`` (a double stop with the note
that follows, or none), ``[r:trill finger 3]`` (which finger trills),
``[r:note keep the little finger down]`` (printed under the staff), ``[r:solved Am 0.43]`` and
``[r:solved Am 0.43 after 1/4]`` (a chord that this program chose, how likely it is, and how long
after its note it begins), ``[r:chord D7 after 1/4]`` (a chord of the tune that begins while a note
sounds), which other programs pass over (The ABC Music Standard 2.1, section 3.1.20). Of the whole
tune speak ``r:line frame`` and ``r:key as written`` (``model/tune.py``). Everybody's
remarks stand there: what is plainly none of ours is left alone, what seems to be meant for us and
cannot be read is said.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.tune import STEP_LETTERS, STEP_SEMITONES, AccentPin, ChordSymbol, DronePin
from tunebook.read.abc.drafts import Attachments
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.symbols import read_chord_symbol

_NAME = r"(?:(?:low|high)\s+)*[\w#♯♭]{1,12}"
_STRING = re.compile(_NAME, re.I)
_DRONE = re.compile(
    r"([A-Ga-g])([#b]{0,2})(-?\d)(?:\s*finger\s*([0-4]))?"
    rf"(?:\s*string\s*({_NAME}))?(?:\s*finger\s*([0-4]))?(\s+strict)?",
    re.I,
)
_ACCENT = re.compile(r"([A-G])([#b]{0,2})(-?\d)(?:\s+finger\s+([0-4]))?", re.I | re.ASCII)
_TRILL = re.compile(r"finger\s+([1-4])", re.I | re.ASCII)
_SOLVED = re.compile(
    r"(\S{1,40})\s+([01](?:\.\d{1,3})?)(?:\s+after\s+(\d{1,6})(?:/(\d{1,6}))?)?", re.ASCII
)
_LATER = re.compile(r"(\S{1,40})\s+after\s+(\d{1,6})(?:/(\d{1,6}))?", re.ASCII)
_REMEDIES = {
    "string": "write [r:string D]",
    "drone": "write [r:drone E4 finger 1] or [r:drone off]",
    "accent": "write [r:accent D4 finger 1] or [r:accent off]",
    "trill": "write [r:trill finger 3]",
    "solved": "write [r:solved Am 0.43] before the symbol, or take the remark out",
    "finger": "write a finger as !2! before its note",
}
_VALUES = {
    "string": re.compile(r"([A-H][#b]?\d?|[1-9]|low\b.*|high\b.*)(\s\S+)?", re.I),
    "drone": re.compile(r"([A-H][#b]{0,2}-?\d?|off|none|free|finger|string)(\s.*)?", re.I),
    "accent": re.compile(r"([A-H][#b]{0,2}-?\d|off)(\s.*)?", re.I),
    "trill": re.compile(r"(finger\b\s*)?\d?", re.I),
    "solved": re.compile(r"\S+\s+[\d.,]+(\s.*)?"),
    "finger": re.compile(r"[0-9]"),
}
"""What is likely to have been meant as a value."""
_OTHER_NAMES = {"sträng": "string", "bordun": "drone", "off": "drone"}
_MOST_WORDS = 3
"""A remark that begins with a word of ours and goes on for longer is a sentence of somebody's."""
_FARTHEST = 2


def attach_remark(
    attached: Attachments, text: str, notices: Notices, line: int, column: int, length: int
) -> None:
    """Read a remark of ours; say what seems to be one and is not; leave all others alone."""
    text = text.strip()
    head = re.match(r"[^\W\d_]+", text)
    if head is None:
        return
    word, value = head[0].casefold(), text[head.end() :].strip()
    if word == "note" and text[len(word) :][:1].isspace():
        attached.remark = f"{attached.remark}; {value}" if attached.remark else value
        return
    if word in ("string", "drone", "accent", "trill", "solved", "chord") and _attach(
        attached, word, value, notices.place(line, column)
    ):
        return
    meant = _meant(word, value)
    if meant:
        notices.add(
            "pin",
            f"the remark {text!r} looks like one about a {_SUBJECTS[meant]} and cannot be read",
            _REMEDIES[meant],
            line=line,
            column=column,
            length=length,
        )


_SUBJECTS = {
    "string": "string",
    "drone": "drone",
    "accent": "double stop",
    "trill": "trill",
    "solved": "chord",
    "finger": "finger",
}


def _attach(attached: Attachments, word: str, value: str, place: SourcePlace) -> bool:
    """Attach what the remark says; False when it says nothing that can be read."""
    if word == "string":
        if _STRING.fullmatch(value) is None:
            return False
        attached.string_pin = value
        return True
    if word == "drone":
        pin = _read_drone(value, place)
        attached.drone_pin = pin or attached.drone_pin
        return pin is not None
    if word == "accent":
        accent = _read_accent(value, place)
        attached.accent_pin = accent or attached.accent_pin
        return accent is not None
    if word == "trill":
        trill = _TRILL.fullmatch(value)
        attached.trill_pin = attached.trill_pin if trill is None else int(trill[1])
        return trill is not None
    if word == "chord":
        return _attach_later(attached, value, place)
    found = _SOLVED.fullmatch(value)
    chord = None if found is None else read_chord_symbol(found[1], place)
    confidence = 0.0 if found is None else float(found[2])
    if found is None or chord is None or confidence > 1:
        return False
    chord = replace(chord, solved_confidence=confidence)
    if found[3] is None:
        attached.solved = chord
        return True
    if found[4] is not None and int(found[4]) == 0:
        return False
    attached.later_chords.append((Fraction(int(found[3]), int(found[4] or 1)), chord))
    return True


def _attach_later(attached: Attachments, value: str, place: SourcePlace) -> bool:
    """A chord of the tune that begins so long after its note."""
    found = _LATER.fullmatch(value)
    chord = None if found is None else read_chord_symbol(found[1], place)
    if found is None or chord is None or (found[3] is not None and not int(found[3])):
        return False
    attached.later_chords.append((Fraction(int(found[2]), int(found[3] or 1)), chord))
    return True


def chord_as_marked(chord: ChordSymbol, solved: ChordSymbol | None) -> ChordSymbol:
    """``chord`` with the probability that a remark before it gives, unless somebody has changed
    the symbol since."""
    if solved is None or solved.text != chord.text:
        return chord
    return replace(chord, solved_confidence=solved.solved_confidence)


def _read_drone(text: str, place: SourcePlace) -> DronePin | None:
    if text.casefold() in ("off", "none"):
        return DronePin(place, None)
    if text.casefold() == "free":
        return DronePin(place, None, is_free=True)
    match = _DRONE.fullmatch(text)
    if match is None or (match[4] and match[6]):
        return None
    midi = _midi_of(match[1], match[2], match[3])
    finger = match[4] or match[6]
    return DronePin(
        place, midi, int(finger) if finger else None, match[5], is_strict=match[7] is not None
    )


def _read_accent(text: str, place: SourcePlace) -> AccentPin | None:
    if text.casefold() == "off":
        return AccentPin(place, None)
    match = _ACCENT.fullmatch(text)
    if match is None:
        return None
    finger = int(match[4]) if match[4] else None
    return AccentPin(place, _midi_of(match[1], match[2], match[3]), finger)


def _midi_of(letter: str, signs: str, octave: str) -> int:
    step = STEP_LETTERS.index(letter.upper())
    alter = signs.count("#") - signs.count("b")
    return 12 * (int(octave) + 1) + STEP_SEMITONES[step] + alter


def _meant(word: str, value: str) -> str:
    """Which of our remarks was probably meant; "" for somebody's own."""
    if word in ("string", "drone"):
        is_sentence = len(value.split()) > _MOST_WORDS
        return "" if is_sentence and not _VALUES[word].fullmatch(value) else word
    if word in _VALUES:
        return word if _VALUES[word].fullmatch(value) else ""
    for own in ("string", "drone", "accent"):
        if word.startswith(own) and _VALUES[own].fullmatch(f"{word[len(own) :]} {value}".strip()):
            return own
        is_near = _OTHER_NAMES.get(word) == own or _distance(word, own) <= _FARTHEST
        if is_near and _VALUES[own].fullmatch(value.lstrip(":=, ")):
            return own
    return ""


def _distance(word: str, other: str) -> int:
    """Least number of letters to change, leave out, add, or exchange with their neighbour (Damerau
    1964, Communications of the ACM 7(3)); words of much different length are far apart."""
    if abs(len(word) - len(other)) > _FARTHEST:
        return _FARTHEST + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for at, letter in enumerate(word):
        last, before, row = before, row, [at + 1]
        for place, wanted in enumerate(other):
            cost = min(before[place] + (letter != wanted), before[place + 1] + 1, row[place] + 1)
            if at and place and letter == other[place - 1] and word[at - 1] == wanted:
                cost = min(cost, last[place - 1] + 1)
            row.append(cost)
    return row[-1]
