"""Keys and clefs, and the pitches of notes under them.

Clefs that a tune asks for in K: or V:.

Source: The ABC Music Standard 2.1, section 4.6: a name, the number of the line where it is not the
usual one, and +8 or -8. Names here are LilyPond's: "treble", "bass", "alto", "tenor" and those of
old practice, with "_8" (sounding an octave lower) or "^8".

Keys: the text of K:, with modes, explicit accidentals, clefs and octave shifts.

Source: The ABC Music Standard 2.1, sections 3.1.14 (key) and 4.6 (clefs and transposition).

Note texts to spelled pitches: accidentals, key signatures, octaves and ties.

Source: The ABC Music Standard 2.1, sections 4.1, 4.2 and 11.3 (propagate-accidentals). It has no
quarter-tones; they are read as programs of its family have them, with a fraction of a semitone
after the sign: ``^/c``, ``_3/2B`` (common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from tunebook.model.choices import Mode
from tunebook.model.tune import STEP_LETTERS, Key, Pitch
from tunebook.read.abc.drafts import Ticks, read_ratio, scaled

_NAME = r"(treble|bass|alto|tenor|soprano|mezzosoprano|baritone|perc|none|[GCF])([1-5]?)([+_^-]8)?"
_CLEF = re.compile(_NAME)
_ASKED = re.compile(r'\bclef\s*=\s*"?([\w+^-]{1,20})', re.ASCII)
_PROPERTY = re.compile(r'\b[A-Za-z]{1,20}\s?=\s?(?:"[^"]*"|\S+)')
_BY_LINE = {
    ("G", 1): "french",
    ("G", 2): "treble",
    ("C", 1): "soprano",
    ("C", 2): "mezzosoprano",
    ("C", 3): "alto",
    ("C", 4): "tenor",
    ("C", 5): "baritone",
    ("F", 3): "varbaritone",
    ("F", 4): "bass",
    ("F", 5): "subbass",
}
_SHAPES = {
    "treble": ("G", 2),
    "bass": ("F", 4),
    "alto": ("C", 3),
    "tenor": ("C", 4),
    "soprano": ("C", 1),
    "mezzosoprano": ("C", 2),
    "baritone": ("F", 3),
    "G": ("G", 2),
    "C": ("C", 3),
    "F": ("F", 4),
}


def read_clef(text: str) -> str:
    """The clef named in the properties of K: or V:, "" when none is. A clef that cannot be printed
    (perc, none, or one unknown) comes back as it stands, see :func:`is_printed`. A line on which
    a clef is never set counts as its usual one."""
    asked = _ASKED.search(text)
    if asked is not None:
        word = asked[1]
    else:
        words = _PROPERTY.sub(" ", text).split()
        named = [one for one in words if len(one) > 3 and one != "none" and _CLEF.fullmatch(one)]
        word = named[-1] if named else ""
    match = _CLEF.fullmatch(word)
    if match is None or match[1] not in _SHAPES:
        return word
    shape, usual = _SHAPES[match[1]]
    clef = _BY_LINE.get((shape, int(match[2] or usual))) or _BY_LINE[(shape, usual)]
    return clef + (match[3] or "").replace("+", "^").replace("-", "_")


def is_printed(clef: str) -> bool:
    """Whether a clef that :func:`read_clef` gave can be printed."""
    return re.sub(r"[_^]8$", "", clef) in _BY_LINE.values()


MODES: dict[str, Mode] = {
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
_MODE_FIFTHS: dict[Mode, int] = {
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
_CLEF_PROPERTY = re.compile(
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


def key_of(tonic_step: int, tonic_alter: int, mode: Mode) -> Key:
    """The key with the plain signature of ``mode`` on the given tonic."""
    fifths = _STEP_FIFTHS[tonic_step] + 7 * tonic_alter + _MODE_FIFTHS[mode]
    return Key(tonic_step, tonic_alter, mode, fifths, _signature(fifths))


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


def _read_mode(rest: str) -> tuple[Mode, bool, str]:
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
    return replace(key, fifths=fifths, alters=tuple(alters), explicit=explicit)


def read_properties(text: str) -> tuple[int | None, int, str]:
    """Octave shift (None when not given), transposition in semitones, and the rest of the text
    with clef words and name=value pairs taken out."""
    octaves: int | None = None
    semitones = 0
    for name, value in _CLEF_PROPERTY.findall(text):
        name, value = name.lower(), value.strip('"')
        if name == "octave" and re.fullmatch(r"[+-]?\d", value):
            octaves = (octaves or 0) + int(value)
        elif name in ("transpose", "t") and re.fullmatch(r"[+-]?\d{1,2}", value):
            semitones = int(value)
        elif name == "clef" and value.endswith(("+8", "-8")):
            octaves = (octaves or 0) + (1 if value.endswith("+8") else -1)
    rest = _CLEF_PROPERTY.sub(" ", text)
    words = []
    for word in rest.split():
        clef = _CLEF_WORD.fullmatch(word)
        if clef and word != "none":
            if clef[1]:
                octaves = (octaves or 0) + (1 if clef[1] == "+8" else -1)
        else:
            words.append(word)
    return octaves, semitones, " ".join(words)


_PARTS = re.compile(r"(\^\^|__|[\^_]\d{0,2}/\d{0,2}|[\^_=]|)([A-Ga-g])([,']*)(.*)$", re.DOTALL)
_SIGN_ALTERS: dict[str, float | None] = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0, "": None}
_MOST_ALTERED = 2.0
_MOST_KEPT = 20_000

NoteParts = tuple[float | None, int, int, int, int]
_parts_of: dict[str, NoteParts] = {}
_pitches: dict[tuple[int, int, float], Pitch] = {}


def pitch_of(octave: int, step: int, alter: float) -> Pitch:
    """The Pitch value, made once for each distinct one; ``alter`` in semitones, with halves."""
    place = (octave, step, alter)
    pitch = _pitches.get(place)
    if pitch is None:
        if len(_pitches) >= _MOST_KEPT:
            _pitches.clear()
        whole = int(alter)
        pitch = _pitches[place] = Pitch(octave, step, whole, round(2 * (alter - whole)))
    return pitch


def _alter_of(sign: str) -> float | None:
    """Semitones that an accidental stands for: ``^/`` and ``^1/2`` are half of one, ``_3/`` and
    ``_3/2`` one and a half; other fractions of a semitone count as the nearest half."""
    if "/" not in sign:
        return _SIGN_ALTERS[sign]
    top, _, bottom = sign[1:].partition("/")
    share = int(top or 1) / max(1, int(bottom or 2))
    halves = min(round(2 * share), round(2 * _MOST_ALTERED))
    return (halves if sign[0] == "^" else -halves) / 2


def read_note_text(text: str) -> NoteParts:
    """Alter written (or None), step, octave, and length as numerator and denominator.

    ``C`` is middle C, octave 4; small letters lie an octave higher, each comma lowers and each
    apostrophe raises by one (section 4.1); octaves beyond -1..9 are cut.
    """
    parts = _parts_of.get(text)
    if parts is None:
        match = _PARTS.match(text)
        assert match is not None
        letter, marks = match[2], match[3]
        octave = (4 if letter.isupper() else 5) + marks.count("'") - marks.count(",")
        step = STEP_LETTERS.index(letter.upper())
        numerator, denominator = read_ratio(match[4])
        parts = (_alter_of(match[1]), step, max(-1, min(9, octave)), numerator, denominator)
        if len(_parts_of) >= _MOST_KEPT:
            _parts_of.clear()
        _parts_of[text] = parts
    return parts


class PitchReader:
    """Knows the key, the accidentals of the bar so far and the tones tied over.

    ``rule`` is one of "pitch" (an accidental holds for its letter in all octaves to the end of
    the bar, the standard's default), "octave" (in its own octave) and "not" (for its note only).
    A tone tied over a bar line keeps its accidental; later notes of that bar do not take it over
    (common engraving practice, no source).
    """

    def __init__(self, key: Key, unit: Ticks) -> None:
        self.key_alters = key.alters
        self.rule = "pitch"
        self.octaves = 0
        self.unit = unit
        self.in_bar: dict[int, float] = {}
        self.tied: dict[tuple[int, int], float] = {}
        self.has_alteration = False
        self._lengths: dict[tuple[int, int], Ticks] = {}

    def set_key(self, key: Key) -> None:
        self.key_alters = key.alters
        self.in_bar.clear()

    def set_unit(self, unit: Ticks) -> None:
        self.unit = unit
        self._lengths.clear()

    def begin_bar(self) -> None:
        """Forget the bar's accidentals."""
        if self.in_bar:
            self.in_bar.clear()
        self.has_alteration = False

    def length(self, numerator: int, denominator: int) -> Ticks:
        """A length written as a multiple of the unit length, in ticks."""
        ratio = (numerator, denominator)
        ticks = self._lengths.get(ratio)
        if ticks is None:
            ticks = self._lengths[ratio] = scaled(self.unit, numerator, denominator)
        return ticks

    def sound(self, sign: float | None, step: int, octave: int) -> tuple[Pitch, bool]:
        """The pitch of a note, and whether a tie leads to it from the note before."""
        octave += self.octaves
        mark = step if self.rule == "pitch" else step + 7 * octave
        if sign is None:
            alter = self.in_bar.get(mark)
            if self.tied:
                held = self.tied.get((octave, step))
                if held is not None:
                    if alter is None and held != self.key_alters[step]:
                        self.has_alteration = True
                        return pitch_of(octave, step, held), True
                    alter = self.key_alters[step] if alter is None else alter
                    return pitch_of(octave, step, alter), alter == held
            if alter is None:
                alter = self.key_alters[step]
            return pitch_of(octave, step, alter), False
        self.has_alteration = True
        if self.rule != "not":
            self.in_bar[mark] = sign
        return pitch_of(octave, step, sign), self.tied.get((octave, step)) == sign
