"""A recording: the parts of a tune over each other, heard through the body, at one loudness.

Work goes by blocks of some nine seconds. Until its loudness is known a recording is kept, in memory
up to a bound, beyond it in a temporary file.
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
from tunebook.write.sound.performance import strokes_of, voices_of
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
    "melody": 1.0, "drone": 0.55, "second": 0.8, "chords": 0.4, "bass": 0.55, "click": 3.0,
}  # fmt: skip
"""How loud the parts are beside the melody: our judgement."""
TAIL_S = 3.0
"""What is left after the last note for strings that ring on."""
_FADE_S = 0.5
_SPOOLED_BYTES = 64_000_000

Samples = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class PlayedPart:
    """The tones of a part on an instrument; ``player`` tells one bow arm from another."""

    name: SoundPart
    tones: tuple[Tone, ...]
    instrument: Instrument
    player: int


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording to be made: ``course`` has its times; ``sample_count`` samples at RATE."""

    title: str
    composer: str
    course: Course
    sample_count: int
    parts: tuple[PlayedPart, ...]
    clicks: tuple[Click, ...]
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
    parts = _played_parts(arrangement, order, choice, course)
    if not any(part.tones for part in parts) and "click" not in order.parts:
        what = f"{tune.title!r} has nothing to play ({', '.join(order.parts)})"
        raise InputError(what, "left out; ask for other parts", tune.place)
    clicks = course.count_in + (course.clicks if "click" in order.parts else ())
    return Recording(
        title=tune.title,
        composer=tune.composer,
        course=course,
        sample_count=round((course.end_s + TAIL_S) * RATE),
        parts=parts,
        clicks=clicks,
        choice=choice,
    )


def sympathetic_strings(instrument: Instrument, tuning_pitch_hz: float) -> tuple[Sympathetic, ...]:
    """The instrument's sympathetic strings, in the pitch that it is tuned to."""
    pitches = [tuning_pitch_hz * 2.0 ** ((midi - 69) / 12.0) for midi in instrument.sympathetic]
    rings = instrument.sympathetic_rings_s or [usual_ring_s(hz) for hz in pitches]
    return tuple(Sympathetic(hz, ring) for hz, ring in zip(pitches, rings, strict=True))


def _played_parts(
    arrangement: Arrangement, order: SoundOrder, choice: SoundChoice, course: Course
) -> tuple[PlayedPart, ...]:
    """What each player plays: the melody's, and those of further voices."""
    players = [(arrangement, order.parts, order.drone)]
    if "second" in order.parts:
        own: tuple[SoundPart, ...] = ("melody", "drone") if "drone" in order.parts else ("melody",)
        players += [(voice, own, None) for voice in voices_of(arrangement)]
    found: list[PlayedPart] = []
    for one, names, drone in players:
        played = strokes_of(one, names, drone=drone, grace_notes=choice.grace_notes)
        for name, strokes in played:
            player = len(found)
            pitch_hz = choice.tuning_pitch_hz
            tones = tones_of(strokes, course, one.instrument, pitch_hz, Wandering(player))
            heard_as: SoundPart = name if one is arrangement or name != "melody" else "second"
            found.append(PlayedPart(heard_as, tuple(tones), one.instrument, player))
    return tuple(found)


def _heard(recording: Recording) -> Iterator[npt.NDArray[np.float64]]:
    """What is heard, before its loudness is set: each instrument by its own bridge."""
    choice = recording.choice
    parts: dict[tuple[Sympathetic, ...], list[tuple[float, Part]]] = {}
    for one in recording.parts:
        strings = sympathetic_strings(one.instrument, choice.tuning_pitch_hz)
        part = Part(one.tones, Wandering(one.player), choice)
        parts.setdefault(strings, []).append((LEVELS[one.name], part))
    bodies = {
        strings: Convolver(bridge_response(strings, choice.sympathetic, choice.body))
        for strings in parts
    }
    for first in range(0, recording.sample_count, BLOCK):
        block = np.zeros(BLOCK)
        for strings, own in parts.items():
            bridge = np.zeros(BLOCK, dtype=np.float32)
            for level, part in own:
                part.add_to(bridge, first, level)
            block += bodies[strings].feed(bridge)
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
