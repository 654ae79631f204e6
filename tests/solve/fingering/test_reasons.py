"""Reasons in words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from tune_maker import tune

from tunebook.model.arrangement import Arrangement
from tunebook.model.hand import Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import DroneDemand, choose_fingering
from tunebook.solve.fingering.reasons import (
    TERM_WORDS,
    explain_bars,
    other_ways_as_text,
    reasons_as_text,
)

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand()
TUNE = tune(["D4 E4 B4 E4", "A4 B4 C#5 D5"])


def arranged(drone=()) -> Arrangement:
    found = choose_fingering(
        TUNE, CGDA, HAND, whole_notes_per_second=1.0, alternatives=2, drone=drone
    )
    return Arrangement(TUNE, CGDA, HAND, Limits(), found.notes, found.drone)


def test_only_the_bars_asked_for_are_explained() -> None:
    assert {reason.bar for reason in explain_bars(arranged(), 2, 2)} == {2}
    assert len(explain_bars(arranged(), 1, 2)) == 8


def test_a_reason_names_string_key_finger_and_place() -> None:
    text = reasons_as_text(explain_bars(arranged(), 1, 1))
    assert text[0] == "bar 1  D4: D string open"
    assert any("A string key 2, finger 2; hand at key" in line for line in text)
    assert any("[crossed stop]" in line for line in text)


def test_costs_stand_in_words_and_add_up() -> None:
    for reason in explain_bars(arranged(), 1, 2):
        assert sum(cost for _, cost in reason.terms) == pytest.approx(reason.cost, abs=0.02)
    text = "\n".join(reasons_as_text(explain_bars(arranged(), 1, 1)))
    assert "crossed stop: two fingers at the same place in two rows" in text


def test_other_stops_are_given_with_what_they_cost_more() -> None:
    text = reasons_as_text(explain_bars(arranged(), 1, 1))
    assert any(line.startswith("    or ") and "(+" in line for line in text)


def test_bars_that_do_not_exist_are_an_error_that_says_which_do() -> None:
    with pytest.raises(ValueError, match="there are no bars 8 to 9; the tune has bars 1 to 2"):
        explain_bars(arranged(), 8, 9)


def test_the_finger_on_the_drone_is_named() -> None:
    played = tune(["D4 E4 F#4 G4 F#4 E4 D4 E4", "A5 G5 F#5 A5"])
    drone = (DroneDemand(Fraction(0), Fraction(2), 2, 2),)
    found = choose_fingering(played, CGDA, HAND, whole_notes_per_second=0.5, drone=drone)
    arrangement = Arrangement(played, CGDA, HAND, Limits(), found.notes, found.drone)
    text = "\n".join(reasons_as_text(explain_bars(arrangement, 1, 2)))
    assert "finger 1 holds the drone" in text
    assert "the drone pauses" in text


def test_other_ways_through_a_passage_list_what_changes() -> None:
    found = choose_fingering(TUNE, CGDA, HAND, whole_notes_per_second=1.0, other_ways=2)
    arrangement = replace(arranged(), other_ways=found.other_ways)
    assert len(found.other_ways) == 2 and found.notes == choose_fingering(
        TUNE, CGDA, HAND, whole_notes_per_second=1.0
    ).notes  # fmt: skip
    text = other_ways_as_text(arrangement)
    assert text[0].startswith("way 2 (+")
    assert "instead of" in text[1]


def test_every_term_of_a_cost_has_words() -> None:
    drone = (DroneDemand(Fraction(0), Fraction(1), 2, 2),)
    found = choose_fingering(TUNE, CGDA, HAND, whole_notes_per_second=1.0, drone=drone)
    assert {name for name, _ in found.terms} <= set(TERM_WORDS)
