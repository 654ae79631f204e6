"""Rates times parameters are the cost that the solver finds and the second opinion adds up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from corpus_tunes import random_tunes

from tunebook.model.arrangement import Arrangement
from tunebook.model.hand import WEIGHT_BOUNDS, Hand, Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.move_tables import CostTables
from tunebook.solve.learning.lesson import Sheet, as_printed, layers_of, pose_lesson, rates_of_path
from tunebook.solve.learning.parameters import (
    AGAINST,
    CROSSED,
    NAMES,
    hand_with,
    parameters_for,
    to_vector,
)
from tunebook.solve.learning.rates import HandCosts, HandRates
from tunebook.solve.second_opinion.pricing import price
from tunebook.solve.times import tempo_of
from tunebook.solve.transpose import without_pins
from tunebook.solve.weights import KEYED, Weights, weights_for

HARPA, HAND = read_instrument("nyckelharpa-3row"), read_hand()
TUNES = [without_pins(tune) for tune in random_tunes(3, seed=11)]
STRICT = Limits(highest_key=8, allows_crossed_stops=False, allows_shifts=False)


def drawn(seed: int) -> Weights:
    """Weights drawn within their bounds."""
    chance = np.random.default_rng(seed)
    values = {
        name: round(float(chance.uniform(least, most)), 3)
        for name, (least, most) in WEIGHT_BOUNDS.items()
    }
    return replace(KEYED, **values)


@pytest.mark.parametrize("limits", [Limits(), STRICT])
@pytest.mark.parametrize("seed", [0, 1])
def test_the_answer_and_its_cost_are_the_solvers(seed: int, limits: Limits) -> None:
    weights = drawn(seed) if seed else KEYED
    hand = hand_with(HAND, to_vector(weights), parameters_for("keyed"))
    tables, rates = CostTables(HARPA, HAND, limits), HandRates(HARPA, HAND, limits)
    for tune in TUNES:
        speed = tempo_of(tune)[0]
        lesson = pose_lesson(Sheet(tune.title, tune, speed, ()), tables, rates)
        assert lesson is not None
        costs = HandCosts(rates, to_vector(weights))
        _, printed = as_printed(lesson, layers_of(lesson, costs))
        solved = choose_fingering(tune, HARPA, hand, limits, whole_notes_per_second=speed)
        counted = rates_of_path(lesson, rates, printed.states)
        own = price(_arrangement(tune, hand, limits, solved.notes, speed))
        beyond = 1000.0 if limits is STRICT else 0.0
        assert float(counted @ costs.prices) == pytest.approx(printed.cost, abs=0.1)
        if not beyond:
            assert printed.cost == pytest.approx(own.cost, rel=1e-3, abs=0.1)


def _arrangement(tune, hand: Hand, limits: Limits, notes, speed: float) -> Arrangement:  # type: ignore[no-untyped-def]
    return Arrangement(tune, HARPA, hand, limits, notes, whole_notes_per_second=speed)


def test_parameters_and_weights_lead_to_each_other() -> None:
    weights = drawn(3)
    hand = hand_with(HAND, to_vector(weights), parameters_for("keyed"))
    assert hand.higher_finger_on_higher_string
    assert weights_for("keyed", hand) == weights
    assert hand_with(HAND, to_vector(KEYED), parameters_for("keyed")) == HAND


def test_a_cheaper_way_against_the_direction_turns_the_direction() -> None:
    vector = to_vector(KEYED)
    vector[CROSSED], vector[AGAINST] = 2.5, 0.5
    hand = hand_with(HAND, vector, parameters_for("keyed"))
    assert not hand.higher_finger_on_higher_string
    found = weights_for("keyed", hand)
    assert (found.crossed, found.crossed_wrong_way) == (0.5, 2.0)


def test_no_vector_gives_a_weight_outside_its_bounds() -> None:
    chance = np.random.default_rng(5)
    for _ in range(50):
        vector = chance.uniform(-100.0, 100.0, len(NAMES))
        hand = hand_with(HAND, vector, parameters_for("keyed"))
        for one in hand.weights:
            least, most = WEIGHT_BOUNDS[one.name]
            assert least <= one.value <= most
