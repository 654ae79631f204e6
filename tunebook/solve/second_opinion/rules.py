"""The costs of ``weights`` written out once more, one posture and one movement at a time.

The search computes with tables; this module prices single postures and movements in plain
arithmetic and shares nothing with the search but the weights, so that each checks the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

from tunebook.model.arrangement import Stop
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument, key_place_mm
from tunebook.solve.weights import PIANO_SEMITONE_MM, Weights

Costs = dict[str, float]


@dataclass(frozen=True, slots=True)
class Posture:
    """A hand at one moment: the tones' stops, the drone's with its finger, the hand's place."""

    stops: tuple[Stop, ...]
    drone: Stop | None
    hand_key: float
    is_paused: bool

    @property
    def pressed(self) -> list[Stop]:
        """All stops that a finger presses, the drone's last."""
        held = [self.drone] if self.drone is not None and self.drone.finger else []
        return [stop for stop in (*self.stops, *held) if stop.finger]

    @property
    def bow(self) -> float:
        """The middle of the strings that the bow touches."""
        strings = [stop.string_index for stop in self.stops]
        if self.drone is not None and not self.is_paused:
            strings.append(self.drone.string_index)
        return (min(strings) + max(strings)) / 2


class _Way(NamedTuple):
    """From one stop to one of the next posture: how far the hand moves (mm) in how much time,
    whether within one stroke, and whether the finger is exchanged without a new one."""

    before: Stop
    after: Stop
    moved: float
    time_s: float
    is_slurred: bool
    is_silent: bool


class PriceRules:
    """Prices for one instrument and hand."""

    def __init__(self, instrument: Instrument, hand: Hand, weights: Weights) -> None:
        self.instrument = instrument
        self.hand = hand
        self.weights = weights

    # Places and distances.

    def place_mm(self, stop: Stop) -> float:
        return self.instrument.string(stop.string_index).place_mm(stop.key)

    def row_mm(self, stop: Stop) -> float:
        return self.instrument.string(stop.string_index).row_mm

    def keys(self, place_mm: float) -> float:
        return -12 * math.log2(1 - place_mm / self.instrument.string_length_mm)

    def hand_mm(self, hand_key: float) -> float:
        return key_place_mm(self.instrument.string_length_mm, int(hand_key))

    def step_mm(self, place_mm: float) -> float:
        return (self.instrument.string_length_mm - place_mm) * (1 - 2 ** (-1 / 12))

    def units(self, a: Stop, b: Stop) -> float:
        """Distance of two stops in the plane: half piano semitones, half keys."""
        along = self.place_mm(b) - self.place_mm(a)
        across = self.row_mm(b) - self.row_mm(a)
        keys = self.keys(self.place_mm(b)) - self.keys(self.place_mm(a))
        in_mm = math.hypot(along, across) / PIANO_SEMITONE_MM
        in_keys = math.hypot(keys, across / PIANO_SEMITONE_MM)
        return (in_mm + in_keys) / 2

    def span(self, lower: int, upper: int) -> tuple[float, ...]:
        span = self.hand.span(lower, upper)
        return tuple(
            bound / PIANO_SEMITONE_MM
            for bound in (
                span.min_practical_mm,
                span.min_comfortable_mm,
                span.min_relaxed_mm,
                span.max_relaxed_mm,
                span.max_comfortable_mm,
                span.max_practical_mm,
            )
        )

    def beyond(self, lower: int, upper: int, units: float) -> tuple[float, float]:
        """(stretch, squeeze): squared units beyond the relaxed span, and more beyond the easy."""
        _, easy_least, relaxed_least, relaxed_most, easy_most, _ = self.span(lower, upper)
        more = self.weights.uncomfortable - 1
        stretch = max(0.0, units - relaxed_most) ** 2 + more * max(0.0, units - easy_most)
        squeeze = max(0.0, relaxed_least - units) ** 2 + more * max(0.0, easy_least - units)
        return stretch, squeeze

    # Postures.

    def posture(self, posture: Posture, trill: int) -> Costs:
        """Cost of a posture for one whole event, a paused drone left out."""
        weights = self.weights
        pressed = posture.pressed
        costs: Costs = {"stop": weights.stop * len({stop.finger for stop in pressed})}
        if any(stop.finger == 4 for stop in pressed):
            costs["little_finger"] = weights.little_finger
        open_strings = sum(stop.key == 0 for stop in posture.stops)
        _add(costs, "open_string", weights.open_string * open_strings)
        if len(posture.stops) == 1 and self._is_past_next(posture.stops[0]):
            _add(costs, "high_key", weights.past_next)
        for stop in pressed:
            third = self.instrument.string_length_mm / 3
            high = max(0.0, self.place_mm(stop) - third) / 100
            _add(costs, "high_key", weights.high_key * high)
            self._add_reach(costs, stop, posture.hand_key)
        for a, b in combinations(pressed, 2):
            if a.string_index != b.string_index:
                self._add_pair(costs, *sorted((a, b), key=lambda stop: stop.finger))
        away = (self.hand_mm(posture.hand_key) - self.hand_mm(weights.home_key)) / 100
        costs["home"] = weights.above_home * away if away > 0 else -weights.below_home * away
        if trill:
            costs["trill"] = self._trill(posture, trill)
        return costs

    def _is_past_next(self, stop: Stop) -> bool:
        """Whether a tone would be no open string and yet be had on the next string up."""
        above = self.instrument.strings[stop.string_index :]
        return bool(above) and stop.midi > above[0].open_midi

    def _add_reach(self, costs: Costs, stop: Stop, hand_key: float) -> None:
        """How far a finger lies from where the hand has it."""
        weights = self.weights
        place_mm = self.place_mm(stop)
        units = (place_mm - self.hand_mm(hand_key)) / PIANO_SEMITONE_MM
        units = (units + self.keys(place_mm) - hand_key) / 2
        if stop.finger == 1:
            beyond = max(0.0, abs(units) - weights.index_lean)
            lean = weights.lean * abs(units)
            _add(costs, "stretch", lean + weights.stretch * weights.uncomfortable * beyond)
            return
        least = self.span(1, stop.finger)[0]
        if stop.finger == 2 and units < least:
            _add(costs, "squeeze", weights.level * (least - units))
            return
        stretch, squeeze = self.beyond(1, stop.finger, units)
        _add(costs, "stretch", weights.stretch * stretch)
        _add(costs, "squeeze", weights.squeeze * squeeze)

    def _add_pair(self, costs: Costs, a: Stop, b: Stop) -> None:
        """Two keys held at once, ``a`` by the lower finger."""
        weights = self.weights
        if a.finger == b.finger:
            _add(costs, "barre", weights.barre)
            return
        along = self.place_mm(b) - self.place_mm(a)
        least = self.span(a.finger, b.finger)[0]
        units = self.units(a, b)
        if least <= 1.5 * self.instrument.row_distance_mm / PIANO_SEMITONE_MM:
            units = max(units, least)
        stretch, squeeze = self.beyond(a.finger, b.finger, units)
        _add(costs, "stretch", weights.stretch * stretch)
        _add(costs, "squeeze", weights.squeeze * squeeze)
        if abs(along) <= weights.crossed_window * self.step_mm(self.place_mm(a)):
            _add(costs, "crossed", weights.crossed_posture)
            if self._is_wrong_way(a, b):
                _add(costs, "crossed", weights.crossed_wrong_way)
        elif along < 0:
            _add(costs, "order", weights.reversed_posture)

    def _is_wrong_way(self, a: Stop, b: Stop) -> bool:
        lower, upper = sorted((a, b), key=lambda stop: stop.finger)
        is_upward = upper.string_index > lower.string_index
        return is_upward != self.hand.higher_finger_on_higher_string

    def _trill(self, posture: Posture, trill: int) -> float:
        top = posture.stops[-1]
        has_key = top.key + trill <= self.instrument.string(top.string_index).key_count
        used = {stop.finger for stop in posture.pressed}
        upper = replace(top, key=top.key + trill)
        free = [
            finger
            for finger in self.hand.fingers
            if finger > top.finger
            and finger not in used
            and has_key
            and self._can_trill(replace(upper, finger=finger), top, posture.hand_key)
        ]
        if not free:
            return self.weights.trill_bound
        return self.weights.trill_little_finger if free[0] == 4 else 0.0

    def _can_trill(self, upper: Stop, below: Stop, hand_key: float) -> bool:
        """Whether a finger is within reach of the hand, and of the finger below, for a trill."""
        if below.finger and self.units(below, upper) > self.span(below.finger, upper.finger)[5]:
            return False
        place_mm = self.place_mm(upper)
        units = (place_mm - self.hand_mm(hand_key)) / PIANO_SEMITONE_MM
        units = (units + self.keys(place_mm) - hand_key) / 2
        if upper.finger == 1:
            return abs(units) <= self.weights.index_reach + 1e-9
        least, *_, most = self.span(1, upper.finger)
        if upper.finger == 2:
            least -= 1
        return least - 1e-9 <= units <= most + 1e-9

    # Movements.

    def movement(
        self,
        a: Posture,
        b: Posture,
        time_s: float,
        *,
        is_slurred: bool = False,
        is_freed: bool = False,
        is_held: bool = False,
        is_turning: bool = False,
    ) -> Costs:
        """Cost of going from one posture to the next in ``time_s``."""
        weights = self.weights
        costs: Costs = {}
        moved = abs(self.hand_mm(b.hand_key) - self.hand_mm(a.hand_key))
        share = weights.shift_freed if is_freed or not a.pressed else 1.0
        whole = weights.shift + (weights.shift_turning if is_turning else 0.0)
        shift = whole * min(1.0, moved / weights.shift_full_mm)
        _add(costs, "shift", share * (shift + weights.shift_speed * moved / 100 / time_s))
        away = abs(b.bow - a.bow)
        change = weights.string_change + (weights.string_change_slurred if is_slurred else 0)
        cost = change * min(1.0, away) + weights.string_skip * max(0.0, away - 1)
        _add(costs, "string_change", cost)
        if not is_freed:
            for before in a.pressed:
                for after in b.pressed:
                    way = _Way(
                        before=before,
                        after=after,
                        moved=moved,
                        time_s=time_s,
                        is_slurred=is_slurred,
                        is_silent=is_held or before is a.drone,
                    )
                    is_kept = _holds(b.pressed, before) or _holds(a.pressed, after)
                    self._add_fingers(costs, way, is_kept)
        return costs

    def _add_fingers(self, costs: Costs, way: _Way, is_kept: bool) -> None:
        """``is_kept`` where one of the two stops is held before and after."""
        weights, time_s = self.weights, way.time_s
        before, after = way.before, way.after
        along = self.place_mm(after) - self.place_mm(before)
        if before.finger == after.finger:
            if before.string_index != after.string_index:
                way_dm = math.hypot(along, self.row_mm(after) - self.row_mm(before)) / 100
                jump = weights.jump + (weights.jump_slurred if way.is_slurred else 0)
                _add(costs, "row_jump", jump + weights.jump_speed * way_dm / time_s)
            elif before.key != after.key:
                speed = weights.slide_speed * abs(along) / 100 / time_s
                _add(costs, "slide", weights.slide + speed)
        elif _is_same_key(before, after):
            cost = weights.substitution if way.is_silent else weights.substitution_restruck
            _add(costs, "substitution", cost + weights.substitution_speed / time_s)
        elif not is_kept:
            self._add_successive(costs, way, along)

    def _add_successive(self, costs: Costs, way: _Way, along: float) -> None:
        weights, before, after = self.weights, way.before, way.after
        lower, upper = sorted((before.finger, after.finger))
        ordered = along if after.finger > before.finger else -along
        if before.string_index == after.string_index and ordered < 0:
            is_shifted = way.moved >= abs(along) / 2
            _add(costs, "passing", weights.passing if is_shifted else weights.passing_in_place)
        nearer = min(self.place_mm(before), self.place_mm(after))
        is_level = abs(along) <= weights.crossed_window * self.step_mm(nearer)
        is_crossed = before.string_index != after.string_index and is_level
        if is_crossed:
            wrong = self._is_wrong_way(before, after)
            _add(costs, "crossed", weights.crossed + (weights.crossed_wrong_way if wrong else 0))
        if (lower, upper) == (3, 4):
            speed = weights.weak_neighbours_speed / way.time_s
            _add(costs, "weak_neighbours", weights.weak_neighbours + speed)
        if way.moved < 1.0 and not is_crossed and ordered > 0:
            units = self.units(before, after)
            stretch, squeeze = self.beyond(lower, upper, units)
            far = weights.sequence_reach if units > self.span(lower, upper)[-1] else 0.0
            share = weights.sequence_span_index if lower == 1 else weights.sequence_span
            _add(costs, "stretch", far + share * weights.stretch * stretch)
            _add(costs, "squeeze", share * weights.squeeze * squeeze)


def _add(costs: Costs, name: str, cost: float) -> None:
    if cost:
        costs[name] = costs.get(name, 0.0) + cost


def _is_same_key(a: Stop, b: Stop) -> bool:
    return (a.string_index, a.key) == (b.string_index, b.key)


def _holds(stops: Sequence[Stop], stop: Stop) -> bool:
    """True when the same finger lies on the same key."""
    return any(_is_same_key(other, stop) and other.finger == stop.finger for other in stops)
