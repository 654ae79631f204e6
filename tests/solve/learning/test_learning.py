"""Invented players' habits are found again in tunes that they fingered, and nothing else is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from corpus_tunes import random_tunes
from players import PLAYERS, sheets_by, weights

from tunebook.model.book import HandChoice
from tunebook.model.hand import WEIGHT_BOUNDS, Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.learning.habits import (
    changed_habits,
    habits_of,
    with_habit_alone,
    without_habit,
)
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.margin import left_at
from tunebook.solve.learning.marks import added, agreement
from tunebook.solve.learning.parameters import parameters_for
from tunebook.solve.learning.study import (
    SAME,
    Begun,
    Learnt,
    Spans,
    World,
    answer,
    folds_of,
    further_tries,
    learn,
    measure_folds,
)
from tunebook.solve.learning.verdict import verdict

HARPA = read_instrument("nyckelharpa-3row")
WORLD = World(HARPA, read_hand(), Limits())
TUNES = random_tunes(13, seed=5)
SEEN = 10
ROUNDS = 12


def share(hand, sheets: list[Sheet]) -> float:  # type: ignore[no-untyped-def]
    return added(agreement(one.marks, answer(WORLD, hand, one)) for one in sheets).share


@pytest.fixture(scope="module")
def sparing() -> tuple[list[Sheet], Learnt]:
    """Tunes of one who spares the little finger, and what is learnt."""
    sheets = sheets_by(PLAYERS["spares the little finger"], TUNES, HARPA)
    return sheets, learn(WORLD, SAME, sheets[:SEEN], ROUNDS)


def test_who_fingers_as_the_program_does_teaches_nothing() -> None:
    sheets = sheets_by(PLAYERS["as usual"], TUNES[:3], HARPA)
    learnt = learn(WORLD, SAME, sheets, ROUNDS)
    hand = WORLD.learnt(SAME, learnt.vector)
    assert share(hand, sheets) == 1.0
    folds = [(names, SAME) for names in folds_of(sheets)[:2]]
    measured = [one for fold in measure_folds(WORLD, sheets, folds, learnt) for one in fold]
    assert verdict(measured).is_alike


def test_a_habit_is_learnt_from_few_tunes_and_holds_on_others(
    sparing: tuple[list[Sheet], Learnt],
) -> None:
    sheets, learnt = sparing
    hand = WORLD.learnt(SAME, learnt.vector)
    before, after = share(WORLD.hand, sheets[SEEN:]), share(hand, sheets[SEEN:])
    assert before < 0.6
    assert after > 0.92


def test_the_sentences_name_the_habit_and_the_bars_show_it(
    sparing: tuple[list[Sheet], Learnt],
) -> None:
    sheets, learnt = sparing
    hand = WORLD.learnt(SAME, learnt.vector)
    habits = habits_of(changed_habits(WORLD, hand), WORLD, hand, sheets[:SEEN])
    first = max(habits, key=lambda one: one.notes)
    assert (first.name, first.is_more) == ("little_finger", True)
    marks = {(sheet.name, mark.ref): mark for sheet in sheets for mark in sheet.marks}
    for place in first.places:
        mark = marks[place.name, place.ref]
        assert mark.agrees(place.stops) and not mark.agrees(place.usual)


def test_learning_is_the_same_in_every_run_keeps_the_bounds_and_gains_by_more_tunes(
    sparing: tuple[list[Sheet], Learnt],
) -> None:
    sheets, learnt = sparing
    few, again = (learn(WORLD, SAME, sheets[:2], ROUNDS) for _ in range(2))
    assert np.array_equal(again.vector, few.vector)
    of_few = share(WORLD.learnt(SAME, few.vector), sheets[SEEN:])
    assert share(WORLD.learnt(SAME, learnt.vector), sheets[SEEN:]) >= of_few - 0.03
    for one in WORLD.learnt(SAME, learnt.vector).weights:
        least, most = WEIGHT_BOUNDS[one.name]
        assert least <= one.value <= most


def test_slips_do_not_make_all_weights_small() -> None:
    sheets = sheets_by(PLAYERS["rather stops than leaves open"], TUNES[:3], HARPA, slips=0.1)
    learnt = learn(WORLD, SAME, sheets, ROUNDS)
    usual = parameters_for("keyed")
    kept = np.abs(learnt.vector - usual.usual) < usual.scale
    assert kept.sum() > 0.8 * len(kept)
    assert share(WORLD.learnt(SAME, learnt.vector), sheets) > share(WORLD.hand, sheets)


def test_habits_that_lead_to_the_same_are_told_by_all_notes_that_show_them() -> None:
    own = weights(little_finger=3.5, weak_neighbours=2.0)
    hand = read_hand(HandChoice(weights=own))
    sheets = sheets_by(hand, TUNES[:3], HARPA)
    found = {one.name: one.notes for one in habits_of(["weak"], WORLD, hand, sheets)}
    lacking, alone = (make("weak", WORLD, hand) for make in (without_habit, with_habit_alone))
    marked = sum(len(one.marks) for one in sheets)
    without = round((1.0 - share(lacking, sheets)) * marked)
    with_it = round((share(alone, sheets) - share(WORLD.hand, sheets)) * marked)
    assert alone.weights == own[1:]
    assert found["weak"] > without > 0
    assert found["weak"] >= with_it


def test_spans_are_tried_on_hands_of_other_sizes_that_reach_as_wide() -> None:
    large = read_hand(HandChoice(size="large"))
    world = replace(WORLD, others=(("large", large),))
    begun = Spans(1.24, 1.24, 1.24)
    other = next(one for one in further_tries(begun, world) if one.size)
    assert other.size == "large" and other.factors == (1.15, 1.15, 1.15)
    reaches = [world.hand_by(one).span(1, 4).max_comfortable_mm for one in (begun, other)]
    assert reaches[1] == pytest.approx(reaches[0], rel=0.01)
    spans = world.hand_by(other).span(1, 4)
    assert spans.min_relaxed_mm == large.span(1, 4).min_relaxed_mm


def test_a_fit_that_goes_on_leaves_no_more_over(sparing: tuple[list[Sheet], Learnt]) -> None:
    sheets, _ = sparing
    few = learn(WORLD, SAME, sheets[:3], 3)
    more = learn(WORLD, SAME, sheets[:3], 5, Begun(few.centre, few.rivals))
    parameters = parameters_for("keyed")
    before, after = (
        left_at(one.centre, list(one.rivals.values()), parameters) for one in (few, more)
    )
    assert after <= before
