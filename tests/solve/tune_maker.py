"""Tunes built by hand, so that tests of the solver need no reader."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.tune import STEP_LETTERS, Bar, Key, Meter, Note, Pitch, Tempo, Tune

PLACE = SourcePlace("tune.abc", 1, 1)


def pitch(name: str) -> Pitch:
    """Pitch from "F#4"."""
    match = re.fullmatch(r"([A-G])(#|b)?(\d)", name)
    assert match, name
    alter = {"#": 1, "b": -1, None: 0}[match.group(2)]
    return Pitch(int(match.group(3)), STEP_LETTERS.index(match.group(1)), alter)


def note(names: str, onset: Fraction, duration: Fraction, **fields: object) -> Note:
    """A note, a chord "G3+B3" or a rest ""."""
    pitches = tuple(pitch(name) for name in names.split("+") if name)
    return Note(PLACE, pitches, onset, duration, duration, **fields)  # type: ignore[arg-type]


def tune(
    bars: Sequence[Sequence[tuple] | str],
    *,
    length: Fraction = Fraction(1, 8),
    played: Sequence[int] | None = None,
    meter: Meter | None = None,
    tempo: Tempo | None = None,
    signs: dict[int, str] | None = None,
) -> Tune:
    """A tune from bars. A bar is "A4 B4 z C#5" (each of ``length``) or a list of
    (names, duration, fields)."""
    built = []
    onset = Fraction(0)
    for index, bar in enumerate(bars):
        start = onset
        notes = []
        items: list[tuple] = (
            [("" if word == "z" else word, length) for word in bar.split()]
            if isinstance(bar, str)
            else list(bar)
        )
        for item in items:
            names, duration, *rest = item
            fields = rest[0] if rest else {}
            notes.append(note(names, onset, Fraction(duration), **fields))
            if not fields.get("is_grace"):
                onset += Fraction(duration)
        built.append(
            Bar(
                PLACE, index, index + 1, tuple(notes), start, onset - start,
                meter or Meter(), Key(), sign_before=(signs or {}).get(index, ""),
            )
        )  # fmt: skip
    return Tune(
        place=PLACE, number="1", titles=("Tune",), composer="", origin="", rhythm="",
        key=Key(), meter=meter or Meter(), unit_length=Fraction(1, 8), tempo=tempo,
        bars=tuple(built), played=tuple(range(len(built)) if played is None else played),
    )  # fmt: skip


def line(names: str, length: Fraction = Fraction(1, 8)) -> Tune:
    """A tune of one bar."""
    return tune([names], length=length)
