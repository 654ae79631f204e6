"""A tune as a Standard MIDI File, type 1 (MIDI Manufacturers Association, RP-001).

Track 1 holds title, metre, key and tempo, then comes one track a part and one for each voice beside
the melody, in the played order
(repeats and endings expanded, ties merged). Ticks are exact: the ticks in a quarter note are a
multiple of every fraction of it that the tune uses.
"""

from __future__ import annotations

import io
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from tunebook.errors import SettingError
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Bar, Key, Meter, Tempo, Tune
from tunebook.model.voices import voice_as_tune, voice_label
from tunebook.write.tones import (
    Tone,
    chord_tones,
    drone_tones,
    held_tone,
    melody_tones,
    played_bars,
)

if TYPE_CHECKING:
    from mido import MetaMessage, MidiFile, MidiTrack

PARTS = ("melody", "drone", "chords", "second")
_CHANNELS = ("melody", "drone", "chords")
_VOICE_CHANNELS = range(10, 16)  # above the one that General MIDI keeps for drums
LEAST_TICKS = 480  # a quarter note has at least so many ticks (common practice)
MOST_TICKS = 32767  # the header has 15 bits for them
DEFAULT_WHOLE_NOTES_PER_S = 0.5  # 120 quarter notes a minute, the format's own default
_BEND_OF_SEMITONE = 4096  # of 8192 steps for the two semitones of General MIDI level 1
_VELOCITY = {"melody": 88, "drone": 56, "chords": 60, "second": 80}
# General MIDI: violin, viola, cello.
_PROGRAM = {
    "melody": 40,
    "drone": 41,
    "chords": 42,
    "second": 40,
}
_MAJOR_KEYS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR_KEYS = ("Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m",
               "G#m", "D#m", "A#m")  # fmt: skip


def tune_as_midi(
    arrangement_or_tune: Arrangement | Tune,
    *,
    parts: Collection[str] = ("melody", "second"),
    with_grace_notes: bool = False,
    drone_override: int | None = None,
    quarter_tones: bool = False,
) -> bytes:
    """Return the bytes of a MIDI file of the tune as it is played.

    ``parts`` names any of PARTS; they become tracks in that order, empty ones too, "second" one a
    voice. A bare Tune has neither drone nor chords. ``drone_override`` is the MIDI number of a tone
    held throughout instead of the arrangement's drone. ``quarter_tones`` asks for them to sound as
    such, on channels of their own that are bent by 50 cents (General MIDI's range of two semitones
    is taken for granted); without it they sound as their keys do. Raises SettingError for an
    unknown part or a drone outside 0 to 127.
    """
    from mido import MidiFile

    _check(parts, drone_override)
    tune, arrangement = _parted(arrangement_or_tune)
    tracks = [
        _Track(part, part, _tones(part, tune, arrangement, with_grace_notes, drone_override))
        for part in _CHANNELS
        if part in parts
    ]
    for number, voice in enumerate(tune.voices if "second" in parts else ()):
        tones = melody_tones(voice_as_tune(tune, voice), with_grace_notes=with_grace_notes)
        tracks.append(_Track("second", voice_label(voice, number), tones, number))
    ticks = _ticks_per_quarter(tune, [one.tones for one in tracks])
    file: MidiFile = MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    file.tracks.append(_leading_track(tune, speeds_of_bars(tune, arrangement), ticks))
    for one in tracks:
        file.tracks.append(_part_track(one, ticks, quarter_tones))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


@dataclass(frozen=True, slots=True)
class _Track:
    """A part, or the voice ``number`` (from 0) beside the melody."""

    part: str
    name: str
    tones: tuple[Tone, ...]
    number: int = 0

    def channel(self, cents: int) -> int:
        """The channel of its tones; quarter-tones above and below their keys have their own. Four
        voices or more share channels."""
        bent = {0: 0, 50: 1, -50: 2}[cents]
        if self.part != "second":
            return _CHANNELS.index(self.part) + len(_CHANNELS) * bent
        return _VOICE_CHANNELS[(self.number + 2 * bent) % len(_VOICE_CHANNELS)]


def _check(parts: Collection[str], drone_override: int | None) -> None:
    for part in parts:
        if part not in PARTS:
            raise SettingError(f"unknown part '{part}'", f"choose from {', '.join(PARTS)}")
    if drone_override is not None and not 0 <= drone_override <= 127:
        raise SettingError(f"no such drone: MIDI number {drone_override}", "choose 0 to 127")


def _parted(arrangement_or_tune: Arrangement | Tune) -> tuple[Tune, Arrangement | None]:
    if isinstance(arrangement_or_tune, Arrangement):
        return arrangement_or_tune.tune, arrangement_or_tune
    return arrangement_or_tune, None


def _tones(
    part: str,
    tune: Tune,
    arrangement: Arrangement | None,
    with_grace_notes: bool,
    drone_override: int | None,
) -> tuple[Tone, ...]:
    if part == "melody":
        return melody_tones(tune, with_grace_notes=with_grace_notes)
    if part == "drone" and drone_override is not None:
        return held_tone(tune, drone_override)
    if arrangement is None:
        return ()
    if part == "drone":
        return drone_tones(tune, arrangement.beside)
    return chord_tones(tune, arrangement.chords)


def _ticks_per_quarter(tune: Tune, parts: Iterable[Sequence[Tone]]) -> int:
    """The least multiple of LEAST_TICKS (or at need of 1) that makes all times whole.

    Tunes of common note values have one. Where there is none within the format's 15 bits, times
    are rounded to the nearest tick, each by itself, so that the error never adds up.
    """
    denominators = {(4 * heard.onset).denominator for heard in played_bars(tune)}
    for tones in parts:
        for tone in tones:
            denominators |= {(4 * tone.onset).denominator, (4 * tone.end).denominator}
    exact = math.lcm(*denominators)
    for ticks in (math.lcm(LEAST_TICKS, exact), exact * max(1, -(-LEAST_TICKS // exact)), exact):
        if ticks <= MOST_TICKS:
            return ticks
    return LEAST_TICKS * (MOST_TICKS // LEAST_TICKS)


def _tick(time: Fraction, ticks_per_quarter: int) -> int:
    return round(time * 4 * ticks_per_quarter)


def speeds_of_bars(tune: Tune, arrangement: Arrangement | None) -> dict[int, float]:
    """Whole notes per second in each written bar. The arrangement's tempo, when it differs from
    the tune's own, changes all tempi of the tune in proportion."""
    own = tune.tempo.whole_notes_per_second if tune.tempo else 0.0
    start = own or DEFAULT_WHOLE_NOTES_PER_S
    if arrangement is not None and arrangement.whole_notes_per_second > 0:
        start = arrangement.whole_notes_per_second
    factor = start / own if own else 1.0
    speeds: dict[int, float] = {}
    speed = start
    for bar in tune.bars:
        speed = _changed_speed(bar.tempo, factor, speed)
        speeds[bar.index] = speed
    return speeds


def _changed_speed(tempo: Tempo | None, factor: float, speed: float) -> float:
    if tempo is None or tempo.whole_notes_per_second <= 0:
        return speed
    return tempo.whole_notes_per_second * factor


def _leading_track(tune: Tune, speeds: dict[int, float], ticks: int) -> MidiTrack:
    """Title, and metre, key and tempo wherever they change along the performance."""
    from mido import MetaMessage, MidiTrack

    track: MidiTrack = MidiTrack()
    track.append(MetaMessage("track_name", name=_clean(tune.title), time=0))
    now = 0
    state: dict[str, MetaMessage] = {}
    end = Fraction(0)
    for heard in played_bars(tune):
        at = _tick(heard.onset, ticks)
        end = heard.onset + heard.bar.duration
        for message in _bar_messages(heard.bar, speeds[heard.bar.index]):
            if message.type in state and state[message.type] == message:
                continue
            state[message.type] = message
            track.append(message.copy(time=at - now))
            now = at
    track.append(MetaMessage("end_of_track", time=max(0, _tick(end, ticks) - now)))
    return track


def _bar_messages(bar: Bar, speed: float) -> list[MetaMessage]:
    from mido import MetaMessage

    messages = [MetaMessage("set_tempo", tempo=_microseconds_per_quarter(speed), time=0)]
    if _has_midi_meter(bar.meter):
        numerator, denominator = bar.meter.beats, bar.meter.unit
        messages.append(
            MetaMessage("time_signature", numerator=numerator, denominator=denominator, time=0)
        )
    messages.append(MetaMessage("key_signature", key=_midi_key(bar.key), time=0))
    return messages


def _microseconds_per_quarter(whole_notes_per_second: float) -> int:
    return max(1, min(0xFFFFFF, round(250_000 / whole_notes_per_second)))


def _has_midi_meter(meter: Meter) -> bool:
    return 0 < meter.beats <= 255 and meter.unit > 0 and meter.unit & (meter.unit - 1) == 0


def _midi_key(key: Key) -> str:
    names = _MINOR_KEYS if key.is_minor_like else _MAJOR_KEYS
    return names[max(-7, min(7, key.fifths)) + 7]


def _part_track(one: _Track, ticks: int, quarter_tones: bool) -> MidiTrack:
    """One part on a channel of its own; a tone that ends makes room before the next begins."""
    from mido import Message, MetaMessage, MidiTrack

    track: MidiTrack = MidiTrack()
    track.append(MetaMessage("track_name", name=_clean(one.name), time=0))
    bends = {tone.cents for tone in one.tones} if quarter_tones else set()
    for cents in sorted({0} | bends, key=abs):
        channel = one.channel(cents)
        program = _PROGRAM[one.part]
        track.append(Message("program_change", program=program, channel=channel, time=0))
        if cents:
            bend = round(_BEND_OF_SEMITONE * cents / 100)
            track.append(Message("pitchwheel", pitch=bend, channel=channel, time=0))
    events: list[tuple[int, int, int, int]] = []
    for tone in one.tones:
        start, end = _tick(tone.onset, ticks), _tick(tone.end, ticks)
        channel = one.channel(tone.cents if quarter_tones else 0)
        if start < end and 0 <= tone.midi <= 127:
            events += [
                (start, _VELOCITY[one.part], tone.midi, channel),
                (end, 0, tone.midi, channel),
            ]
    now = 0
    for at, velocity, midi, channel in sorted(events):
        kind = "note_on" if velocity else "note_off"
        track.append(Message(kind, note=midi, velocity=velocity, channel=channel, time=at - now))
        now = at
    track.append(MetaMessage("end_of_track", time=0))
    return track


def _clean(text: str) -> str:
    """Text without control characters and lone surrogates."""
    plain = "".join(letter for letter in text if letter.isprintable())
    return plain.encode("utf-8", "replace").decode("utf-8")
