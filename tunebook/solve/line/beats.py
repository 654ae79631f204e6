"""The beats of a bar, as a beginner counts them, and how strong each is.

Metrical strength follows the grid of Lerdahl & Jackendoff, A Generative Theory of Tonal Music
(1983), chapter 4 (from memory): the beginning of a bar is strongest, its middle comes next where it
has an even number of beats, then the other beats, then what lies between them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.tune import Bar, Meter

MOST_BEATS_A_MINUTE = 160.0
"""Beats that come faster are counted two by two, if that leaves two in a bar (our judgement of what
a beginner can follow)."""

BAR, HALF, BEAT, BETWEEN = range(4)
"""Strengths, the strongest first."""


@dataclass(frozen=True, slots=True)
class Beat:
    """A beat of a bar, or what an upbeat or an odd bar has of one. Times are whole notes of the
    written tune, ``strength`` one of BAR, HALF, BEAT, BETWEEN."""

    bar_index: int
    onset: Fraction
    length: Fraction
    strength: int

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


def beats_of(bar: Bar, whole_notes_per_second: float) -> tuple[Beat, ...]:
    """The beats of a bar that takes time. An upbeat, or the second half of a bar that a repeat sign
    cuts, ends with the bar's last beat; what is left over stands between."""
    lengths = beat_lengths(bar.meter, whole_notes_per_second)
    whole = sum(lengths, Fraction(0))
    is_late = (bar.is_pickup or bar.is_continued) and bar.duration < whole
    now = bar.onset - (whole - bar.duration if is_late else 0)
    end = bar.onset + bar.duration
    found: list[Beat] = []
    at = 0
    while now < end:
        length = lengths[at % len(lengths)]
        start, stop = max(now, bar.onset), min(now + length, end)
        if stop > start:
            strength = _strength(at, len(lengths)) if start == now else BETWEEN
            found.append(Beat(bar.index, start, stop - start, strength))
        now += length
        at += 1
    return tuple(found)


def beat_lengths(meter: Meter, whole_notes_per_second: float) -> tuple[Fraction, ...]:
    """The lengths of the beats of a full bar; one of a quarter where the metre is free."""
    if meter.is_free:
        return (Fraction(1, 4),)
    unit = Fraction(1, meter.unit)
    if len(meter.groups) > 1:
        return tuple(group * unit for group in meter.groups)
    beat = 3 * unit if meter.is_compound else unit
    if meter.sign == "C|":
        beat = Fraction(1, 2)
    count = int(meter.length / beat)
    factor = _factor(meter, count)
    while factor > 1 and _beats_a_minute(beat, whole_notes_per_second) > MOST_BEATS_A_MINUTE:
        beat, count = factor * beat, count // factor
        factor = _factor(meter, count)
    return (beat,) * max(1, count)


def _factor(meter: Meter, count: int) -> int:
    """How many beats may be counted as one: two where two of those are left, all of a 3/8."""
    if count > 2 and count % 2 == 0:
        return 2
    return 3 if meter.unit >= 8 and count == 3 else 1


def _beats_a_minute(beat: Fraction, whole_notes_per_second: float) -> float:
    return 60.0 * whole_notes_per_second / float(beat)


def _strength(at: int, count: int) -> int:
    place = at % count
    if place == 0:
        return BAR
    return HALF if count % 2 == 0 and place == count // 2 and count > 2 else BEAT


def is_one_note(length: Fraction) -> bool:
    """Whether one note, dotted or not, can be written for so long."""
    return length.numerator in (1, 3) and length.denominator & (length.denominator - 1) == 0
