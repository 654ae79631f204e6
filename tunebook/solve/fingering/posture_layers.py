"""All postures for a demand, priced: the layers of the search."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import Stop
from tunebook.model.instrument import Instrument
from tunebook.solve.fingering.postures import (
    POSTURE_TERMS,
    Array,
    Demand,
    Posture,
    PostureSet,
    Reach,
    Slot,
    assignments,
    grain,
)
from tunebook.solve.fingering.trills import trill_cost

Terms = dict[str, float]
_Placed = tuple[Posture, int, Terms]
"""A posture, the number of its hold, and the terms of the hand's place."""


class _Hold(NamedTuple):
    """What is held, whatever the hand's place: stops, the finger on the drone's key, the terms
    that go with it, and whether the drone pauses."""

    slots: tuple[Slot, ...]
    holder: int
    terms: Terms
    pause: int


def build_postures(demand: Demand, reach: Reach) -> PostureSet | None:
    """Enumerate the postures for ``demand``; None when there is none."""
    holds: list[_Hold] = []
    found: list[_Placed] = []
    for slots, holder in _holds(demand, reach):
        fixed = _fixed_terms(demand, reach, slots, holder)
        if fixed is None:
            continue
        hold = _Hold(slots, holder, *fixed)
        pressed = _pressed(demand, slots, holder)
        for hand_key, place in _hand_places(reach, tuple(pressed)):
            if demand.trill:
                cost = trill_cost(reach, pressed, (slots[-1], demand.trill), hand_key)
                place = {**place, "trill": cost}
            found.append((Posture(slots, holder, hand_key), len(holds), place))
        holds.append(hold)
    if not found:
        return None
    # This order settles ties: low hand, low finger.
    found.sort(key=lambda one: (one[0].hand_key, one[0].slots, one[0].holder))
    return _as_arrays(demand, reach, holds, found)


def _holds(demand: Demand, reach: Reach) -> Iterator[tuple[tuple[Slot, ...], int]]:
    """Every choice of strings, keys and fingers, with the finger on the drone's key."""
    for places in assignments(reach.instrument, demand.midis):
        if demand.string is not None and all(p.string != demand.string for p in places):
            continue
        choices = []
        for number, place in enumerate(places):
            pin = demand.fingers[number] if number < len(demand.fingers) else None
            usable = (0,) if place.key == 0 else reach.hand.fingers
            choices.append([f for f in usable if pin is None or pin == f])
        for fingers in itertools.product(*choices):
            slots = tuple(p._replace(finger=f) for p, f in zip(places, fingers, strict=True))
            for holder in _holders(demand, reach, slots):
                yield slots, holder


def _holders(demand: Demand, reach: Reach, slots: tuple[Slot, ...]) -> Iterator[int]:
    """Fingers that may lie on the drone's key beside these stops; 0 for none."""
    yield 0
    if demand.drone is None or demand.drone.key == 0:
        return
    string, key, pin = demand.drone
    for slot in slots:
        if slot.string == string and slot.key <= key:
            return
    used = {slot.finger for slot in slots}
    for finger in reach.hand.fingers:
        if finger not in used and (pin is None or pin == finger):
            yield finger


def _fixed_terms(
    demand: Demand, reach: Reach, slots: tuple[Slot, ...], holder: int
) -> tuple[Terms, int] | None:
    """Terms that do not depend on the hand's place, and whether the drone pauses."""
    weights = reach.weights
    pressed = _pressed(demand, slots, holder)
    terms: Terms = {"stop": weights.stop * len({slot.finger for slot in pressed})}
    if any(slot.finger == 4 for slot in pressed):
        terms["little_finger"] = weights.little_finger
    if weights.open_string:
        terms["open_string"] = weights.open_string * sum(slot.key == 0 for slot in slots)
    for a, b in itertools.combinations(pressed, 2):
        if a.string == b.string:
            if a.finger == b.finger:
                return None
            continue
        pair = reach.pair_terms(a, b)
        if pair is None:
            return None
        for name, cost in pair.items():
            terms[name] = terms.get(name, 0.0) + cost
    length_mm = reach.instrument.string_length_mm
    for slot in pressed:
        place_mm = reach.instrument.string(slot.string).place_mm(slot.key)
        beyond_mm = max(0.0, place_mm - length_mm / 3.0)
        terms["high_key"] = terms.get("high_key", 0.0) + weights.high_key * beyond_mm / 100.0
        highest = reach.limits.highest_key
        if highest is not None and slot.key > highest:
            terms["limit"] = terms.get("limit", 0.0) + weights.beyond_limits
    if len(slots) == 1 and _is_past_next(reach.instrument, slots[0]):
        terms["high_key"] = terms.get("high_key", 0.0) + weights.past_next
    return terms, _is_pause(demand, slots, holder)


def _is_past_next(instrument: Instrument, slot: Slot) -> bool:
    """Whether the next higher string has the tone too, above its open tone."""
    if slot.string == len(instrument.strings):
        return False
    own, following = instrument.string(slot.string), instrument.string(slot.string + 1)
    return slot.key > following.open_midi - own.open_midi


def _pressed(demand: Demand, slots: tuple[Slot, ...], holder: int) -> list[Slot]:
    pressed = [slot for slot in slots if slot.finger]
    if holder and demand.drone is not None:
        pressed.append(Slot(demand.drone.string, demand.drone.key, holder))
    return pressed


def _is_pause(demand: Demand, slots: tuple[Slot, ...], holder: int) -> int:
    """1 when a drone is asked for and the bow cannot sound it with the melody.

    The bow reaches two neighbouring strings: a melody on a string farther off, or on the drone's
    own string, silences the drone, unless the melody is the drone's tone itself; a broken chord of
    three or four strings silences it too.
    """
    if demand.drone is None:
        return 0
    string, key, _ = demand.drone
    if any(slot.string == string for slot in slots):
        is_same = all(slot.key == key for slot in slots if slot.string == string)
        return 0 if is_same and len(slots) <= 2 else 1
    if len(slots) > 1 or abs(slots[0].string - string) != 1:
        return 1
    return 0 if holder or key == 0 else 1


@functools.lru_cache(maxsize=4096)
def _hand_places(reach: Reach, pressed: tuple[Slot, ...]) -> list[tuple[int, Terms]]:
    """Places of the hand from which these stops can be reached, with their terms."""
    leans = [reach.leans(slot) for slot in pressed]
    found: list[tuple[int, Terms, float]] = []
    for hand_key, home in enumerate(reach.home_costs):
        terms: Terms = {"stretch": 0.0, "squeeze": 0.0}
        is_stretched = False
        for lean in leans:
            stretch, squeeze, is_far = lean[hand_key]
            terms["stretch"] += stretch
            terms["squeeze"] += squeeze
            is_stretched = is_stretched or is_far
        if terms["stretch"] == math.inf or terms["squeeze"] == math.inf:
            continue
        terms["home"] = home
        breaks = _broken_limits(reach, hand_key, is_stretched)
        if breaks:
            terms["limit"] = breaks * reach.weights.beyond_limits
        found.append((hand_key, terms, sum(terms.values())))
    least = min((cost for _, _, cost in found), default=0.0)
    return [
        (h, terms) for h, terms, cost in found if cost <= least + reach.hand_slack or not pressed
    ]


def _broken_limits(reach: Reach, hand_key: int, is_stretched: bool) -> int:
    """How many limits a place of the hand breaks."""
    limits = reach.limits
    breaks = int(is_stretched and not limits.allows_stretches)
    highest = limits.highest_position
    return breaks + int(highest is not None and hand_key > reach.weights.home_key + highest)


def _as_arrays(
    demand: Demand, reach: Reach, holds: list[_Hold], found: list[_Placed]
) -> PostureSet:
    """Turn postures into parallel arrays: those of what is held, laid out over the postures."""
    hold = np.array([number for _, number, _ in found])
    string, key, finger, place_mm, row_mm = (
        field[hold] for field in _slot_fields(demand, reach, holds)
    )
    place_key = -12.0 * np.log2(1.0 - place_mm / reach.instrument.string_length_mm)
    hand_key = np.array([posture.hand_key for posture, _, _ in found])
    priced = _priced(holds, found)
    named = {name for _, _, terms in found for name in terms}
    named.update(*(holds[number].terms for number in set(hold.tolist())))
    if not named.issubset(POSTURE_TERMS):
        raise ValueError("every term of a posture has to stand in POSTURE_TERMS")
    terms = {name: priced[:, at].copy() for at, name in enumerate(POSTURE_TERMS) if name in named}
    labels: dict[int, int] = {}
    stops = [
        tuple([Stop(midi, *slot) for midi, slot in zip(demand.midis, one.slots, strict=True)])
        for one in holds
    ]
    hand_mm = np.array(reach.hand_places_mm)[hand_key]
    bow = np.array([_bow(demand, one) for one in holds])[hold]
    pause = np.array([one.pause for one in holds], dtype=float)[hold]
    return PostureSet(
        demand=demand,
        postures=tuple([posture for posture, _, _ in found]),
        string=string,
        key=key,
        finger=finger,
        place_mm=place_mm,
        place_key=place_key,
        row_mm=row_mm,
        hand_mm=hand_mm,
        hand_key=hand_key.astype(float),
        bow=bow,
        tones=len(demand.midis),
        base=grain(np.sum(np.array(list(terms.values())), axis=0)),
        pause=pause,
        stops=tuple([stops[number] for number in hold.tolist()]),
        packed=np.stack([string, key, finger, place_mm, place_key, row_mm], axis=1),
        label=np.array([labels.setdefault(number, len(labels)) for number in hold.tolist()]),
        facts=np.column_stack([hand_mm, bow, pause, priced]),
        terms=terms,
    )


def _bow(demand: Demand, hold: _Hold) -> float:
    """The middle of the strings that the bow sounds."""
    strings = [slot.string for slot in hold.slots]
    if demand.drone is not None and not hold.pause:
        strings.append(demand.drone.string)
    return (min(strings) + max(strings)) / 2.0


def _priced(holds: list[_Hold], found: list[_Placed]) -> Array:
    """All terms of each posture, shape (postures, terms)."""
    rows = []
    for _, number, place in found:
        held = holds[number].terms
        rows.append([held.get(name, 0.0) + place.get(name, 0.0) for name in POSTURE_TERMS])
    return np.array(rows)


def _slot_fields(demand: Demand, reach: Reach, holds: list[_Hold]) -> list[Array]:
    """String, key, finger, place and row in mm of each slot of each hold; 0 for empty slots, and
    the place of an open string."""
    columns = len(demand.midis) + int(demand.drone is not None and demand.drone.key > 0)
    whole = np.zeros((3, len(holds), columns), dtype=np.int64)
    in_mm = np.zeros((2, len(holds), columns))
    for row, hold in enumerate(holds):
        slots = list(hold.slots)
        if hold.holder and demand.drone is not None:
            slots.append(Slot(demand.drone.string, demand.drone.key, hold.holder))
        for column, slot in enumerate(slots):
            own = reach.instrument.string(slot.string)
            whole[:, row, column] = slot
            in_mm[:, row, column] = own.place_mm(slot.key), own.row_mm
    return [*whole, *in_mm]
