"""A tune's times as whole numbers of its own smallest step, for quick exact arithmetic.

Fractions are exact but slow; most of what is asked of times are sums, comparisons and remainders,
which whole numbers answer alike.
"""

from __future__ import annotations

import functools
import math
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.tune import Meter, Tune


class Same:
    """A tune as the key of something kept: only the very same tune is equal to it."""

    __slots__ = ("tune",)

    def __init__(self, tune: Tune) -> None:
        self.tune = tune

    def __hash__(self) -> int:
        return id(self.tune)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and self.tune is other.tune


class WholeTimes(NamedTuple):
    """Times in steps of which ``per_whole`` make a whole note. ``bars`` are (onset, duration) of
    each bar, ``notes`` those of the notes of each bar. A metre's unit is a number of steps, and
    so is half a whole note."""

    per_whole: int
    bars: tuple[tuple[int, int], ...]
    notes: tuple[tuple[tuple[int, int], ...], ...]

    def steps(self, time: Fraction) -> int:
        """``time``, which must be a time of this tune, in steps."""
        return time.numerator * (self.per_whole // time.denominator)

    def of_meter(self, meter: Meter) -> int:
        """The length of a full bar in steps, 0 when the metre is free."""
        return meter.beats * (self.per_whole // meter.unit)

    @property
    def end(self) -> Fraction:
        """When the last note or bar ends, in whole notes."""
        ends = [onset + duration for onset, duration in self.bars]
        ends += [onset + duration for notes in self.notes for onset, duration in notes]
        return Fraction(max(ends, default=0), self.per_whole)


def whole_times(tune: Tune) -> WholeTimes:
    """The times of ``tune``; those of the last few tunes are kept."""
    return _whole_times(Same(tune))


@functools.lru_cache(maxsize=4)
def _whole_times(same: Same) -> WholeTimes:
    bars = same.tune.bars
    parts = {time.denominator for bar in bars for time in (bar.onset, bar.duration)}
    for bar in bars:
        parts.update([note.onset.denominator for note in bar.notes])
        parts.update([note.duration.denominator for note in bar.notes])
    per_whole = math.lcm(2, *parts, *{bar.meter.unit for bar in bars if bar.meter.unit})
    factors = {part: per_whole // part for part in parts}

    def steps(time: Fraction) -> int:
        return time.numerator * factors[time.denominator]

    return WholeTimes(
        per_whole,
        tuple([(steps(bar.onset), steps(bar.duration)) for bar in bars]),
        tuple([tuple([(steps(n.onset), steps(n.duration)) for n in bar.notes]) for bar in bars]),
    )
