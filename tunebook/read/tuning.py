"""Tunings written by players: "CGDA", "C3,G3,D4,A4", "Bb F Bb G".

Pitches are in scientific pitch notation (Young 1939), middle C is C4. A letter without an octave
takes the octave that brings it nearest to the string's pitch in the profile's own tuning.
"""

from __future__ import annotations

import re

from tunebook.errors import SettingError
from tunebook.model.tune import STEP_LETTERS, STEP_SEMITONES

PITCH_PATTERN = re.compile(r"([A-Ga-g])(#|b|♯|♭)?(-?\d)?")
SEPARATORS = re.compile(r"[\s,;]+")


def read_pitch(text: str) -> tuple[str, int | None, int]:
    """Read one pitch: its name without octave, its octave (None when not given) and its semitone
    above C of that octave. Raises SettingError when ``text`` is no pitch."""
    match = PITCH_PATTERN.fullmatch(text.strip())
    if match is None:
        raise SettingError(f"{text!r} is no pitch", "write it as C3, F#4 or Bb3")
    letter = match.group(1).upper()
    sign = {"♯": "#", "♭": "b"}.get(match.group(2) or "", match.group(2) or "")
    semitone = STEP_SEMITONES[STEP_LETTERS.index(letter)] + {"#": 1, "b": -1, "": 0}[sign]
    octave = None if match.group(3) is None else int(match.group(3))
    return letter + sign, octave, semitone


def midi_of(text: str) -> int:
    """MIDI number of a pitch with its octave. Raises SettingError."""
    _, octave, semitone = read_pitch(text)
    if octave is None:
        raise SettingError(f"{text!r} has no octave", "write it as C3, F#4 or Bb3")
    return 12 * (octave + 1) + semitone


def read_tuning(text: str, reference: tuple[int, ...]) -> tuple[tuple[str, int], ...]:
    """Read a list of open strings, lowest string first: (letter, MIDI number) of each.

    ``reference`` is the profile's own tuning in MIDI numbers. Raises SettingError when the number
    of strings differs or a pitch cannot be read.
    """
    pieces = [piece for piece in SEPARATORS.split(text.strip()) if piece]
    if len(pieces) == 1 and len(reference) > 1:
        pieces = _cut_letters(pieces[0])
    if len(pieces) != len(reference):
        raise SettingError(
            f"tuning {text!r} names {len(pieces)} strings, the instrument has {len(reference)}",
            "name every string from the lowest, as C3,G3,D4,A4",
        )
    strings = []
    for piece, near in zip(pieces, reference, strict=True):
        name, octave, semitone = read_pitch(piece)
        if octave is None:
            midi = near + (semitone - near + 6) % 12 - 6
        else:
            midi = 12 * (octave + 1) + semitone
        strings.append((name, midi))
    return tuple(strings)


def _cut_letters(text: str) -> list[str]:
    """Cut "CGDA" or "BbFBbG" into pitches."""
    pieces = []
    position = 0
    pattern = re.compile(r"[A-G](#|b|♯|♭)?(-?\d)?")
    while position < len(text):
        match = pattern.match(text, position)
        if match is None:
            raise SettingError(
                f"tuning {text!r} cannot be read at {text[position:]!r}",
                "name every string from the lowest, as CGDA or C3,G3,D4,A4",
            )
        pieces.append(match.group())
        position = match.end()
    return pieces


def name_strings(strings: tuple[tuple[str, int], ...]) -> tuple[str, ...]:
    """Names to tell the strings apart: the letter, and "low C" for the lower of two Cs."""
    letters = [letter for letter, _ in strings]
    names = []
    for index, letter in enumerate(letters):
        names.append("low " * letters[index + 1 :].count(letter) + letter)
    return tuple(names)
