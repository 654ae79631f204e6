"""Time: the tempo of a tune, its times as whole numbers, and bars in which nothing is played.

A tune's own Q: field decides its tempo. Without a number there, a usual dance tempo for the tune
type is taken (our judgement: comfortable session tempi), else one for the metre. Speed matters
because the cost of a movement is its distance over the time there is for it.

Fractions are exact but slow. Most of what is asked of times are sums, comparisons and remainders,
which whole numbers of a tune's own smallest step answer alike.

In bars of rest no drone is held, and no chord is proposed."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple, TypeVar

from tunebook.model.arrangement import ChordSpan, DroneSpan
from tunebook.model.tune import Meter, Tune

SLOWEST, FASTEST = 0.05, 4.0
"""Bounds in whole notes a second outside which a tempo is taken for a slip of the pen."""

# Tune type: (note value that is counted, beats a minute). Our judgement.
DEFAULT_TEMPI: dict[str, tuple[Fraction, float]] = {
    "air": (Fraction(1, 4), 72),
    "barndance": (Fraction(1, 4), 160),
    "brudmarsch": (Fraction(1, 4), 92),
    "double jig": (Fraction(3, 8), 112),
    "gånglåt": (Fraction(1, 4), 104),
    "ganglat": (Fraction(1, 4), 104),
    "halling": (Fraction(1, 4), 104),
    "hambo": (Fraction(1, 4), 116),
    "hornpipe": (Fraction(1, 4), 156),
    "jig": (Fraction(3, 8), 112),
    "lament": (Fraction(1, 4), 66),
    "lullaby": (Fraction(1, 4), 76),
    "march": (Fraction(1, 4), 108),
    "marsch": (Fraction(1, 4), 108),
    "masurka": (Fraction(1, 4), 138),
    "mazurka": (Fraction(1, 4), 138),
    "menuett": (Fraction(1, 4), 112),
    "minuet": (Fraction(1, 4), 112),
    "polka": (Fraction(1, 4), 126),
    "polonaise": (Fraction(1, 4), 100),
    "polska": (Fraction(1, 4), 108),
    "reel": (Fraction(1, 2), 104),
    "reinlender": (Fraction(1, 4), 138),
    "schottis": (Fraction(1, 4), 144),
    "schottische": (Fraction(1, 4), 144),
    "skänklåt": (Fraction(1, 4), 92),
    "slängpolska": (Fraction(1, 4), 104),
    "slide": (Fraction(3, 8), 126),
    "slip jig": (Fraction(3, 8), 116),
    "song": (Fraction(1, 4), 92),
    "springlek": (Fraction(1, 4), 116),
    "strathspey": (Fraction(1, 4), 124),
    "vals": (Fraction(1, 4), 144),
    "waltz": (Fraction(1, 4), 144),
}
DEFAULT_SIMPLE = (Fraction(1, 4), 104.0)
DEFAULT_TRIPLE = (Fraction(1, 4), 112.0)
DEFAULT_COMPOUND = (Fraction(3, 8), 100.0)
DEFAULT_CUT = (Fraction(1, 2), 88.0)


def tempo_of(tune: Tune, override: float | None = None) -> tuple[float, bool]:
    """Speed of ``tune`` in whole notes a second, and whether it is a default.

    ``override`` is a tempo in beats a minute, the beat being that of the metre (a dotted beat in
    compound metres), and wins over the tune's own.
    """
    if override:
        return _speed(_beat(tune.meter), override), False
    if tune.tempo is not None and tune.tempo.whole_notes_per_second > 0:
        speed = tune.tempo.whole_notes_per_second
        if SLOWEST <= speed <= FASTEST:
            return speed, False
    beat, per_minute = default_tempo(tune.rhythm, tune.meter)
    return _speed(beat, per_minute), True


def default_tempo(rhythm: str, meter: Meter) -> tuple[Fraction, float]:
    """Usual tempo of a tune type: the note value counted and how many a minute."""
    name = re.sub(r"\s+", " ", rhythm).strip().casefold()
    if name in DEFAULT_TEMPI:
        return DEFAULT_TEMPI[name]
    known = [kind for kind in DEFAULT_TEMPI if re.search(rf"\b{re.escape(kind)}", name)]
    if known:
        return DEFAULT_TEMPI[max(known, key=len)]
    if meter.is_compound:
        return DEFAULT_COMPOUND
    if meter.sign == "C|" or meter.unit == 2:
        return DEFAULT_CUT
    return DEFAULT_TRIPLE if meter.beats == 3 else DEFAULT_SIMPLE


def _beat(meter: Meter) -> Fraction:
    if meter.is_compound:
        return Fraction(3, meter.unit)
    if meter.is_free:
        return Fraction(1, 4)
    return Fraction(1, 2) if meter.sign == "C|" else Fraction(1, meter.unit)


def _speed(beat: Fraction, per_minute: float) -> float:
    return min(FASTEST, max(SLOWEST, float(beat) * per_minute / 60.0))


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


_Span = TypeVar("_Span", ChordSpan, DroneSpan)


def rest_passages(tune: Tune) -> tuple[tuple[Fraction, Fraction], ...]:
    """(begin, end) in whole notes of the runs of bars that are wholly of rests."""
    passages: list[tuple[Fraction, Fraction]] = []
    for bar in tune.bars:
        if not bar.duration or any(not note.is_rest for note in bar.notes):
            continue
        begin, end = bar.onset, bar.onset + bar.duration
        if passages and passages[-1][1] == begin:
            begin = passages.pop()[0]
        passages.append((begin, end))
    return tuple(passages)


def drones_without_rests(spans: Iterable[DroneSpan], tune: Tune) -> tuple[DroneSpan, ...]:
    """The drones as they sound, silent through bars of rest; what is struck anew after them takes
    nothing over."""
    passages = rest_passages(tune)
    if not passages:
        return tuple(spans)
    found = []
    for span in spans:
        for number, (onset, duration) in enumerate(_left(span, passages)):
            is_taken_over = span.is_taken_over and number == 0 and onset == span.onset
            found.append(replace(span, onset=onset, duration=duration, is_taken_over=is_taken_over))
    return tuple(found)


def chords_without_rests(spans: Iterable[ChordSpan], tune: Tune) -> tuple[ChordSpan, ...]:
    """Chords, solved ones cut where the tune rests for whole bars; its own symbols stay."""
    passages = rest_passages(tune)
    if not passages:
        return tuple(spans)
    found = []
    for span in spans:
        if span.source == "tune":
            found.append(span)
            continue
        for onset, duration in _left(span, passages):
            found.append(
                replace(span, bar_index=_bar_at(tune, onset), onset=onset, duration=duration)
            )
    return tuple(found)


def _left(
    span: _Span, passages: Sequence[tuple[Fraction, Fraction]]
) -> list[tuple[Fraction, Fraction]]:
    """(onset, duration) of what is left of a span outside ``passages``."""
    left = []
    onset, end = span.onset, span.onset + span.duration
    for begin, stop in passages:
        if stop <= onset or begin >= end:
            continue
        if begin > onset:
            left.append((onset, begin - onset))
        onset = stop
    if onset < end:
        left.append((onset, end - onset))
    return left


def _bar_at(tune: Tune, onset: Fraction) -> int:
    return next(bar.index for bar in tune.bars if bar.onset <= onset < bar.onset + bar.duration)
