"""Postures: every way in which a hand can hold what sounds at one moment, and its cost.

A posture is one state of the search: for each tone a string, a key and a finger, perhaps a finger
that holds a drone's key, and the hand's place, i.e. the key at which the index naturally lies. The
hand's place is part of the state because costs between fingers alone cannot tell a shift from a
stretch.

Spans: Parncutt, Sloboda, Clarke, Raekallio & Desain 1997, Music Perception 14(4), in mm; on one
row the distance is along the string, between rows it is taken in the plane, and two fingers may
come as close as the rows lie, else a crossed stop would count as impossible.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import Stop
from tunebook.model.hand import FINGER_PAIRS, Hand, Limits
from tunebook.model.instrument import Instrument, key_place_mm
from tunebook.solve.weights import GRAIN, PIANO_SEMITONE_MM, Weights, is_barre_usual

Array = np.ndarray


POSTURE_TERMS = (
    "barre", "crossed", "high_key", "home", "limit", "little_finger", "open_string", "order",
    "squeeze", "stop", "stretch", "trill",
)  # fmt: skip
"""Everything that a posture may cost, in alphabetical order."""


HAND_SLACK = 2.0
"""Places of the hand that cost more than this above the best for the same fingers are left out."""

KEY_STEP_SHARE: float = 1.0 - 2.0 ** (-1.0 / 12.0)
"""How far the next key is, as a share of the string that sounds (equal temperament)."""


class Bound(IntEnum):
    """Columns of ``Reach.spans``: the distances of a Span, in units of a piano semitone."""

    MIN_PRACTICAL = 0
    MIN_COMFORTABLE = 1
    MIN_RELAXED = 2
    MAX_RELAXED = 3
    MAX_COMFORTABLE = 4
    MAX_PRACTICAL = 5


class HeldDrone(NamedTuple):
    """A drone to be held: index of its string, its key (0 open), its finger (None when free)."""

    string: int
    key: int
    finger: int | None = None


class Demand(NamedTuple):
    """What has to sound at one event.

    ``midis`` are the tones in written order. ``fingers`` (parallel) and ``string`` are pins, None
    where free. ``trill`` is the number of semitones up to a trill's upper note, 0 without one.
    """

    midis: tuple[int, ...]
    fingers: tuple[int | None, ...] = ()
    string: int | None = None
    drone: HeldDrone | None = None
    trill: int = 0


class Slot(NamedTuple):
    """One tone of a posture: its string, key and finger."""

    string: int
    key: int
    finger: int


class Posture(NamedTuple):
    """One posture in plain values. ``slots`` are parallel to the demand's tones; ``holder`` is the
    finger on the drone's key, 0 for none; ``hand_key`` the place of the hand."""

    slots: tuple[Slot, ...]
    holder: int
    hand_key: int


@dataclass(frozen=True)
class PostureSet:
    """All postures for one demand as parallel arrays; row i is one posture.

    ``string``, ``key``, ``finger``, ``place_mm``, ``place_key``, ``row_mm`` have one column a slot
    (the drone's holder last); string 0 is an empty slot, finger 0 an open string. ``base`` is the
    posture's cost for one event, ``pause`` 1 where the bow has to leave the drone. ``label``
    numbers what a player sees (strings, keys, fingers), whatever the hand's place. ``stops`` are
    the tones as they are handed on, ``packed`` all slot fields in one array (postures, fields,
    slots), ``facts`` in one (postures, facts) the hand's place, the bow's, whether the drone
    pauses, and all terms in the order of POSTURE_TERMS. Two sets for one ``demand`` on one Reach
    are equal, so tables are kept by it: whoever made a set, it is the same.
    """

    demand: Demand
    postures: tuple[Posture, ...]
    string: Array
    key: Array
    finger: Array
    place_mm: Array
    place_key: Array
    row_mm: Array
    hand_mm: Array
    hand_key: Array
    bow: Array
    tones: int
    base: Array
    pause: Array
    label: Array
    stops: tuple[tuple[Stop, ...], ...]
    packed: Array
    facts: Array
    terms: dict[str, Array] = field(default_factory=dict)

    @property
    def drone(self) -> HeldDrone | None:
        """The drone that is held, None without one."""
        return self.demand.drone

    @functools.cached_property
    def may_pause(self) -> bool:
        """True when the bow has to leave the drone in some of the postures."""
        return bool(self.pause.any())

    @property
    def width(self) -> int:
        """How many slots a posture has."""
        return int(self.string.shape[1])

    def __len__(self) -> int:
        return len(self.postures)


class Reach:
    """The hand on this instrument: places of keys, spans in units, costs of stretch and squeeze.
    ``hand_slack`` says which places of the hand are left out (see HAND_SLACK)."""

    def __init__(
        self,
        instrument: Instrument,
        hand: Hand,
        limits: Limits,
        weights: Weights,
        hand_slack: float = HAND_SLACK,
    ) -> None:
        self.hand_slack = hand_slack
        self.instrument = instrument
        self.hand = hand
        self.limits = limits
        self.weights = weights
        self.highest_hand_key = max(1, max(s.key_count for s in instrument.strings) - 1)
        self.hand_places_mm = tuple(
            key_place_mm(instrument.string_length_mm, key)
            for key in range(self.highest_hand_key + 1)
        )
        self.spans = np.zeros((5, 5, len(Bound)))
        for pair, span in zip(FINGER_PAIRS, hand.spans, strict=True):
            bounds = (
                span.min_practical_mm, span.min_comfortable_mm, span.min_relaxed_mm,
                span.max_relaxed_mm, span.max_comfortable_mm, span.max_practical_mm,
            )  # fmt: skip
            self.spans[pair] = np.array(bounds) / PIANO_SEMITONE_MM
        self.row_units = instrument.row_distance_mm / PIANO_SEMITONE_MM
        self.home_mm = key_place_mm(instrument.string_length_mm, int(weights.home_key))

        away_mm = [place_mm - self.home_mm for place_mm in self.hand_places_mm]
        self.home_costs = tuple(
            (weights.above_home if away > 0 else -weights.below_home) * away / 100.0
            for away in away_mm
        )
        self._leans: dict[tuple[int, float], list[tuple[float, float, bool]]] = {}

    def leans(self, slot: Slot) -> list[tuple[float, float, bool]]:
        """``lean_cost`` of this finger on this key from each place of the hand."""
        place_mm = self.instrument.string(slot.string).place_mm(slot.key)
        known = self._leans.get((slot.finger, place_mm))
        if known is None:
            known = [
                self.lean_cost(slot.finger, hand_key, place_mm)
                for hand_key in range(len(self.hand_places_mm))
            ]
            self._leans[slot.finger, place_mm] = known
        return known

    def place_key(self, place_mm: float) -> float:
        """Key number, not rounded, that lies at this place: the fret formula turned round."""
        return -12.0 * math.log2(1.0 - place_mm / self.instrument.string_length_mm)

    def span_cost(self, lower: int, upper: int, units: float) -> tuple[float, float]:
        """Cost of (stretch, squeeze) of two fingers ``units`` apart; inf beyond the practical."""
        least, easy_least, relaxed_least, relaxed_most, easy_most, most = self.spans[lower, upper]
        if units > most + 1e-9 or units < least - 1e-9:
            return math.inf, math.inf
        extra = self.weights.uncomfortable - 1.0
        stretch = max(0.0, units - relaxed_most) ** 2 + extra * max(0.0, units - easy_most)
        squeeze = max(0.0, relaxed_least - units) ** 2 + extra * max(0.0, easy_least - units)
        return self.weights.stretch * stretch, self.weights.squeeze * squeeze

    def is_stretched(self, lower: int, upper: int, units: float) -> bool:
        """True beyond the most comfortable span."""
        return bool(units > self.spans[lower, upper, Bound.MAX_COMFORTABLE] + 1e-9)

    def lean_cost(self, finger: int, hand_key: int, place_mm: float) -> tuple[float, float, bool]:
        """(stretch, squeeze, is stretched) of a finger seen from the hand's place alone."""
        hand_mm = self.hand_places_mm[hand_key]
        units = 0.5 * (place_mm - hand_mm) / PIANO_SEMITONE_MM
        units += 0.5 * (self.place_key(place_mm) - hand_key)
        if finger > 1:
            near = self.spans[1, finger, Bound.MIN_PRACTICAL] - units
            if finger == 2 and 0.0 < near <= 1.0 + 1e-9:
                # The index may lie in another row, so the middle finger may come level with it.
                return 0.0, self.weights.level * near, False
            stretch, squeeze = self.span_cost(1, finger, units)
            return stretch, squeeze, self.is_stretched(1, finger, units)
        if abs(units) > self.weights.index_reach + 1e-9:
            return math.inf, math.inf, True
        beyond = max(0.0, abs(units) - self.weights.index_lean)
        stretch = self.weights.lean * abs(units)
        stretch += self.weights.stretch * self.weights.uncomfortable * beyond
        return stretch, 0.0, beyond > 0

    def distance(self, a: Slot, b: Slot) -> tuple[float, float]:
        """(units between two stops, signed mm along the string from a to b)."""
        string_a, string_b = self.instrument.string(a.string), self.instrument.string(b.string)
        place_a, place_b = string_a.place_mm(a.key), string_b.place_mm(b.key)
        along_mm = place_b - place_a
        across_mm = string_b.row_mm - string_a.row_mm
        keys = self.place_key(place_b) - self.place_key(place_a)
        units = 0.5 * math.hypot(along_mm, across_mm) / PIANO_SEMITONE_MM
        units += 0.5 * math.hypot(keys, across_mm / PIANO_SEMITONE_MM)
        return units, along_mm

    def key_step_mm(self, place_mm: float) -> float:
        """Distance of neighbouring keys at this place."""
        return (self.instrument.string_length_mm - place_mm) * KEY_STEP_SHARE

    def pair_terms(self, a: Slot, b: Slot) -> dict[str, float] | None:
        """Cost of two keys held at once, None when the fingers cannot lie so."""
        weights = self.weights
        if a.finger > b.finger:
            a, b = b, a
        units, along_mm = self.distance(a, b)
        if a.finger == b.finger:
            return self._barre_terms(a, b, along_mm)
        if a.string == b.string:
            return None
        step_mm = self.key_step_mm(self.instrument.string(a.string).place_mm(a.key))
        terms: dict[str, float] = {}
        if along_mm < -1.5 * step_mm:
            return None
        least = self.spans[a.finger, b.finger, Bound.MIN_PRACTICAL]
        if least <= 1.5 * self.row_units:
            units = max(units, least)
        stretch, squeeze = self.span_cost(a.finger, b.finger, units)
        if math.isinf(stretch):
            return None
        terms["stretch"], terms["squeeze"] = stretch, squeeze
        if self.is_stretched(a.finger, b.finger, units) and not self.limits.allows_stretches:
            terms["limit"] = weights.beyond_limits
        if abs(along_mm) <= weights.crossed_window * step_mm:
            terms["crossed"] = weights.crossed_posture
            is_natural = (b.string > a.string) == self.hand.higher_finger_on_higher_string
            if not is_natural:
                terms["crossed"] += weights.crossed_wrong_way
            if not self.limits.allows_crossed_stops:
                terms["limit"] = terms.get("limit", 0.0) + weights.beyond_limits
        elif along_mm < 0:
            terms["order"] = weights.reversed_posture
        return terms

    def _barre_terms(self, a: Slot, b: Slot, along_mm: float) -> dict[str, float] | None:
        kind = self.instrument.kind
        if not (self.hand.allows_barre or is_barre_usual(kind)):
            return None
        pad_mm = math.hypot(along_mm, self.instrument.row_distance_mm)
        if abs(a.string - b.string) != 1 or pad_mm > self.hand.pad_width_mm:
            return None
        terms = {"barre": self.weights.barre}
        if not self.limits.allows_barre and not is_barre_usual(kind):
            terms["limit"] = self.weights.beyond_limits
        return terms


def grain(costs: Array) -> Array:
    """Round costs to multiples of 1/4096."""
    return np.rint(costs * GRAIN) / GRAIN


def tone_places(instrument: Instrument, midi: int) -> list[tuple[int, int]]:
    """Every (string index, key) that sounds ``midi``."""
    places = []
    for string in instrument.strings:
        key = midi - string.open_midi
        if 0 <= key <= string.key_count:
            places.append((string.index, key))
    return places


def assignments(instrument: Instrument, midis: tuple[int, ...]) -> list[tuple[Slot, ...]]:
    """Every way to lay the tones on different strings side by side, fingers not yet chosen."""
    found: list[tuple[Slot, ...]] = []
    if len(midis) > len(instrument.strings):
        return found
    for places in itertools.product(*(tone_places(instrument, midi) for midi in midis)):
        strings = [string for string, _ in places]
        is_side_by_side = max(strings) - min(strings) == len(strings) - 1
        if len(set(strings)) == len(strings) and is_side_by_side:
            found.append(tuple(Slot(string, key, 0) for string, key in places))
    return found
