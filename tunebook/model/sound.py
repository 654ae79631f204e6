"""What a practice recording is made of: what the settings say, and what one is asked for."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.model.choices import GracePlace, Repeats, SoundBody, SoundFormat, SoundPart

STANDARD_PITCH_HZ = 440.0
"""A4, at 20 degrees Celsius (ISO 16:1975)."""
LOWEST_PITCH_HZ, HIGHEST_PITCH_HZ = 380.0, 490.0
SLOWEST, QUICKEST = 0.2, 2.0
MOST_TIMES = 100


@dataclass(frozen=True, slots=True)
class SoundChoice:
    """The [sound] table. ``key_knock``, ``bow_noise`` and ``sympathetic`` are levels, 1 as the
    instrument has it and 0 for silence; ``beats`` are (tune type, lengths of the beats of a bar
    as shares of an even one); ``most_minutes`` is the longest recording that is made."""

    format: SoundFormat = "flac"
    tuning_pitch_hz: float = STANDARD_PITCH_HZ
    grace_notes: GracePlace = "on the beat"
    body: SoundBody = "simple"
    key_knock: float = 1.0
    bow_noise: float = 1.0
    sympathetic: float = 1.0
    most_minutes: float = 30.0
    beats: tuple[tuple[str, tuple[float, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class SoundOrder:
    """What is to be heard. ``speed`` is a share of the tune's own tempo. ``loop`` are the first and
    last bar number of a passage that is played ``times`` times, its speed going in equal steps to
    ``last_speed``. ``drone`` is the MIDI number of a tone that is held instead of the drones."""

    parts: tuple[SoundPart, ...] = ("melody", "drone", "second")
    speed: float = 1.0
    has_count_in: bool = False
    repeats: Repeats = "as-written"
    loop: tuple[int, int] | None = None
    times: int = 1
    last_speed: float | None = None
    drone: int | None = None
