"""Drones for a tune: what sounds beside the melody, from where to where, and who holds it.

The melody comes first. What the tune or the book asks for is held, else open strings take turns
(see ``open``), and an edition that holds keys has them for a phrase or more where they say more
than the open strings do (see ``held``). Only a strict pin bends the melody: under any other drone
notes keep the strings on which they lie without it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.errors import Message
from tunebook.model.arrangement import Accent, ChordSpan, DroneDemand, DroneSpan, Stop
from tunebook.model.book import TuneChoice
from tunebook.model.choices import Drones
from tunebook.model.hand import Limits
from tunebook.model.instrument import Instrument
from tunebook.model.names import bars_in_words
from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import Key, Pitch, Tune, pitch_name
from tunebook.solve.drones.accents import (
    accent_options,
    accents_of,
    best_accented_line,
    unheard_pins,
)
from tunebook.solve.drones.held import choose_held
from tunebook.solve.drones.moments import (
    DroneJudge,
    Moment,
    Wishes,
    drone_lengths,
    drone_moments,
)
from tunebook.solve.drones.open import best_line_in_sections, open_spans
from tunebook.solve.drones.places import FOREVER, drone_stops, pinned_drones
from tunebook.solve.drones.under_hand import UnderHand
from tunebook.solve.fingering.choose import Fingering
from tunebook.solve.fingering.reasons import place_word
from tunebook.solve.harmony.slots import heard_key
from tunebook.solve.times import drones_without_rests, whole_times

LEAST_HELD = Fraction(1, 4)
"""A held drone that sounds for a shorter time between pauses is left out; our judgement."""

Solve = Callable[[Sequence[DroneDemand]], Fingering]
"""Fingers the melody anew over these drones, its strings kept where none of them is strict."""

_DEGREES = {
    0: "tonic",
    1: "minor second",
    2: "second",
    3: "minor third",
    4: "major third",
    5: "fourth",
    6: "tritone",
    7: "fifth",
    8: "minor sixth",
    9: "sixth",
    10: "minor seventh",
    11: "major seventh",
}


def drone_name(midi: int, key: Key) -> str:
    """Name of a drone's pitch, spelled in ``key``: F#4."""
    step, alter = spell_in_key(midi % 12, key)
    natural = Pitch(0, step, alter).midi
    return Pitch((midi - natural) // 12, step, alter).name


def drone_label(stop: Stop, instrument: Instrument, key: Key) -> str:
    """As "D4, open D string" or "E4, D string, key 2, finger 1"."""
    name = drone_name(stop.midi, key)
    string = instrument.string(stop.string_index).name
    if stop.key == 0:
        return f"{name}, open {string} string"
    finger = f", finger {stop.finger}" if stop.finger else ""
    return f"{name}, {string} string, {place_word(instrument)} {stop.key}{finger}"


@dataclass(frozen=True)
class DroneScene:
    """What drones are chosen for: the instrument, what the edition allows (``kind`` is none, open,
    held or substitution), the tune's chords, and the book's choice for the tune; the hand that may
    add double stops, None where the edition has none."""

    instrument: Instrument
    limits: Limits
    kind: Drones
    chords: tuple[ChordSpan, ...] = ()
    choice: TuneChoice | None = None
    under: UnderHand | None = field(default=None, kw_only=True)

    @property
    def has_drones(self) -> bool:
        return self.kind != "none" and self.limits.allows_drone


@dataclass(frozen=True)
class DroneSolution:
    """The drones of a tune and the melody's fingering over them. ``asked`` is what was to be held,
    from where to where; ``spans`` what sounds; ``accents`` are double stops where nothing is held;
    ``messages`` tell of pins that cannot be."""

    fingering: Fingering
    asked: tuple[DroneDemand, ...] = ()
    spans: tuple[DroneSpan, ...] = ()
    messages: tuple[Message, ...] = ()
    accents: tuple[Accent, ...] = ()


def choose_drones(tune: Tune, bare: Fingering, scene: DroneScene, solve: Solve) -> DroneSolution:
    """The drones of ``tune``, with its double stops: those pinned in it and the book's choice where
    they rule, elsewhere the best.

    ``bare`` is the fingering without drones. Within the tune a pin rules from its note to the next
    pin; the book's choice rules before the first pin.
    """
    if not scene.has_drones:
        if scene.under is None:
            return DroneSolution(bare)
        moments = _moments(tune, bare, scene, Wishes(ruled=((Fraction(-1), FOREVER),)))
        _, accents, messages = _best_line(tune, bare, scene, moments, ())
        return DroneSolution(bare, messages=messages, accents=accents)
    pins = pinned_drones(tune, scene.instrument, scene.limits, scene.choice)
    keys = tuple(one for one in pins.demands if one.key or one.is_strict)
    loose = tuple(one for one in pins.demands if not (one.key or one.is_strict))
    fingering = _under_pins(bare, scene, keys, solve)
    held: tuple[DroneDemand, ...] = ()
    if scene.kind != "open" and scene.limits.allows_held_drone:
        moments = _moments(tune, fingering, scene, Wishes(loose, keys, pins.ruled))
        held, fingering = choose_held(
            tune,
            fingering,
            moments,
            _keys_to_hold(tune, scene),
            DroneJudge(tune, scene.instrument, scene.chords),
            lambda demands: solve(_sorted_demands((*keys, *demands))),
            is_taken_over=scene.kind == "substitution",
            ruled=pins.ruled,
        )
    taken = _sorted_demands((*keys, *held))
    moments = _moments(tune, fingering, scene, Wishes(loose, taken, pins.ruled))
    ruled = (*pins.ruled, *((one.onset, one.end) for one in held))
    spans, accents, messages = _best_line(tune, fingering, scene, moments, ruled)
    unasked = [_demand_of(part) for span in spans for part in _outside(span, pins.ruled)]
    asked = _sorted_demands((*pins.demands, *held, *unasked))
    sounding = _sorted_spans((*_held_spans(fingering, taken), *spans))
    silent = _silent_messages(tune, scene, pins.demands, sounding)
    messages = (*pins.messages, *silent, *messages)
    return DroneSolution(fingering, asked, sounding, messages, accents)


def _under_pins(
    bare: Fingering, scene: DroneScene, keys: tuple[DroneDemand, ...], solve: Solve
) -> Fingering:
    """The melody over the keys that are asked for, and over strict drones."""
    if not keys:
        return bare
    fingering = solve(keys)
    if scene.kind != "substitution" and any(_has_two_fingers(fingering, one) for one in keys):
        fingering = solve(_by_one_finger(fingering, keys))
    return fingering


def _best_line(
    tune: Tune,
    fingering: Fingering,
    scene: DroneScene,
    moments: Sequence[Moment],
    ruled: Sequence[tuple[Fraction, Fraction]],
) -> tuple[tuple[DroneSpan, ...], tuple[Accent, ...], tuple[Message, ...]]:
    """The best line of open strings, with double stops where the edition has them: those that
    nobody asked for only where no pin rules and no key is held."""
    times = whole_times(tune)
    lengths = drone_lengths(tune, times)
    moments, strings = best_line_in_sections(moments, lengths, times.per_whole / 4)
    if scene.under is None:
        accents: tuple[Accent, ...] = ()
        messages: list[Message] = []
    else:
        options = accent_options(tune, fingering.notes, moments, scene.under, scene.chords, ruled)
        line = best_accented_line(moments, options, lengths)
        strings = line.strings
        accents = accents_of(tune, fingering.notes, moments, options, line)
        messages = unheard_pins(tune, fingering.notes, accents)
    spans = open_spans(moments, strings, scene.instrument, times.per_whole)
    return drones_without_rests(spans, tune), accents, tuple(messages)


def _outside(span: DroneSpan, ruled: Sequence[tuple[Fraction, Fraction]]) -> Iterator[DroneSpan]:
    """The parts of a drone over which no pin rules."""
    start, end = span.onset, span.onset + span.duration
    for first, last in ruled:
        if first < end and last > start:
            if start < first:
                yield replace(span, onset=start, duration=first - start)
            start = max(start, last)
    if start < end:
        yield replace(span, onset=start, duration=end - start)


def _has_two_fingers(fingering: Fingering, demand: DroneDemand) -> bool:
    spans = (one for one in fingering.drone if demand.onset <= one.onset < demand.end)
    return len({one.stop.finger for one in spans}) > 1


def _by_one_finger(fingering: Fingering, demands: Sequence[DroneDemand]) -> tuple[DroneDemand, ...]:
    """The drones, each held by the finger that holds it longest: no other takes over."""
    found = []
    for demand in demands:
        held: dict[int, Fraction] = {}
        for span in fingering.drone:
            if demand.onset <= span.onset < demand.end and span.stop.finger:
                before = held.get(span.stop.finger, Fraction(0))
                held[span.stop.finger] = before + span.duration
        finger = max(held, key=lambda one: (held[one], -one), default=demand.finger)
        found.append(replace(demand, finger=finger) if demand.key else demand)
    return tuple(found)


def _silent_messages(
    tune: Tune,
    scene: DroneScene,
    demands: Sequence[DroneDemand],
    spans: Sequence[DroneSpan],
) -> list[Message]:
    """What is to be said of drones that were asked for and sound nowhere."""
    found = []
    for demand in demands:
        if any(_sounds_in(span, demand) for span in spans):
            continue
        stop_midi = scene.instrument.string(demand.string_index).open_midi + demand.key
        bars = [
            bar
            for bar in tune.bars
            if bar.onset < demand.end and bar.onset + bar.duration > demand.onset
        ]
        what = (
            f"{bars_in_words(bar.number for bar in bars)}: the drone {pitch_name(stop_midi)} "
            "sounds nowhere, the melody lies away from it"
        )
        remedy = "choose another"
        if not demand.is_strict:
            remedy += ", or add the word strict to the pin so that the melody bends to it"
        found.append(Message(tune.place, "drone", what, remedy))
    return found


def _sounds_in(span: DroneSpan, demand: DroneDemand) -> bool:
    """Whether the drone that is asked for is heard there, be it that it sounded before too."""
    is_it = (span.stop.string_index, span.stop.key) == (demand.string_index, demand.key)
    return is_it and span.onset < demand.end and span.onset + span.duration > demand.onset


def _keys_to_hold(tune: Tune, scene: DroneScene) -> list[Stop]:
    """The keys that may be held unasked: those of keynote and fifth."""
    tonic = heard_key(tune, tune.key).tonic_class
    stops = drone_stops(scene.instrument, scene.limits)
    return [one for one in stops if one.key and (one.midi - tonic) % 12 in (0, 7)]


def _moments(
    tune: Tune, fingering: Fingering, scene: DroneScene, wishes: Wishes
) -> tuple[Moment, ...]:
    return drone_moments(tune, fingering.notes, scene.instrument, scene.chords, wishes)


def _demand_of(span: DroneSpan) -> DroneDemand:
    return DroneDemand(span.onset, span.duration, span.stop.string_index, span.stop.key)


def _held_spans(fingering: Fingering, demands: Sequence[DroneDemand]) -> Sequence[DroneSpan]:
    """What sounds of the held drones, without shreds; a strict drone keeps them."""
    chains: list[list[DroneSpan]] = []
    for span in fingering.drone:
        if span.is_taken_over and chains:
            chains[-1].append(span)
        else:
            chains.append([span])
    strict = [one for one in demands if one.is_strict]
    kept: list[DroneSpan] = []
    for chain in chains:
        is_strict = any(one.onset <= chain[0].onset < one.end for one in strict)
        if is_strict or sum((span.duration for span in chain), Fraction(0)) >= LEAST_HELD:
            kept += chain
    return kept


def _sorted_demands(demands: Iterable[DroneDemand]) -> tuple[DroneDemand, ...]:
    return tuple(sorted(demands, key=lambda one: one.onset))


def _sorted_spans(spans: Sequence[DroneSpan]) -> tuple[DroneSpan, ...]:
    return tuple(sorted(spans, key=lambda span: span.onset))
