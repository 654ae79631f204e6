"""The second opinion finds what is wrong, and agrees where nothing is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tune_maker import line, tune

from tunebook.model.arrangement import Arrangement, FingeredNote, Stop
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import DroneDemand, choose_fingering
from tunebook.solve.second_opinion.pricing import find_unplayable, price, verify_arrangement

INSTRUMENTS = {
    name: read_instrument(*name)
    for name in (
        ("nyckelharpa-3row", "CGDA"), ("nyckelharpa-3row", "CGCA"),
        ("nyckelharpa-4row", "CGDA"), ("fiddle", None), ("viola", None),
    )
}  # fmt: skip
CGDA = INSTRUMENTS["nyckelharpa-3row", "CGDA"]
HAND = read_hand()
NAMES = ["A3", "C4", "D4", "E4", "F#4", "G4", "A4", "B4", "C#5", "D5", "E5", "G3+D4", "E4+C5", "z"]


def arranged(played: Tune, instrument=CGDA, speed=0.6, drone=()) -> Arrangement:
    found = choose_fingering(played, instrument, HAND, whole_notes_per_second=speed, drone=drone)
    return Arrangement(
        played, instrument, HAND, Limits(), found.notes, found.drone,
        cost=found.cost, bow_cost=found.bow_cost, whole_notes_per_second=speed,
    )  # fmt: skip


def spoiled(arrangement: Arrangement, index: int, **fields) -> Arrangement:
    notes = list(arrangement.notes)
    moments = tuple(
        replace(moment, stops=fields.get("stops", moment.stops)) for moment in notes[index].moments
    )
    notes[index] = replace(notes[index], moments=moments, **fields)
    return replace(arrangement, notes=tuple(notes))


@pytest.mark.parametrize("name", list(INSTRUMENTS), ids=lambda name: f"{name[0]}-{name[1]}")
@given(
    words=st.lists(st.sampled_from(NAMES), min_size=1, max_size=12),
    speed=st.sampled_from([0.2, 0.6, 1.5]),
    repeats=st.booleans(),
)
@settings(max_examples=25, deadline=None)
def test_every_solution_is_playable_and_costs_what_it_says(name, words, speed, repeats) -> None:
    played = tune([" ".join(words), "A4 B4"], played=[0, 1, 0] if repeats else None)
    assert verify_arrangement(arranged(played, INSTRUMENTS[name], speed)) == ()


@given(
    words=st.lists(st.sampled_from(NAMES), min_size=2, max_size=10),
    string=st.integers(2, 4),
    key=st.integers(0, 7),
    halves=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_every_solution_under_a_drone_is_playable_too(words, string, key, halves) -> None:
    played = tune([" ".join(words)])
    end = Fraction(len(words), 8)
    cut = end / 2 if halves else end
    drone = (DroneDemand(Fraction(0), cut, string, key), DroneDemand(cut, end, 3, 0))
    assert verify_arrangement(arranged(played, drone=drone)) == ()


def test_a_wrong_cost_is_noticed() -> None:
    good = arranged(line("D4 E4 B4"))
    assert "the cost is given as" in verify_arrangement(replace(good, cost=good.cost + 1))[0]


def test_a_wrong_price_of_the_bow_is_noticed() -> None:
    played = line("D4 E4 F5 G5 D4 E4")
    good = arranged(played, drone=(DroneDemand(Fraction(0), Fraction(3, 4), 2, 0),))
    assert good.bow_cost > 0 and verify_arrangement(good) == ()
    faults = verify_arrangement(replace(good, bow_cost=good.bow_cost + 1))
    assert "the bow's cost is given as" in faults[0]


def test_a_better_fingering_costs_less() -> None:
    good = arranged(line("A4 B4 C#5 D5"))
    worse = spoiled(good, 2, stops=(Stop(73, 4, 4, 4),))
    assert price(worse).cost > price(good).cost + 0.3


@pytest.mark.parametrize(
    ("stop", "fault"),
    [
        (Stop(71, 4, 3, 1), "key 3 of the A string does not sound MIDI 71"),
        (Stop(71, 4, 2, 0), "an open string with a finger, or a key without one"),
        (Stop(71, 4, 2, 5), "finger 5 is not in use"),
        (Stop(71, 7, 2, 1), "there is no string 7"),
        (Stop(71, 1, 23, 1), "there is no key 23 on the C string"),
        (Stop(70, 4, 1, 1), "the stops do not sound what is written"),
    ],
)
def test_a_stop_that_cannot_be_is_noticed(stop: Stop, fault: str) -> None:
    bad = spoiled(arranged(line("A4 B4 A4")), 1, stops=(stop,))
    assert f"bar 1: {fault}" in find_unplayable(bad)


@pytest.mark.parametrize(
    ("stops", "fault"),
    [
        ((Stop(64, 3, 2, 1), Stop(71, 3, 9, 4)), "two tones on one string"),
        ((Stop(64, 2, 9, 4), Stop(71, 4, 2, 1)), "strings that do not lie side by side"),
        ((Stop(64, 3, 2, 1), Stop(71, 4, 2, 1)), "finger 1 on two keys"),
    ],
)
def test_a_double_stop_that_cannot_be_is_noticed(stops, fault: str) -> None:
    bad = spoiled(arranged(line("E4+B4")), 0, stops=stops)
    assert any(fault in what for what in find_unplayable(bad))


def test_fingers_farther_apart_than_any_hand_are_noticed() -> None:
    stops = (Stop(63, 3, 1, 1), Stop(82, 4, 13, 2))
    bad = spoiled(arranged(line("Eb4+Bb5")), 0, stops=stops)
    assert any("mm apart" in what for what in find_unplayable(bad))


def test_a_drone_out_of_the_bows_reach_is_noticed() -> None:
    played = line("D4 E4")
    good = arranged(played, drone=(DroneDemand(Fraction(0), Fraction(1, 4), 2, 0),))
    moved = tuple(replace(span, stop=Stop(69, 4, 0, 0)) for span in good.drone)
    high = line("G3")
    bad = replace(arranged(high), drone=moved)
    assert any("the bow cannot reach the drone" in what for what in find_unplayable(bad))
    assert find_unplayable(good) == ()


def test_notes_without_stops_count_for_nothing() -> None:
    good = arranged(line("A4 B2 B4"))
    assert isinstance(good.notes[1], FingeredNote) and not good.notes[1].stops
    assert verify_arrangement(good) == ()
