"""Postures: what a hand can hold, and which places of the hand go with it."""

from __future__ import annotations

import pytest

from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.move_tables import CostTables, Link
from tunebook.solve.fingering.postures import Demand, HeldDrone, assignments, tone_places

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
TABLES = CostTables(CGDA, read_hand())


def fingers_at(demand: Demand) -> set[tuple[int, ...]]:
    found = TABLES.postures(demand)
    assert found is not None
    return {tuple(slot.finger for slot in posture.slots) for posture in found.postures}


def test_a_tone_lies_on_every_string_that_has_it() -> None:
    assert tone_places(CGDA, 69) == [(3, 7), (4, 0)]
    assert tone_places(CGDA, 48) == [(1, 0)]
    assert tone_places(CGDA, 49) == []


def test_two_tones_lie_on_neighbouring_strings_only() -> None:
    found = assignments(CGDA, (57, 69))
    assert [(a.string, b.string) for a, b in found] == [(2, 3)]


def test_any_finger_in_use_may_press() -> None:
    assert fingers_at(Demand((71,))) == {(1,), (2,), (3,), (4,)}


def test_a_pin_leaves_one_finger() -> None:
    assert fingers_at(Demand((71,), fingers=(2,))) == {(2,)}


def test_a_pinned_string_leaves_one_string() -> None:
    found = TABLES.postures(Demand((69,), string=3))
    assert found is not None
    assert {posture.slots[0].string for posture in found.postures} == {3}


def test_an_open_string_leaves_the_hand_anywhere() -> None:
    found = TABLES.postures(Demand((69,), string=4))
    assert found is not None
    assert len(found) == TABLES.reach.highest_hand_key + 1


def test_fingers_1_and_4_cannot_lie_at_the_same_place() -> None:
    pairs = fingers_at(Demand((57, 64)))
    assert (1, 2) in pairs and (2, 1) in pairs
    assert (1, 4) not in pairs and (1, 1) not in pairs


def test_a_barre_needs_both_keys_within_the_pad() -> None:
    narrow = CostTables(CGDA, read_hand(HandChoice(allows_barre=True, pad_width_mm=10.0)))
    wide = CostTables(CGDA, read_hand(HandChoice(allows_barre=True, pad_width_mm=18.0)))
    barre = Demand((57, 64), fingers=(1, 1))
    assert narrow.postures(barre) is None
    assert wide.postures(barre) is not None


def test_a_held_drone_takes_a_finger_or_pauses() -> None:
    found = TABLES.postures(Demand((64,), drone=HeldDrone(2, 2)))
    assert found is not None
    for posture, pause in zip(found.postures, found.pause, strict=True):
        assert posture.holder != posture.slots[0].finger
        assert (posture.holder == 0) == bool(pause) or posture.slots[0].string != 3


def test_a_key_below_the_drones_cannot_sound_while_it_is_held() -> None:
    found = TABLES.postures(Demand((57,), drone=HeldDrone(2, 5)))
    assert found is not None
    assert all(posture.holder == 0 for posture in found.postures)


def test_limits_are_dear_but_never_shut_a_note_out() -> None:
    low = CostTables(CGDA, read_hand(), Limits(highest_key=4))
    found = low.postures(Demand((78,)))
    assert found is not None
    assert (found.base >= low.weights.beyond_limits).all()


@pytest.mark.parametrize("time_s", [0.1, 0.5, 2.0])
def test_costs_of_movements_fall_with_time(time_s: float) -> None:
    a, b = TABLES.postures(Demand((64,))), TABLES.postures(Demand((71,)))
    assert a is not None and b is not None
    quick = TABLES.moves(a, b, Link(time_s))
    slow = TABLES.moves(a, b, Link(time_s * 2))
    assert (slow <= quick).all() and (slow < quick).any()
    assert (slow >= 0).all()


def test_costs_are_multiples_of_the_grain() -> None:
    a, b = TABLES.postures(Demand((64,))), TABLES.postures(Demand((71,)))
    assert a is not None and b is not None
    costs = TABLES.moves(a, b, Link(0.3)) * 4096
    assert (costs == costs.round()).all()
