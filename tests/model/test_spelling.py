"""Spelling along the line of fifths; names as musicians write them (common practice, no source)."""

from __future__ import annotations

import pytest

from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import Pitch
from tunebook.read.abc.tune import read_abc


@pytest.mark.parametrize(
    ("key", "pitch_class", "name"),
    [
        ("Am", 8, "G#"), ("Gm", 6, "F#"), ("Dm", 1, "C#"), ("Em", 3, "D#"), ("Gm", 10, "Bb"),
        ("C", 10, "Bb"), ("D", 6, "F#"), ("D", 8, "G#"), ("F", 11, "B"), ("Eb", 8, "Ab"),
        ("Ddor", 1, "C#"), ("D exp ^c _e", 3, "Eb"),
    ],
)  # fmt: skip
def test_a_tone_is_named_as_its_key_has_it(key: str, pitch_class: int, name: str) -> None:
    (tune,) = read_abc(f"X:1\nT:x\nM:4/4\nK:{key}\nD4|]\n")
    step, alter = spell_in_key(pitch_class, tune.key)
    assert Pitch(4, step, alter).name == f"{name}4"
