"""How well two tones go together, by interval class.

Source of the table: Huron 1994 (see data/harmony/consonance.toml); the weights of tones by where
in the bar they begin are ours.
"""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from importlib import resources


@dataclass(frozen=True, slots=True)
class ConsonanceTable:
    """``by_class[i]`` is the consonance of interval class i (0 to 6 semitones); ``accents`` are the
    weights of tones that begin a bar, a beat, or between."""

    by_class: tuple[float, ...]
    accents: tuple[float, float, float]

    def of_interval(self, semitones: int) -> float:
        """Consonance of an interval of any size: octaves do not count, nor which tone is lower."""
        within = semitones % 12
        return self.by_class[min(within, 12 - within)]

    def scaled(self, value: float) -> float:
        """The value laid between 0 (the harshest class) and 1 (the most consonant)."""
        low, high = min(self.by_class), max(self.by_class)
        return (value - low) / (high - low)


@functools.lru_cache(maxsize=1)
def consonance_table() -> ConsonanceTable:
    """Read the table that comes with the program."""
    text = resources.files("tunebook").joinpath("data/harmony/consonance.toml").read_text("utf-8")
    data = tomllib.loads(text)
    accent = data["accent"]
    return ConsonanceTable(
        tuple(data["interval_class"]), (accent["bar"], accent["beat"], accent["between"])
    )
