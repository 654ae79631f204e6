"""Writes small made-up tunes as ABC, by rules of its own, for tests of reading back."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from hypothesis import strategies as st

LETTERS = "CDEFGAB"
SHARPS = "FCGDAEB"
KEYS = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "F": -1, "Bb": -2, "Eb": -3, "Am": 0, "Dm": -1}
SIGNS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}
LENGTHS = [Fraction(text) for text in ("1/16", "1/8", "3/16", "1/4", "3/8", "1/2", "1/12", "7/32")]


@dataclass(frozen=True)
class Tone:
    """A note of a made-up tune: step 0 = C, alteration, octave (4 holds middle C), length."""

    step: int
    alter: int
    octave: int
    length: Fraction
    is_rest: bool = False
    is_written_out: bool = False


def signature_of(key: str) -> dict[int, int]:
    """Alteration of each step in the key's signature."""
    fifths = KEYS[key]
    steps = SHARPS[:fifths] if fifths > 0 else SHARPS[::-1][: -fifths or None] if fifths else ""
    alter = 1 if fifths > 0 else -1
    return {step: alter if LETTERS[step] in steps else 0 for step in range(7)}


def write_tone(tone: Tone, in_force: dict[int, int], unit: Fraction) -> str:
    """The tone as ABC; an accidental is written where it is needed or asked for."""
    ratio = tone.length / unit
    length = "" if ratio == 1 else str(ratio.numerator)
    if ratio.denominator > 1:
        length = f"{'' if ratio.numerator == 1 else ratio.numerator}/{ratio.denominator}"
    if tone.is_rest:
        return f"z{length}"
    sign = ""
    if in_force[tone.step] != tone.alter or tone.is_written_out:
        sign = SIGNS[tone.alter]
        in_force[tone.step] = tone.alter
    letter = LETTERS[tone.step]
    if tone.octave >= 5:
        name = letter.lower() + "'" * (tone.octave - 5)
    else:
        name = letter + "," * (4 - tone.octave)
    return f"{sign}{name}{length}"


def write_tune(key: str, unit: Fraction, bars: list[list[Tone]]) -> str:
    """The whole tune as ABC."""
    written = []
    for bar in bars:
        in_force = signature_of(key)
        written.append(" ".join(write_tone(tone, in_force, unit) for tone in bar))
    return f"X:1\nT:Made up\nM:none\nL:{unit}\nK:{key}\n" + "|".join(written) + "|]\n"


tones = st.builds(
    Tone,
    step=st.integers(0, 6),
    alter=st.integers(-2, 2),
    octave=st.integers(2, 7),
    length=st.sampled_from(LENGTHS),
    is_rest=st.booleans(),
    is_written_out=st.booleans(),
)
bars = st.lists(st.lists(tones, min_size=1, max_size=8), min_size=1, max_size=6)
keys = st.sampled_from(sorted(KEYS))
units = st.sampled_from([Fraction(1, 4), Fraction(1, 8), Fraction(1, 16)])
