"""Where drones may lie, and how far a melody gets in their way before anything is solved."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

from tunebook.model.arrangement import Stop
from tunebook.model.hand import Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.demands import find_string

HIGHEST_DRONE_KEY = 7
"""Held keys lie within first position; our judgement."""
AWAY_FROM_STRING = 0.3
"""Share of a pause that a note counts which has to leave its usual string; our judgement."""
REACH_KEY = 10


@dataclass(frozen=True, slots=True)
class ToneCount:
    """How long the melody sounds each MIDI pitch, in whole notes."""

    lengths: tuple[tuple[int, float], ...]

    @property
    def total(self) -> float:
        return sum(length for _, length in self.lengths)


def count_tones(tune: Tune) -> ToneCount:
    """Lengths of the melody's tones by pitch."""
    lengths: dict[int, float] = {}
    for bar in tune.bars:
        for note in bar.notes:
            if note.is_grace:
                continue
            for pitch in note.pitches:
                lengths[pitch.midi] = lengths.get(pitch.midi, 0.0) + float(note.duration)
    return ToneCount(tuple(sorted(lengths.items())))


def drone_stops(instrument: Instrument, limits: Limits, kind: str) -> list[Stop]:
    """Every stop that may be a drone: open strings, and keys unless ``kind`` is "open"."""
    if kind == "none" or not limits.allows_drone:
        return []
    highest = HIGHEST_DRONE_KEY if kind != "open" and limits.allows_held_drone else 0
    if limits.highest_key is not None:
        highest = min(highest, limits.highest_key)
    return [
        Stop(string.open_midi + key, string.index, key, 0)
        for string in instrument.strings
        for key in range(min(highest, string.key_count) + 1)
    ]


def stops_for(midi: int, instrument: Instrument, string_name: str | None = None) -> list[Stop]:
    """Every stop that sounds ``midi``, on the named string if one is named."""
    named = find_string(instrument, string_name) if string_name else None
    return [
        Stop(midi, string.index, midi - string.open_midi, 0)
        for string in instrument.strings
        if 0 <= midi - string.open_midi <= string.key_count
        and (not string_name or string.index == named)
    ]


def pause_share(drone: Stop, tones: ToneCount, instrument: Instrument) -> float:
    """A quick estimate, 0 to 1, of how much of the melody cannot sound with ``drone``.

    A note that lies on a neighbouring string in its lowest position does not count; one that can
    be had on a neighbouring string counts a little; any other silences the drone.
    """
    total = tones.total
    if not total:
        return 0.0
    lost = 0.0
    for (midi, length), places in zip(tones.lengths, _places(tones, instrument), strict=True):
        lost += length * _pause_of(midi, drone, places)
    return lost / total


@functools.lru_cache(maxsize=4)
def _places(tones: ToneCount, instrument: Instrument) -> tuple[tuple[tuple[int, int], ...], ...]:
    """(key, string) of every stop that sounds each of the tones."""
    return tuple(
        tuple(
            (midi - string.open_midi, string.index)
            for string in instrument.strings
            if 0 <= midi - string.open_midi <= string.key_count
        )
        for midi, _ in tones.lengths
    )


def _pause_of(midi: int, drone: Stop, places: tuple[tuple[int, int], ...]) -> float:
    if not places or midi == drone.midi:
        return 0.0
    if abs(min(places)[1] - drone.string_index) == 1:
        return 0.0
    if any(abs(index - drone.string_index) == 1 and key <= REACH_KEY for key, index in places):
        return AWAY_FROM_STRING
    return 1.0


def best_of(stops: Iterable[Stop], tones: ToneCount, instrument: Instrument) -> Stop | None:
    """The stop that pauses least; open strings, then low keys, settle ties."""
    return min(
        stops,
        key=lambda stop: (round(pause_share(stop, tones, instrument), 3), stop.key),
        default=None,
    )
