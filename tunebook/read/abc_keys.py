"""Keys: the text of K:, with modes, explicit accidentals, clefs and octave shifts.

Source: The ABC Music Standard 2.1, sections 3.1.14 (key) and 4.6 (clefs and transposition).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from tunebook.model.tune import STEP_LETTERS, Key
from tunebook.read.clefs import read_clef

MODES = {
    "maj": "ionian",
    "ion": "ionian",
    "": "ionian",
    "m": "aeolian",
    "min": "aeolian",
    "aeo": "aeolian",
    "mix": "mixolydian",
    "dor": "dorian",
    "phr": "phrygian",
    "lyd": "lydian",
    "loc": "locrian",
}
_MODE_FIFTHS = {
    "lydian": 1,
    "ionian": 0,
    "mixolydian": -1,
    "dorian": -2,
    "aeolian": -3,
    "phrygian": -4,
    "locrian": -5,
}
_STEP_FIFTHS = (0, 2, 4, -1, 1, 3, 5)
_SHARP_ORDER = (3, 0, 4, 1, 5, 2, 6)
_ALTERS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
NO_KEY = Key(mode="none")

_LONGEST = 200
_TONIC = re.compile(r"([A-G])\s?([#b♯♭]?)")
_MODE = re.compile(r"\s*([A-Za-z]+)(?![A-Za-z])(?!=(?![A-Ga-g](?![A-Za-z0-9])))")
_EXPLICIT = re.compile(r"(\^\^?|__?|=)\s*([A-Ga-g])(?![A-Za-z])")
_PROPERTY = re.compile(
    r"\b(clef|octave|transpose|t|middle|m|stafflines|staffscale|style|score|sound|shift|instrument"
    r"|name|nm|sname|snm|subname|merge|up|down|gch|stem|space|cue|map|program|lyrics|dyn|brace"
    r'|bracket|gracenotes|gstem|volume)\s*=\s*("[^"]*"|\S+)',
    re.IGNORECASE,
)
_CLEF_WORD = re.compile(
    r"(?:treble|bass|tenor|alto|perc|none|soprano|mezzosoprano|baritone)\d?([+-]8)?"
)


@dataclass(frozen=True, slots=True)
class KeyField:
    """What K: said. ``key`` is None where it names none (only a clef, say). ``octaves`` is the
    shift of the notes by octave= or a clef with 8; ``semitones`` that of transpose= (playback
    only); ``unread`` the words nobody understood; ``clef`` as ``clefs.read_clef`` names it."""

    key: Key | None
    octaves: int | None = None
    semitones: int = 0
    unread: str = ""
    clef: str = ""


def key_of(tonic_step: int, tonic_alter: int, mode: str) -> Key:
    """The key with the plain signature of ``mode`` on the given tonic."""
    fifths = _STEP_FIFTHS[tonic_step] + 7 * tonic_alter + _MODE_FIFTHS[mode]
    return Key(tonic_step, tonic_alter, mode, fifths, _signature(fifths), ())


def _signature(fifths: int) -> tuple[int, ...]:
    alters = [0] * 7
    order = _SHARP_ORDER if fifths > 0 else _SHARP_ORDER[::-1]
    for count in range(abs(fifths)):
        alters[order[count % 7]] += 1 if fifths > 0 else -1
    return tuple(alters)


_kept: dict[str, KeyField] = {}


def read_key(text: str) -> KeyField:
    """Read the text of K: (or the properties of V:, which share clef, octave and transpose)."""
    if len(text) > _LONGEST:
        return KeyField(None, None, 0, text[:20])
    field = _kept.get(text)
    if field is None:
        if len(_kept) > 2000:
            _kept.clear()
        field = replace(_read_key(text.strip()), clef=read_clef(text))
        _kept[text] = field
    return field


def _read_key(text: str) -> KeyField:
    octaves, semitones, rest = read_properties(text)
    if rest.lower() == "none" or not text:
        return KeyField(NO_KEY, octaves, semitones)
    if rest[:2] in ("HP", "Hp"):
        bagpipe = key_of(5, 0, "mixolydian")
        return KeyField(bagpipe, octaves, semitones, rest[2:].strip())
    tonic = _TONIC.match(rest)
    if not tonic:
        return _key_without_tonic(rest, octaves, semitones)
    step = STEP_LETTERS.index(tonic[1])
    alter = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[tonic[2]]
    rest = rest[tonic.end() :]
    mode, is_bare, rest = _read_mode(rest)
    key = key_of(step, alter, mode)
    explicit = _read_explicit(rest)
    rest = _EXPLICIT.sub("", rest).strip()
    if is_bare or explicit:
        key = _with_explicit(key, explicit, is_bare)
    return KeyField(key, octaves, semitones, rest)


def _read_mode(rest: str) -> tuple[str, bool, str]:
    """Mode, whether only explicit accidentals count, and the text left over."""
    match = _MODE.match(rest)
    if not match:
        return "ionian", False, rest
    word = match[1].lower()
    if word == "exp":
        return "ionian", True, rest[match.end() :]
    mode = MODES.get(word) or MODES.get(word[:3])
    if mode is None:
        return "ionian", False, rest
    return mode, False, rest[match.end() :]


def _key_without_tonic(rest: str, octaves: int | None, semitones: int) -> KeyField:
    explicit = _read_explicit(rest)
    left = _EXPLICIT.sub("", rest).strip()
    if left.lower() == "exp":
        left = ""
    if explicit:
        return KeyField(_with_explicit(NO_KEY, explicit, True), octaves, semitones, left)
    return KeyField(None, octaves, semitones, left)


def _read_explicit(text: str) -> tuple[tuple[int, int], ...]:
    return tuple(
        (STEP_LETTERS.index(letter.upper()), _ALTERS[sign])
        for sign, letter in _EXPLICIT.findall(text)
    )


def _with_explicit(key: Key, explicit: tuple[tuple[int, int], ...], is_bare: bool) -> Key:
    alters = [0] * 7 if is_bare else list(key.alters)
    for step, alter in explicit:
        alters[step] = alter
    fifths = 0 if is_bare else key.fifths
    return Key(key.tonic_step, key.tonic_alter, key.mode, fifths, tuple(alters), explicit)


def read_properties(text: str) -> tuple[int | None, int, str]:
    """Octave shift (None when not given), transposition in semitones, and the rest of the text
    with clef words and name=value pairs taken out."""
    octaves: int | None = None
    semitones = 0
    for name, value in _PROPERTY.findall(text):
        name, value = name.lower(), value.strip('"')
        if name == "octave" and re.fullmatch(r"[+-]?\d", value):
            octaves = (octaves or 0) + int(value)
        elif name in ("transpose", "t") and re.fullmatch(r"[+-]?\d{1,2}", value):
            semitones = int(value)
        elif name == "clef" and value.endswith(("+8", "-8")):
            octaves = (octaves or 0) + (1 if value.endswith("+8") else -1)
    rest = _PROPERTY.sub(" ", text)
    words = []
    for word in rest.split():
        clef = _CLEF_WORD.fullmatch(word)
        if clef and word != "none":
            if clef[1]:
                octaves = (octaves or 0) + (1 if clef[1] == "+8" else -1)
        else:
            words.append(word)
    return octaves, semitones, " ".join(words)
