"""All postures for a demand, priced: the layers of the search."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np

from tunebook.model.arrangement import Stop
from tunebook.solve.postures import (
    POSTURE_TERMS,
    Demand,
    Posture,
    PostureSet,
    Reach,
    Slot,
    assignments,
    grain,
)

HAND_SLACK = 2.0
"""Places of the hand that cost more than this above the best for the same fingers are left out."""

Terms = dict[str, float]


def build_postures(demand: Demand, reach: Reach, serial: int) -> PostureSet | None:
    """Enumerate the postures for ``demand``; None when there is none."""
    priced: list[tuple[Posture, Terms, int]] = []
    for slots, holder in _holds(demand, reach):
        fixed = _fixed_terms(demand, reach, slots, holder)
        if fixed is None:
            continue
        terms, pause = fixed
        priced.extend(
            (Posture(slots, holder, hand_key), {**place, **_sum_of(terms, place)}, pause)
            for hand_key, place in _hand_places(demand, reach, slots, holder)
        )
    if not priced:
        return None
    return _as_arrays(demand, reach, serial, priced)


def _sum_of(a: Terms, b: Terms) -> Terms:
    return {name: a.get(name, 0.0) + b.get(name, 0.0) for name in a}


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
    if demand.drone is None or demand.drone[1] == 0:
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
    if demand.trill:
        terms["trill"] = _trill_cost(demand, reach, slots, holder)
    return terms, _is_pause(demand, slots, holder)


def _pressed(demand: Demand, slots: tuple[Slot, ...], holder: int) -> list[Slot]:
    pressed = [slot for slot in slots if slot.finger]
    if holder and demand.drone is not None:
        pressed.append(Slot(demand.drone[0], demand.drone[1], holder))
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


def _trill_cost(demand: Demand, reach: Reach, slots: tuple[Slot, ...], holder: int) -> float:
    """The upper note of a trill wants a key of its string and a free finger above."""
    top = slots[-1]
    upper = top.key + demand.trill
    if upper > reach.instrument.string(top.string).key_count:
        return reach.weights.trill_bound
    used = {slot.finger for slot in slots} | {holder}
    free = [f for f in reach.hand.fingers if f > top.finger and f not in used]
    if not free:
        return reach.weights.trill_bound
    return reach.weights.trill_little_finger if min(free) == 4 else 0.0


def _hand_places(
    demand: Demand, reach: Reach, slots: tuple[Slot, ...], holder: int
) -> list[tuple[int, Terms]]:
    """Places of the hand from which these stops can be reached, with their terms."""
    pressed = _pressed(demand, slots, holder)
    found: list[tuple[int, Terms, float]] = []
    for hand_key in range(len(reach.hand_places_mm)):
        terms = _place_terms(reach, pressed, hand_key)
        if terms is not None:
            found.append((hand_key, terms, sum(terms.values())))
    least = min((cost for _, _, cost in found), default=0.0)
    return [(h, terms) for h, terms, cost in found if cost <= least + HAND_SLACK or not pressed]


def _place_terms(reach: Reach, pressed: list[Slot], hand_key: int) -> Terms | None:
    """Terms of a place of the hand, None when a stop cannot be reached from it."""
    weights = reach.weights
    terms: Terms = {"stretch": 0.0, "squeeze": 0.0}
    is_stretched = False
    for slot in pressed:
        place_mm = reach.instrument.string(slot.string).place_mm(slot.key)
        stretch, squeeze, is_far = reach.lean_cost(slot.finger, hand_key, place_mm)
        if math.isinf(stretch) or math.isinf(squeeze):
            return None
        terms["stretch"] += stretch
        terms["squeeze"] += squeeze
        is_stretched = is_stretched or is_far
    away_mm = reach.hand_places_mm[hand_key] - reach.home_mm
    weight = weights.above_home if away_mm > 0 else -weights.below_home
    terms["home"] = weight * away_mm / 100.0
    limits = reach.limits
    breaks = int(is_stretched and not limits.allows_stretches)
    highest = limits.highest_position
    breaks += int(highest is not None and hand_key > weights.home_key + highest)
    if breaks:
        terms["limit"] = breaks * weights.beyond_limits
    return terms


def _as_arrays(
    demand: Demand, reach: Reach, serial: int, priced: list[tuple[Posture, Terms, int]]
) -> PostureSet:
    """Turn postures into parallel arrays, in an order that settles ties: low hand, low finger."""
    priced.sort(key=lambda item: (item[0].hand_key, item[0].slots, item[0].holder))
    postures = tuple(posture for posture, _, _ in priced)
    tones = len(demand.midis)
    has_holder = demand.drone is not None and demand.drone[1] > 0
    columns = tones + int(has_holder)
    string = np.zeros((len(postures), columns), dtype=np.int64)
    key, finger = string.copy(), string.copy()
    bow = np.zeros(len(postures))
    for row, posture in enumerate(postures):
        slots = list(posture.slots)
        strings = [slot.string for slot in slots]
        if demand.drone is not None and not priced[row][2]:
            strings.append(demand.drone[0])
        if has_holder and demand.drone is not None and posture.holder:
            slots.append(Slot(demand.drone[0], demand.drone[1], posture.holder))
        bow[row] = (min(strings) + max(strings)) / 2.0
        for column, slot in enumerate(slots):
            string[row, column], key[row, column], finger[row, column] = slot
    place_mm, row_mm = _places(reach, string, key)
    place_key = -12.0 * np.log2(1.0 - place_mm / reach.instrument.string_length_mm)
    hand_key = np.array([posture.hand_key for posture in postures], dtype=float)
    names = sorted({name for _, terms, _ in priced for name in terms})
    terms = {name: np.array([item[1].get(name, 0.0) for item in priced]) for name in names}
    priced_terms = np.zeros((len(postures), len(POSTURE_TERMS)))
    for name, costs in terms.items():
        priced_terms[:, POSTURE_TERMS.index(name)] = costs
    labels: dict[tuple[tuple[Slot, ...], int], int] = {}
    for posture in postures:
        labels.setdefault((posture.slots, posture.holder), len(labels))
    return PostureSet(
        serial=serial,
        postures=postures,
        string=string,
        key=key,
        finger=finger,
        place_mm=place_mm,
        place_key=place_key,
        row_mm=row_mm,
        hand_mm=np.array([reach.hand_places_mm[posture.hand_key] for posture in postures]),
        hand_key=hand_key,
        bow=bow,
        tones=tones,
        base=grain(np.sum(np.array(list(terms.values())), axis=0)),
        pause=np.array([pause for _, _, pause in priced], dtype=float),
        stops=tuple(
            tuple(Stop(midi, *slot) for midi, slot in zip(demand.midis, p.slots, strict=True))
            for p in postures
        ),
        packed=np.stack([string, key, finger, place_mm, place_key, row_mm], axis=1),
        label=np.array([labels[p.slots, p.holder] for p in postures], dtype=np.int64),
        priced=priced_terms,
        drone=demand.drone,
        terms=terms,
    )


def _places(reach: Reach, string: np.ndarray, key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the stops in mm along the string and across the rows; 0 for empty slots."""
    place_mm = np.zeros(string.shape)
    row_mm = np.zeros(string.shape)
    for index in np.ndindex(string.shape):
        if string[index]:
            own = reach.instrument.string(int(string[index]))
            place_mm[index] = own.place_mm(int(key[index]))
            row_mm[index] = own.row_mm
    return place_mm, row_mm
