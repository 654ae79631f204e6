"""How well a held tone goes with a melody.

Source of the table: Huron 1994 (see data/harmony/consonance.toml). Each tone of the melody counts
with its length and with where in the bar it begins.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import resources

from tunebook.model.tune import Bar, Tune
from tunebook.solve.whole_times import Same, WholeTimes, whole_times


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


def weigh_tones(tune: Tune, bars: Iterable[Bar] | None = None) -> tuple[float, ...]:
    """Weight of each pitch class (0 = C) in these bars: length in whole notes times accent."""
    weighed = _weighed_bars(Same(tune))
    weights = [0.0] * 12
    for bar in tune.bars if bars is None else bars:
        for pitch_class, weight in weighed[bar.index]:
            weights[pitch_class] += weight
    return tuple(weights)


@functools.lru_cache(maxsize=1)
def _weighed_bars(same: Same) -> list[list[tuple[int, float]]]:
    """(pitch class, weight) of every tone of each bar."""
    times = whole_times(same.tune)
    found = []
    for bar, notes in zip(same.tune.bars, times.notes, strict=True):
        tones: list[tuple[int, float]] = []
        for note, (onset, duration) in zip(bar.notes, notes, strict=True):
            if note.is_grace or note.is_rest:
                continue
            weight = duration / times.per_whole * _accent(bar, onset, times)
            count = len(note.pitches)
            tones += [(pitch.midi % 12, weight / count) for pitch in note.pitches]
        found.append(tones)
    return found


def consonance(midi: int, tones: Sequence[float]) -> float:
    """Consonance, 0 (harsh) to 1, of a held tone with tones weighted as by ``weigh_tones``."""
    table = consonance_table()
    total = sum(tones)
    if total <= 0:
        return 0.0
    value = sum(
        weight * table.of_interval(pitch_class - midi) for pitch_class, weight in enumerate(tones)
    )
    return table.scaled(value / total)


def _accent(bar: Bar, onset: int, times: WholeTimes) -> float:
    at_bar, at_beat, between = consonance_table().accents
    start, duration = times.bars[bar.index]
    into = onset - start
    if bar.is_pickup:
        into += times.of_meter(bar.meter) - duration
    if into == 0:
        return at_bar
    beat = (3 if bar.meter.is_compound else 1) * (times.per_whole // bar.meter.unit)
    return at_beat if into % beat == 0 else between
