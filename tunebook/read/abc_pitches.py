"""Note texts to spelled pitches: accidentals, key signatures, octaves and ties.

Source: The ABC Music Standard 2.1, sections 4.1, 4.2 and 11.3 (propagate-accidentals). It has no
quarter-tones; they are read as programs of its family have them, with a fraction of a semitone
after the sign: ``^/c``, ``_3/2B`` (common practice, no source).
"""

from __future__ import annotations

import re

from tunebook.model.tune import STEP_LETTERS, Key, Pitch
from tunebook.read.abc_lengths import Ticks, read_ratio, scaled

_PARTS = re.compile(r"(\^\^|__|[\^_]\d{0,2}/\d{0,2}|[\^_=]|)([A-Ga-g])([,']*)(.*)$", re.DOTALL)
_ALTERS: dict[str, float | None] = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0, "": None}
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
        return _ALTERS[sign]
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
