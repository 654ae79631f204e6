"""A recording: the parts of a tune over each other, heard through the body, at one loudness.

Work goes by blocks of some nine seconds. The recording is made twice as long as need be in memory
only up to a bound; beyond it waits in a temporary file until its loudness is known.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import IO

import numpy as np
import numpy.typing as npt

from tunebook.errors import InputError
from tunebook.model.arrangement import Arrangement
from tunebook.model.choices import SoundPart
from tunebook.model.instrument import Instrument
from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.write.sound.bowing import Part, Tone, Wandering, add_at, tones_of
from tunebook.write.sound.loudness import FRAME, Meter, gain_of_samples, gains
from tunebook.write.sound.noise import click_sounds
from tunebook.write.sound.performance import strokes_of
from tunebook.write.sound.resonance import (
    BLOCK,
    Convolver,
    Sympathetic,
    bridge_response,
    usual_ring_s,
)
from tunebook.write.sound.strings import RATE
from tunebook.write.sound.timing import Click, Course, course_of, passage

LEVELS: dict[SoundPart, float] = {
    "melody": 1.0, "drone": 0.55, "second": 0.8, "chords": 0.4, "bass": 0.55, "click": 0.5,
}  # fmt: skip
"""How loud the parts are beside the melody: our judgement."""
TAIL_S = 3.0
"""What is left after the last note for strings that ring on."""
_FADE_S = 0.5
_SPOOLED_BYTES = 64_000_000

Samples = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording to be made: ``course`` has its times; ``sample_count`` samples at RATE."""

    title: str
    composer: str
    course: Course
    sample_count: int
    parts: tuple[tuple[SoundPart, tuple[Tone, ...]], ...]
    clicks: tuple[Click, ...]
    instrument: Instrument
    choice: SoundChoice

    def samples(self) -> Iterator[Samples]:
        """Make the sound, block by block, at the loudness that all recordings have."""
        meter = Meter()
        with tempfile.SpooledTemporaryFile(max_size=_SPOOLED_BYTES) as kept:
            for block in _heard(self):
                meter.add(block)
                kept.write(block.astype(np.float32).tobytes())
            factors = gains(meter.peaks(), meter.loudness(self.sample_count))
            kept.seek(0)
            yield from _levelled(kept, factors, self.sample_count)


def record(arrangement: Arrangement, order: SoundOrder, choice: SoundChoice) -> Recording:
    """Plan the recording of ``arrangement`` that ``order`` asks for.

    Raises InputError when the tune has no such bars, nothing is played, or it is too long.
    """
    tune, speeds = passage(arrangement.tune, order)
    arrangement = replace(arrangement, tune=tune)
    course = course_of(arrangement, speeds, has_count_in=order.has_count_in, beats=choice.beats)
    if course.end_s <= course.start_s:
        raise InputError(f"nothing of {tune.title!r} takes time", "left out", tune.place)
    if course.end_s > choice.most_minutes * 60.0:
        what = f"{tune.title!r} would play for {course.end_s / 60.0:.0f} minutes"
        remedy = "left out; play a passage with --loop, or raise most_minutes under [sound]"
        raise InputError(what, remedy, tune.place)
    played = strokes_of(arrangement, order.parts, drone=order.drone, grace_notes=choice.grace_notes)
    instrument, pitch_hz = arrangement.instrument, choice.tuning_pitch_hz
    parts = [
        (name, tuple(tones_of(strokes, course, instrument, pitch_hz, Wandering(number))))
        for number, (name, strokes) in enumerate(played)
    ]
    clicks = course.count_in + (course.clicks if "click" in order.parts else ())
    return Recording(
        title=tune.title,
        composer=tune.composer,
        course=course,
        sample_count=round((course.end_s + TAIL_S) * RATE),
        parts=tuple(parts),
        clicks=clicks,
        instrument=instrument,
        choice=choice,
    )


def sympathetic_strings(instrument: Instrument, tuning_pitch_hz: float) -> tuple[Sympathetic, ...]:
    """The instrument's sympathetic strings, in the pitch that it is tuned to."""
    pitches = [tuning_pitch_hz * 2.0 ** ((midi - 69) / 12.0) for midi in instrument.sympathetic]
    rings = instrument.sympathetic_rings_s or [usual_ring_s(hz) for hz in pitches]
    return tuple(Sympathetic(hz, ring) for hz, ring in zip(pitches, rings, strict=True))


def _heard(recording: Recording) -> Iterator[npt.NDArray[np.float64]]:
    """What is heard, before its loudness is set."""
    choice = recording.choice
    strings = sympathetic_strings(recording.instrument, choice.tuning_pitch_hz)
    body = Convolver(bridge_response(strings, choice.sympathetic, choice.body))
    parts = [
        (LEVELS[name], Part(tones, Wandering(number), choice))
        for number, (name, tones) in enumerate(recording.parts)
    ]
    for first in range(0, recording.sample_count, BLOCK):
        bridge = np.zeros(BLOCK, dtype=np.float32)
        for level, part in parts:
            part.add_to(bridge, first, level)
        block = body.feed(bridge)
        _add_clicks(block, recording.clicks, first)
        left = recording.sample_count - first
        if left < BLOCK + int(_FADE_S * RATE):
            _fade(block, left)
        yield block


def _add_clicks(block: npt.NDArray[np.float64], clicks: Sequence[Click], first: int) -> None:
    for click in clicks:
        at = round(click.time_s * RATE) - first
        wave = click_sounds()[0 if click.is_first else 1]
        if -len(wave) < at < len(block):
            loud = LEVELS["click"] * (1.0 if click.is_first else 0.7)
            add_at(block, wave * loud, at)


def _fade(block: npt.NDArray[np.float64], left: int) -> None:
    """Let the sound end ``left`` samples after the beginning of ``block``."""
    time = (left - np.arange(len(block))) / (_FADE_S * RATE)
    block *= np.clip(time, 0.0, 1.0)


def _levelled(
    kept: IO[bytes], factors: npt.NDArray[np.float64], sample_count: int
) -> Iterator[Samples]:
    for first in range(0, sample_count, BLOCK):
        block = np.frombuffer(kept.read(4 * BLOCK), dtype=np.float32)
        loud = block * gain_of_samples(factors, first // FRAME)
        samples = np.rint(loud * 32767.0).clip(-32768, 32767).astype(np.int16)
        yield samples[: sample_count - first]
