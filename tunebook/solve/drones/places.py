"""Where drones may lie, and which the tune or the book asks for."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import DroneDemand, Stop
from tunebook.model.book import TuneChoice
from tunebook.model.hand import Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import STEP_LETTERS, STEP_SEMITONES, DronePin, Tune, pitch_name
from tunebook.solve.fingering.demands import find_string

HIGHEST_DRONE_KEY = 7
"""Held keys lie within first position; our judgement."""
AWAY_FROM_STRING = 0.3
"""Share of a pause that a note counts which has to leave its usual string; our judgement."""
REACH_KEY = 10
FOREVER = Fraction(10**9)
"""A time, in whole notes, after the end of any tune."""


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


def drone_stops(instrument: Instrument, limits: Limits) -> list[Stop]:
    """Every stop that may be a drone: open strings, and low keys where they may be held."""
    highest = HIGHEST_DRONE_KEY if limits.allows_held_drone else 0
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


_PITCH = re.compile(r"\s*([A-Ga-g])(##|bb|[#b♯♭]?)(-?\d)\s*$")
_ALTERS = {"": 0, "#": 1, "♯": 1, "##": 2, "b": -1, "♭": -1, "bb": -2}


@dataclass(frozen=True)
class PinnedDrones:
    """``demands`` are the drones that tune and book ask for, ``ruled`` the times (from, to) at
    which they decide, be it for silence."""

    demands: tuple[DroneDemand, ...] = ()
    ruled: tuple[tuple[Fraction, Fraction], ...] = ()
    messages: tuple[Message, ...] = ()


def pinned_drones(
    tune: Tune,
    instrument: Instrument,
    limits: Limits,
    choice: TuneChoice | None = None,
) -> PinnedDrones:
    """Drones pinned by ``[r:drone ...]`` in the tune, and by the book before the first of them.

    A pin holds until the next one. One that this instrument or edition cannot have is reported and
    left out, as if it were not there. A string or a finger that goes with no such drone is reported
    and left out, the drone stays.
    """
    marks = _marks(tune, choice)
    end = max((bar.onset + bar.duration for bar in tune.bars), default=Fraction(0))
    demands: list[DroneDemand] = []
    said: dict[str, Message] = {}
    ruled: list[tuple[Fraction, Fraction]] = []
    for index, (onset, pin) in enumerate(marks):
        until = marks[index + 1][0] if index + 1 < len(marks) else end
        if pin.midi is None:
            if not pin.is_free:
                ruled.append((onset, until))
            continue
        stop, finger, reasons = _stop_for(pin, tune, instrument, limits)
        remedy = "choose another drone" if stop is None else "the drone is held without that"
        for reason in reasons:
            what = f"{tune.title!r}: the drone {_name_of(pin, tune, choice)} {reason}"
            said.setdefault(what, Message(pin.place, "pin", what, remedy))
        if stop is None:
            continue
        ruled.append((onset, until))
        if until > onset:
            demands.append(
                DroneDemand(
                    onset=onset,
                    duration=until - onset,
                    string_index=stop.string_index,
                    key=stop.key,
                    finger=finger,
                    is_strict=pin.is_strict,
                )
            )
    return PinnedDrones(tuple(demands), tuple(ruled), tuple(said.values()))


def _name_of(pin: DronePin, tune: Tune, choice: TuneChoice | None) -> str:
    """The pitch of a pin as it is printed, and as it was written where the tune was moved."""
    assert pin.midi is not None
    printed = pitch_name(pin.midi)
    written: str | None = None
    if (
        choice is not None
        and choice.drone is not None
        and pin.place == (choice.place or tune.place)
    ):
        written = choice.drone_as_written
    elif tune.moved is not None:
        written = pitch_name(pin.midi - tune.moved.semitones)
    if written is None or written == printed:
        return printed
    return f"{written}, moved with the tune to {printed} in this edition,"


def midi_of_name(name: str) -> int | None:
    """MIDI number of a pitch name as F#4 or Bb3, None when it is none."""
    match = _PITCH.match(name)
    if match is None:
        return None
    step = STEP_LETTERS.index(match[1].upper())
    return 12 * (int(match[3]) + 1) + STEP_SEMITONES[step] + _ALTERS[match[2]]


def _marks(tune: Tune, choice: TuneChoice | None) -> list[tuple[Fraction, DronePin]]:
    """(onset, pin) in order, one at a time, the book's choice first."""
    found: dict[Fraction, DronePin] = {}
    if choice is not None and choice.drone is not None and tune.bars:
        place = choice.place or tune.place
        found[tune.bars[0].onset] = _pin_of(choice, place)
    for bar in tune.bars:
        for note in bar.notes:
            if note.drone_pin is not None:
                found[note.onset] = note.drone_pin
    return sorted(found.items(), key=lambda item: item[0])


def _pin_of(choice: TuneChoice, place: SourcePlace) -> DronePin:
    name = choice.drone or "none"
    midi = None if name.strip().lower() in ("none", "off") else midi_of_name(name)
    return DronePin(place, midi, choice.drone_finger, is_strict=choice.is_drone_strict)


def _stop_for(
    pin: DronePin, tune: Tune, instrument: Instrument, limits: Limits
) -> tuple[Stop | None, int | None, list[str]]:
    """The stop for a pin (None where there is none), its finger, and what of it cannot be."""
    assert pin.midi is not None
    reasons: list[str] = []
    stops: Sequence[Stop] = stops_for(pin.midi, instrument, pin.string)
    if not stops and pin.string:
        stops = stops_for(pin.midi, instrument)
        if stops:
            reasons.append(f"does not exist on string {pin.string}")
    if not stops:
        where = f"on string {pin.string}" if pin.string else "on this instrument"
        return None, None, [f"does not exist {where}"]
    if not limits.allows_held_drone:
        stops = [stop for stop in stops if stop.key == 0]
        if not stops:
            return None, None, ["is no open string, and this edition holds no keys"]
    asked = [stop for stop in stops if (stop.key > 0) == bool(pin.finger)]
    stops = asked or stops  # an open string where there is one, a key where a finger is asked for
    usable = drone_stops(instrument, limits)
    near = [stop for stop in stops if stop in usable] or stops
    stop = best_of(near, count_tones(tune), instrument)
    assert stop is not None
    if pin.finger is not None and (pin.finger == 0) != (stop.key == 0):
        why = "is an open string" if stop.key == 0 else "is no open string"
        return stop, None, [*reasons, f"{why}, it cannot have finger {pin.finger}"]
    return stop, pin.finger, reasons
