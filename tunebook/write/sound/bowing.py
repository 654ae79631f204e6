"""Strokes of the bow made into samples: one part at a time, block by block.

A tone is a pure function of its place in time, so that a block needs nothing of the one before:
memory is bounded, and the same strokes give the same samples on every run.
"""

from __future__ import annotations

import functools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from tunebook.model.instrument import Instrument
from tunebook.model.sound import SoundChoice
from tunebook.write.sound.noise import (
    NOISE_SAMPLES,
    SCRATCHES,
    WANDER_STEP,
    bow_rush,
    key_knocks,
    scratches,
    slip_bursts,
    wanderings,
)
from tunebook.write.sound.performance import Stroke
from tunebook.write.sound.resonance import BLOCK
from tunebook.write.sound.strings import (
    RATE,
    StringSound,
    Tables,
    Wave,
    looked_up,
    places_of,
    string_sound,
    tables_for,
)
from tunebook.write.sound.timing import Course

# How a tone begins and ends: all of it is our judgement.
_RISE_S = 0.008
_RENEWED_RISE_S = 0.014
_SLUR = RATE * 6 // 1000
_TURN = RATE * 30 // 1000  # the bow slows down so long before it turns
_TURN_SHARE = 0.25  # and so much is left of the tone then
_LEFT_SHARE = 0.5  # and of a string that the bow leaves in the middle of a slur
_STOP_RING_S = 0.10  # the bow stays on the string
_LEAST_REST_S = 0.12  # after which the bow has left the string
_OVERLAP = RATE * 60 // 1000  # a string rings on under a fresh stroke so long at most
_FADE = RATE // 100
_SHORTEST = 64
_ACCENT, _ACCENT_S = 0.18, 0.15  # a stroke begins louder by so much, for so long
_BRIGHT_S = 0.15
_RUSH = 0.028
_RUSH_OF_STROKE, _RUSH_OF_STROKE_S = 7.0, 0.022
_KNOCK = 0.11
_KNOCK_BEFORE = RATE * 4 // 1000
_WANDER_CENTS, _WANDER_LEVEL = 0.8, 0.05
_CENT = float(np.log(2.0) / 1200.0)


BeginKind = Literal["fresh", "slurred", "renewed"]
"""With a stroke of its own, under the bow that is on its way, or with a turn of the bow on a string
that sounds already."""
EndKind = Literal["joins", "is left", "stops", "lifts"]
"""The string goes on with another tone under the same bow; the bow goes on to another string; it
turns or stays on the string; it leaves the string after its stroke."""


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone in samples: bowed from ``start`` to ``end``, ringing until ``last``. ``phase`` is that
    at ``start``, in periods; ``number`` tells tones apart where chance comes in."""

    start: int
    end: int
    last: int
    hz: float
    level: float
    sound: StringSound
    ring_s: float
    phase: float
    number: int
    begin_kind: BeginKind
    end_kind: EndKind
    has_knock: bool


class Wandering:
    """The slow changes of one player's pitch and loudness."""

    def __init__(self, player: int) -> None:
        drift, level = wanderings()
        shift = 977 * player
        self._drift = np.roll(drift, shift) * (_WANDER_CENTS * _CENT * WANDER_STEP / RATE)
        self._level = np.roll(level, shift) * _WANDER_LEVEL

    def seconds(self, first: int, count: int) -> npt.NDArray[np.float64]:
        """The time of each sample, ahead or behind by what the pitch has strayed so far."""
        return np.arange(first, first + count) / RATE + self._at(self._drift, first, count)

    def second(self, sample: int) -> float:
        """The time of one sample, in the same way."""
        return float(self.seconds(sample, 1)[0])

    def levels(self, first: int, count: int) -> Wave:
        """The loudness around 1."""
        return (1.0 + self._at(self._level, first, count)).astype(np.float32)

    @staticmethod
    def _at(values: npt.NDArray[np.float64], first: int, count: int) -> npt.NDArray[np.float64]:
        begin = first // WANDER_STEP
        knots = np.arange(begin, (first + count) // WANDER_STEP + 2)
        places = np.arange(first, first + count) / WANDER_STEP
        return np.interp(places, knots, values[knots % len(values)])


def tones_of(
    strokes: Sequence[Stroke],
    course: Course,
    instrument: Instrument,
    tuning_pitch_hz: float,
    wandering: Wandering,
) -> list[Tone]:
    """Return the tones of one part in order of their beginnings."""
    starts = _samples(course, [one.onset for one in strokes])
    ends = np.maximum(_samples(course, [one.end for one in strokes]), starts + _SHORTEST)
    following = _next_on_string(strokes)
    tones: list[Tone] = []
    before: dict[int, Tone] = {}  # the tone that sounded last on each string
    keys: dict[int, int] = {}
    for number, one in enumerate(strokes):
        start, end = int(starts[number]), int(ends[number])
        hz = tuning_pitch_hz * 2.0 ** ((one.midi - 69 + one.cents / 100.0) / 12.0)
        string = instrument.string(one.string_index) if one.string_index else None
        then = following[number]
        rest = None if then is None else int(starts[then]) - end
        end_kind = _end_kind(one, None if then is None else strokes[then], rest)
        sound = string_sound(string, one.key, hz)
        ring_s = _STOP_RING_S if end_kind == "stops" else sound.ring_s
        earlier = before.get(one.string_index)
        tone = Tone(
            start=start,
            end=end,
            last=end + _ringing(end_kind, ring_s, rest),
            hz=hz,
            level=10.0 ** (one.level_db / 20.0),
            sound=sound,
            ring_s=ring_s,
            phase=0.0 if earlier is None else _phase_after(earlier, start, wandering),
            number=number,
            begin_kind="slurred" if one.is_slurred else "renewed" if one.is_renewed else "fresh",
            end_kind=end_kind,
            has_knock=instrument.kind == "keyed" and 0 < one.key != keys.get(one.string_index),
        )
        tones.append(tone)
        before[one.string_index], keys[one.string_index] = tone, one.key
    return tones


def _end_kind(one: Stroke, then: Stroke | None, rest: int | None) -> EndKind:
    """How a tone ends, with what comes next on its string and in how many samples."""
    if one.goes_on:
        is_here = then is not None and then.is_slurred and rest is not None and rest <= 0
        return "joins" if is_here else "is left"
    if rest is None or rest > _LEAST_REST_S * RATE:
        return "lifts"
    return "stops"


def _ringing(end_kind: EndKind, ring_s: float, rest: int | None) -> int:
    """How many samples a string sounds after its tone's end."""
    if end_kind == "joins":
        return _SLUR
    ringing = int(ring_s * RATE)
    return ringing if rest is None else min(ringing, max(rest, 0) + _OVERLAP)


def _samples(course: Course, places: Sequence[Fraction]) -> npt.NDArray[np.int64]:
    return np.rint(course.seconds(places) * RATE).astype(np.int64)


def _next_on_string(strokes: Sequence[Stroke]) -> list[int | None]:
    """By stroke, the number of the next one on its string."""
    following: list[int | None] = [None] * len(strokes)
    seen: dict[int, int] = {}
    for number in range(len(strokes) - 1, -1, -1):
        following[number] = seen.get(strokes[number].string_index)
        seen[strokes[number].string_index] = number
    return following


def _phase_after(tone: Tone, start: int, wandering: Wandering) -> float:
    """Where in its period a string is that goes on from ``tone``; 0 where it has been at rest."""
    if start > tone.last:
        return 0.0
    spent_s = wandering.second(start) - wandering.second(tone.start)
    return float((tone.phase + tone.hz * spent_s) % 1.0)


class Part:
    """One part as a stream of blocks: the force on the bridge."""

    def __init__(self, tones: Sequence[Tone], wandering: Wandering, choice: SoundChoice) -> None:
        self._waiting = deque(tones)
        self._sounding: list[Tone] = []
        self._wandering = wandering
        self._choice = choice

    def add_to(self, block: Wave, first: int, level: float) -> None:
        """Add the samples from number ``first`` on to ``block``; blocks come in their order."""
        end = first + len(block)
        self._sounding = [tone for tone in self._sounding if tone.last > first]
        while self._waiting and self._waiting[0].start - _KNOCK_BEFORE < end:
            self._sounding.append(self._waiting.popleft())
        if not self._sounding:
            return
        own = np.zeros(len(block), dtype=np.float32)
        seconds = self._wandering.seconds(first, len(block))
        for tone in self._sounding:
            self._add_tone(own, tone, first, seconds)
        own *= self._wandering.levels(first, len(block))
        own *= np.float32(level)
        block += own

    def _add_tone(
        self, block: Wave, tone: Tone, first: int, seconds: npt.NDArray[np.float64]
    ) -> None:
        if tone.has_knock and self._choice.key_knock > 0:
            knock = key_knocks()[tone.number * 7 % len(key_knocks())]
            loud = np.float32(_KNOCK * self._choice.key_knock)
            add_at(block, knock * loud, tone.start - _KNOCK_BEFORE - first)
        low, high = max(tone.start, first), min(tone.last, first + len(block))
        if low >= high:
            return
        inside = slice(low - first, high - first)
        since = seconds[inside] - self._wandering.second(tone.start)
        since *= tone.hz
        since += tone.phase
        begin = low - tone.start  # of this piece, in samples of the tone
        if begin < len(scratches()[0]) and tone.begin_kind == "fresh":
            _multiply_or_add(since, scratches()[tone.number * 5 % SCRATCHES], -begin, adds=True)
        at, between = places_of(since)
        wave = _wave(tone, begin, at, between)
        if self._choice.bow_noise > 0:
            wave += _rush(tone, begin, at) * np.float32(self._choice.bow_noise)
        wave *= _envelope(tone, begin, len(wave))
        block[inside] += wave


def _wave(tone: Tone, begin: int, at: npt.NDArray[np.int64], between: Wave) -> Wave:
    """The string's own motion: brighter at first, and ever softer once the bow has left."""
    tables: Tables = tables_for(round(tone.hz, 6), tone.sound)
    wave = looked_up(tables.steady, at, between)
    fresh = _brightness()
    if begin < len(fresh) and tone.begin_kind != "slurred":
        piece = slice(0, min(len(wave), len(fresh) - begin))
        more = looked_up(tables.bright, at[piece], between[piece])
        wave[piece] += more * fresh[begin : begin + len(more)]
    left = max(0, tone.end - tone.start - begin)
    if left < len(wave) and tone.end_kind != "joins":
        piece = slice(left, len(wave))
        time = np.arange(begin + left, begin + len(wave), dtype=np.float32)
        time -= np.float32(tone.end - tone.start)
        softened = 1.0 - np.exp(time * np.float32(-12.0 / (tone.ring_s * RATE)))
        wave[piece] += looked_up(tables.free, at[piece], between[piece]) * softened
    return wave


def _rush(tone: Tone, begin: int, at: npt.NDArray[np.int64]) -> Wave:
    """The rush of the bow: it goes with the bow, and is strongest when a stroke begins."""
    count = len(at)
    place = (tone.number * 20011 + begin) % NOISE_SAMPLES
    rush = bow_rush(BLOCK)[place : place + count] * slip_bursts()[at]
    rush *= np.float32(_RUSH)
    fresh = _rush_of_stroke()
    if begin < len(fresh) and tone.begin_kind != "slurred":
        piece = min(count, len(fresh) - begin)
        rush[:piece] *= fresh[begin : begin + piece]
    left = max(0, tone.end - tone.start - begin)
    if left < count and tone.end_kind != "joins":
        gone = np.arange(count - left, dtype=np.float32)
        rush[left:] *= np.exp(gone * np.float32(-1.0 / (0.004 * RATE)))
    return rush


def _envelope(tone: Tone, begin: int, count: int) -> Wave:
    """The loudness of ``count`` samples from sample ``begin`` of the tone on."""
    loud = np.full(count, tone.level, dtype=np.float32)
    length = tone.end - tone.start
    rise = _rise(tone.begin_kind)
    _multiply_or_add(loud, rise, -begin)
    if begin + count > len(rise):
        loud[max(0, len(rise) - begin) :] *= rise[-1]
    ringing = slice(max(0, length - begin), count)
    if tone.end_kind == "joins":
        _multiply_or_add(loud, _falling(_SLUR), length - begin)
        return loud
    share = _LEFT_SHARE
    if tone.end_kind == "is left":
        _multiply_or_add(
            loud, np.linspace(1.0 / share, 1.0, _SLUR, dtype=np.float32), length - begin
        )
    else:
        share = _TURN_SHARE
        turn = _turn(min(_TURN, length // 3))
        _multiply_or_add(loud, turn, length - len(turn) - begin)
    if ringing.start < count:
        time = np.arange(ringing.start, count, dtype=np.float32) - np.float32(length - begin)
        loud[ringing] *= np.float32(share) * np.exp(
            time * np.float32(-3.0 * np.log(10.0) / (tone.ring_s * RATE))
        )
    fade = min(_FADE, tone.last - tone.end)
    _multiply_or_add(loud, _falling(fade), tone.last - tone.start - fade - begin)
    return loud


def _multiply_or_add(
    values: npt.NDArray[np.floating[Any]], curve: Wave, at: int, *, adds: bool = False
) -> None:
    """Multiply ``values`` from place ``at`` on by ``curve`` (or add it), as far as they overlap."""
    low, high = max(0, at), min(len(values), at + len(curve))
    if low < high:
        if adds:
            values[low:high] += curve[low - at : high - at]
        else:
            values[low:high] *= curve[low - at : high - at]


def add_at(block: npt.NDArray[Any], wave: Wave, at: int) -> None:
    """Add ``wave`` to ``block`` from place ``at`` on, as far as they overlap."""
    _multiply_or_add(block, wave, at, adds=True)


@functools.cache
def _rise(kind: BeginKind) -> Wave:
    """How a tone begins, to a last value that holds."""
    if kind == "slurred":
        return np.linspace(0.0, 1.0 - _ACCENT / 2, _SLUR, dtype=np.float32)
    rise_s = _RISE_S if kind == "fresh" else _RENEWED_RISE_S
    time = np.arange(int(6 * _ACCENT_S * RATE)) / RATE
    accent = np.exp(-time / _ACCENT_S)
    swelling = 1.0 - _ACCENT + _ACCENT * (accent - accent[-1])
    return ((1.0 - np.exp(-time / rise_s)) * np.minimum(1.0, time / 0.002) * swelling).astype(
        np.float32
    )


@functools.cache
def _turn(length: int) -> Wave:
    """How the bow slows down before it turns."""
    way = np.linspace(0.0, np.pi, max(1, length))
    return (_TURN_SHARE + (1.0 - _TURN_SHARE) * (0.5 + 0.5 * np.cos(way))).astype(np.float32)


@functools.cache
def _falling(length: int) -> Wave:
    return np.linspace(1.0, 0.0, length, dtype=np.float32)


@functools.cache
def _brightness() -> Wave:
    time = np.arange(int(_BRIGHT_S * RATE)) / RATE
    return (np.exp(-time / (_BRIGHT_S / 3)) * (1.0 - time / _BRIGHT_S)).astype(np.float32)


@functools.cache
def _rush_of_stroke() -> Wave:
    time = np.arange(int(0.12 * RATE)) / RATE
    fade = np.exp(-time / _RUSH_OF_STROKE_S) * (1.0 - time / 0.12)
    return (1.0 + (_RUSH_OF_STROKE - 1.0) * fade).astype(np.float32)
