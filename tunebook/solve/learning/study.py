"""The parts of the work of learning, each of which a worker can do by itself.

The spans of the hand are not linear in the cost. Their three factors (relaxed, comfortable,
practical) are tried one set after the other: first all three alike, then each alone around the best
(``first_tries``, ``further_tries``); for each set the weights are learnt on a few lessons, and what
is left over decides. All of that is done once more for each fold without the fold's own tunes, so
that no answer is ever measured on a tune that it was learnt from, spans and weights alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import FingeredNote
from tunebook.model.hand import SPAN_FACTOR_BOUNDS, Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.move_tables import CostTables
from tunebook.solve.learning.lesson import Lesson, Sheet, pose_lesson
from tunebook.solve.learning.margin import MOST_ROUNDS, Fit, Rivals, fit, least_left
from tunebook.solve.learning.marks import Agreement, agreement
from tunebook.solve.learning.parameters import Array, hand_with, parameters_for
from tunebook.solve.learning.rates import HandRates
from tunebook.solve.transpose import without_pins

Factors = tuple[float, float, float]
SAME: Factors = (1.0, 1.0, 1.0)
SIZES = (0.88, 1.12, 1.24, 1.36)
STEP = 0.12
MOST_TRIED_ON = 12
"""So many lessons are enough to try spans on."""
TRIAL_ROUNDS = 8
FOLD_ROUNDS = 6
MOST_FOLDS = 10
SPAN_SCALE = 0.12
"""A factor that is so far from 1 has gone one unit away from the usual."""
SPANS_WORTH = 0.03
"""Other spans must leave so much less over, as a part of what the usual ones leave."""


@dataclass(frozen=True)
class World:
    """What a player's hand is learnt for: the instrument, a hand with the usual weights to begin
    with, and the limits that she keeps to."""

    instrument: Instrument
    hand: Hand
    limits: Limits

    def hand_by(self, factors: Factors) -> Hand:
        """The hand with its upper spans by these factors."""
        spans = tuple(span.stretched(*factors) for span in self.hand.spans)
        return replace(self.hand, spans=spans)

    def learnt(self, factors: Factors, vector: Array) -> Hand:
        """The hand with these spans and parameters."""
        return hand_with(self.hand_by(factors), vector, parameters_for(self.instrument.kind))


def pose(world: World, factors: Factors, sheets: Sequence[Sheet]) -> tuple[list[Lesson], HandRates]:
    """The sheets as lessons for this hand; a sheet of which nothing can be played gives none."""
    hand = world.hand_by(factors)
    tables = CostTables(world.instrument, hand, world.limits)
    rates = HandRates(world.instrument, hand, world.limits)
    posed = [pose_lesson(sheet, tables, rates) for sheet in sheets]
    return [lesson for lesson in posed if lesson is not None], rates


class Learnt(NamedTuple):
    """Factors of the spans, parameters, and what is known of the lessons, by their names."""

    factors: Factors
    vector: Array
    rivals: dict[str, Rivals]


def learn(
    world: World, factors: Factors, sheets: Sequence[Sheet], rounds: int = MOST_ROUNDS
) -> Learnt:
    """Learn the weights of a hand with these spans from the sheets."""
    lessons, rates = pose(world, factors, sheets)
    found = fit(lessons, rates, parameters_for(world.instrument.kind), rounds=rounds)
    return _named(factors, lessons, found)


def _named(factors: Factors, lessons: Sequence[Lesson], found: Fit) -> Learnt:
    names = [lesson.sheet.name for lesson in lessons]
    return Learnt(factors, found.vector, dict(zip(names, found.rivals, strict=True)))


def tried_on(sheets: Sequence[Sheet]) -> list[Sheet]:
    """The sheets that spans are tried on: some of them, evenly spread."""
    count = min(MOST_TRIED_ON, len(sheets))
    return [sheets[number * len(sheets) // count] for number in range(count)]


def first_tries() -> list[Factors]:
    """Sizes of the whole hand to try, the usual one first."""
    return [SAME, *((size, size, size) for size in SIZES)]


def further_tries(best: Factors) -> list[Factors]:
    """All factors changed by half a step, and one at a time by a whole one."""
    found = [_moved(best, (half, half, half)) for half in (-STEP / 2, STEP / 2)]
    for at in range(3):
        for step in (-STEP, STEP):
            found.append(_moved(best, (step * (at == 0), step * (at == 1), step * (at == 2))))
    return found


def _moved(factors: Factors, by: Factors) -> Factors:
    least, most = SPAN_FACTOR_BOUNDS
    a, b, c = (
        round(min(most, max(least, factor + step)), 2)
        for factor, step in zip(factors, by, strict=True)
    )
    return a, b, c


def best_of(
    tries: Sequence[Learnt], world: World, without: frozenset[str] = frozenset()
) -> Factors:
    """The factors that leave least over on the lessons tried, those named ``without`` left out."""
    parameters = parameters_for(world.instrument.kind)
    values = []
    for one in tries:
        known = [rivals for name, rivals in one.rivals.items() if name not in without]
        left = least_left(known, parameters)[1] if known else 0.0
        pull = sum(abs(factor - 1.0) for factor in one.factors) / SPAN_SCALE / 3
        values.append(left + pull)
    best = int(np.argmin(values))
    return tries[best].factors if values[best] < (1.0 - SPANS_WORTH) * values[0] else SAME


def folds_of(sheets: Sequence[Sheet]) -> list[frozenset[str]]:
    """Names of the sheets that are left out together: one at a time, or ten groups of them."""
    count = min(MOST_FOLDS, len(sheets))
    return [frozenset(sheet.name for sheet in sheets[number::count]) for number in range(count)]


class Measured(NamedTuple):
    """How the answer agrees with a tune's marks before and after, the tune not learnt from."""

    name: str
    before: Agreement
    after: Agreement


def measure_folds(
    world: World,
    sheets: Sequence[Sheet],
    folds: Sequence[tuple[frozenset[str], Factors]],
    learnt: Learnt,
) -> list[list[Measured]]:
    """For each fold (names left out, factors of the spans that the others lead to): learn without
    it and measure on it. Paths met when ``learnt`` was found are known as rivals; what they weigh
    is worked out from the other lessons alone."""
    parameters = parameters_for(world.instrument.kind)
    posed: dict[Factors, tuple[list[Lesson], HandRates]] = {}
    found = []
    for names, factors in folds:
        if factors not in posed:
            posed[factors] = pose(world, factors, sheets)
        every, rates = posed[factors]
        lessons = [lesson for lesson in every if lesson.sheet.name not in names]
        is_known = factors == learnt.factors
        rivals = [learnt.rivals[one.sheet.name] for one in lessons] if is_known else []
        rounds = FOLD_ROUNDS if is_known else MOST_ROUNDS
        vector = fit(lessons, rates, parameters, rivals, rounds=rounds).vector
        hand = world.learnt(factors, vector)
        found.append([_measured(world, hand, sheet) for sheet in sheets if sheet.name in names])
    return found


def measure_usual(world: World, sheets: Sequence[Sheet]) -> list[Measured]:
    """How the answer agrees with each tune's marks when nothing is learnt."""
    return [_measured(world, world.hand, sheet) for sheet in sheets]


def _measured(world: World, hand: Hand, sheet: Sheet) -> Measured:
    before = agreement(sheet.marks, answer(world, world.hand, sheet))
    return Measured(sheet.name, before, agreement(sheet.marks, answer(world, hand, sheet)))


def answer(world: World, hand: Hand, sheet: Sheet) -> tuple[FingeredNote, ...]:
    """The solver's answer for the sheet's tune, its marks aside."""
    return choose_fingering(
        without_pins(sheet.tune),
        world.instrument,
        hand,
        world.limits,
        whole_notes_per_second=sheet.speed,
    ).notes
