"""From places in a tune to seconds: tempi, speed, uneven beats, passages that get faster, count-in.

A metre's beat is the note of its lower number, in compound metres the dotted note of three. A
recording played slower is played slower and not stretched: only the times change, no pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tunebook.errors import InputError
from tunebook.model.arrangement import Arrangement
from tunebook.model.sound import SoundOrder
from tunebook.model.tune import Bar, Meter, Tune
from tunebook.write.midi import speeds_of_bars
from tunebook.write.tones import played_bars


@dataclass(frozen=True, slots=True)
class Click:
    """A beat of the metronome; ``is_first`` in its bar."""

    time_s: float
    is_first: bool


@dataclass(frozen=True, slots=True)
class Course:
    """The times of a performance. ``marks`` are places in whole notes, rising, and ``times_s``,
    parallel, when they are reached; between them time runs evenly. ``clicks`` are the beats,
    ``count_in`` those before the music."""

    marks: npt.NDArray[np.float64]
    times_s: npt.NDArray[np.float64]
    clicks: tuple[Click, ...] = ()
    count_in: tuple[Click, ...] = ()

    @property
    def start_s(self) -> float:
        """When the music begins."""
        return float(self.times_s[0])

    @property
    def end_s(self) -> float:
        """When the music ends, what rings on aside."""
        return float(self.times_s[-1])

    def seconds(self, places: Sequence[Fraction]) -> npt.NDArray[np.float64]:
        """When each of ``places`` (whole notes) is reached."""
        return np.interp([float(one) for one in places], self.marks, self.times_s)


def passage(tune: Tune, order: SoundOrder) -> tuple[Tune, tuple[float, ...]]:
    """Return the tune with what ``order`` wants of it as its played order, and the speed of each
    bar in that order, as a share of its own. Raises InputError when it has no such bars."""
    if order.repeats == "once":
        tune = replace(tune, played=_each_once(tune.bars))
    if order.loop is None:
        return tune, (order.speed,) * len(tune.played)
    once = _bars_between(tune, *order.loop)
    last = order.speed if order.last_speed is None else order.last_speed
    steps = np.linspace(order.speed, last, order.times) if order.times > 1 else [order.speed]
    speeds = tuple(round(float(speed), 9) for speed in steps for _ in once)
    return replace(tune, played=once * order.times), speeds


def _each_once(bars: Sequence[Bar]) -> tuple[int, ...]:
    """Every bar once, of numbered endings the last."""
    played: list[int] = []
    ending: list[int] = []  # the bars of the ending that is being walked through
    is_inside = False
    for bar in bars:
        if bar.ending:
            if not (ending and bars[ending[-1]].index + 1 == bar.index):
                played += ending
            ending, is_inside = [], True
        if is_inside:
            ending.append(bar.index)
            is_inside = not bar.ends_ending
        else:
            played += [*ending, bar.index]
            ending = []
    return (*played, *ending)


def _bars_between(tune: Tune, first: int, last: int) -> tuple[int, ...]:
    """The bars from number ``first`` to ``last`` as they are heard the first time."""
    numbers = [tune.bars[index].number for index in tune.played]
    if first in numbers:
        start = numbers.index(first)
        end = start
        while end < len(numbers) and numbers[end] <= last:
            end += 1
            if end < len(numbers) and numbers[end] < numbers[end - 1]:
                break  # it goes back to the beginning of a repeat
        if numbers[end - 1] == last:
            return tune.played[start:end]
    what = f"{tune.title!r} has no bars {first}-{last} that follow each other"
    raise InputError(what, "left out; name bars by the numbers in the book", tune.place)


def course_of(
    arrangement: Arrangement,
    speeds: Sequence[float],
    *,
    has_count_in: bool = False,
    beats: Sequence[tuple[str, Sequence[float]]] = (),
) -> Course:
    """Return the times of ``arrangement`` as its tune is played, with a factor to the speed of each
    bar heard. ``beats`` gives, by tune type, how long each beat of a bar is."""
    tune = arrangement.tune
    own = speeds_of_bars(tune, arrangement)
    marks, times = [0.0], [0.0]
    clicks: list[Click] = []
    shares = beats_of(tune.rhythm, beats)
    for heard, speed in zip(played_bars(tune), speeds, strict=True):
        per_second = own[heard.bar.index] * speed
        now = times[-1]
        for place, reached, is_beat, is_first in _bar_marks(heard.bar, shares):
            if is_beat:
                clicks.append(Click(now + reached / per_second, is_first))
            if place > 0:
                marks.append(float(heard.onset) + place)
                times.append(now + reached / per_second)
    count_in: tuple[Click, ...] = ()
    shift = 0.0
    if has_count_in and tune.played:
        first = tune.bars[tune.played[0]]
        count_in, shift = _count_in(first, own[first.index] * speeds[0])
    return Course(
        np.array(marks),
        np.array(times) + shift,
        tuple(Click(one.time_s + shift, one.is_first) for one in clicks),
        count_in,
    )


def beats_of(rhythm: str, beats: Sequence[tuple[str, Sequence[float]]]) -> Sequence[float]:
    """The lengths of the beats for a tune type (the text of R:), empty where they are even. The
    longest name that the type begins with decides."""
    kind = rhythm.strip().casefold()
    found = [one for one in beats if kind.startswith(one[0].casefold())]
    return max(found, key=lambda one: len(one[0]), default=("", ()))[1]


def beat_length(meter: Meter) -> Fraction:
    """A beat in whole notes; 0 in a free metre."""
    if meter.is_free:
        return Fraction(0)
    return Fraction(3 if meter.is_compound else 1, meter.unit)


def _bar_marks(bar: Bar, shares: Sequence[float]) -> list[tuple[float, float, bool, bool]]:
    """Places of a bar (whole notes from its beginning) with when each is reached (in whole notes of
    its tempo), and whether a beat begins there, and the bar's first.

    A bar that is shorter than its metre, as an upbeat or the part before a repeat sign, is the end
    of a bar when it is one or goes one on, else the beginning of one.
    """
    beat = beat_length(bar.meter)
    if not beat or not bar.duration:
        return [(0.0, 0.0, False, False), (float(bar.duration),) * 2 + (False, False)]
    count = int(bar.meter.length / beat)
    missing = bar.meter.length - bar.duration
    before = missing if missing > 0 and (bar.is_pickup or bar.is_continued) else Fraction(0)
    lengths = [1.0] * count
    if len(shares) == count and bar.duration <= bar.meter.length:
        lengths = [share * count / sum(shares) for share in shares]
    edges = np.concatenate(([0.0], np.cumsum(lengths))) * float(beat)
    even = np.arange(count + 1) * float(beat)
    start = float(np.interp(float(before), even, edges))

    def reached(place: Fraction) -> float:
        at = float(before + place)
        beyond = max(0.0, at - even[-1])
        return float(np.interp(at, even, edges)) + beyond - start

    places = [beat * number - before for number in range(int((before + bar.duration) / beat) + 1)]
    inside = [place for place in places if 0 <= place < bar.duration]
    found = [(float(p), reached(p), True, p + before == 0) for p in inside]
    return [*found, (float(bar.duration), reached(bar.duration), False, False)]


def _count_in(bar: Bar, whole_notes_per_s: float) -> tuple[tuple[Click, ...], float]:
    """The clicks of a whole bar, and of what an upbeat lacks of one; and how long they take."""
    beat = beat_length(bar.meter)
    if not beat:
        return (), 0.0
    count = int(bar.meter.length / beat)
    missing = max(Fraction(0), bar.meter.length - bar.duration)
    more = int(missing / beat) if bar.is_pickup else 0
    step_s = float(beat) / whole_notes_per_s
    # An upbeat that begins within a beat comes after the beat's own click.
    rest_s = float(missing - more * beat) / whole_notes_per_s if bar.is_pickup else 0.0
    total = count + more + (1 if rest_s else 0)
    clicks = tuple(Click(number * step_s, number % count == 0) for number in range(total))
    return clicks, (count + more) * step_s + rest_s
