"""The parts of the work of learning, each of which a worker can do by itself.

The spans of the hand are not linear in the cost. Their three factors (relaxed, comfortable,
practical) are tried one set after the other: first all three alike, then each alone around the
best, and hands of the other named sizes, whose lower spans differ too (``first_tries``,
``further_tries``, ``last_tries``). For each set the weights are learnt on a few lessons, and what
is left over decides. For each fold the spans are chosen, and the weights learnt, by what is left
over of the other lessons alone: no answer is measured on a tune that it was learnt from.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from tunebook.model.arrangement import FingeredNote
from tunebook.model.choices import HandSize
from tunebook.model.hand import SPAN_FACTOR_BOUNDS, Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.move_tables import CostTables
from tunebook.solve.learning.lesson import Lesson, Sheet, pose_lesson
from tunebook.solve.learning.margin import MOST_ROUNDS, Fit, Rivals, fit, left_at
from tunebook.solve.learning.marks import Agreement, agreement
from tunebook.solve.learning.parameters import Array, hand_with, parameters_for
from tunebook.solve.learning.rates import HandRates
from tunebook.solve.transpose import without_pins


class Spans(NamedTuple):
    """Factors of a hand's upper spans, and the named size of the hand whose spans they are of
    (None: the hand to begin with)."""

    relaxed: float = 1.0
    comfortable: float = 1.0
    practical: float = 1.0
    size: HandSize | None = None

    @property
    def factors(self) -> tuple[float, float, float]:
        """The factors alone."""
        return self.relaxed, self.comfortable, self.practical


SAME = Spans()
SIZES = (0.88, 1.12, 1.24, 1.36)
STEP = 0.12
MOST_TRIED_ON = 10
"""So many lessons are enough to try spans on."""
TRIAL_ROUNDS, FURTHER_ROUNDS, FINAL_ROUNDS = 8, 5, 12
FINALS = 4
"""So many spans are tried to the end, and the usual ones."""
FOLD_ROUNDS = 4
MOST_FOLDS = 10
SPAN_SCALE = 0.24
"""A factor that is so far from 1 has gone one unit away from the usual."""
SPANS_WORTH = 0.03
"""Other spans must leave so much less over, as a part of what the usual ones leave."""


@dataclass(frozen=True)
class World:
    """What a player's hand is learnt for: the instrument, a hand with the usual weights to begin
    with, the limits that she keeps to, and hands of other named sizes that hers may be like."""

    instrument: Instrument
    hand: Hand
    limits: Limits
    others: tuple[tuple[HandSize, Hand], ...] = ()

    def hand_of(self, size: HandSize | None) -> Hand:
        """The hand of that size."""
        return next((hand for name, hand in self.others if name == size), self.hand)

    def hand_by(self, spans: Spans) -> Hand:
        """The hand of that size with its upper spans by these factors."""
        hand = self.hand_of(spans.size)
        return replace(hand, spans=tuple(span.stretched(*spans.factors) for span in hand.spans))

    def wider(self, size: HandSize | None) -> float:
        """How much wider the hand of that size reaches than the one to begin with."""
        pairs = zip(self.hand_of(size).spans, self.hand.spans, strict=True)
        ratios = [other.max_comfortable_mm / own.max_comfortable_mm for other, own in pairs]
        return sum(ratios) / len(ratios)

    def learnt(self, factors: Spans, vector: Array) -> Hand:
        """The hand with these spans and parameters."""
        return hand_with(self.hand_by(factors), vector, parameters_for(self.instrument.kind))


def pose(world: World, factors: Spans, sheets: Sequence[Sheet]) -> tuple[list[Lesson], HandRates]:
    """The sheets as lessons for this hand; a sheet of which nothing can be played gives none."""
    hand = world.hand_by(factors)
    tables = CostTables(world.instrument, hand, world.limits)
    rates = HandRates(world.instrument, hand, world.limits)
    posed = [pose_lesson(sheet, tables, rates) for sheet in sheets]
    return [lesson for lesson in posed if lesson is not None], rates


class Learnt(NamedTuple):
    """Spans, parameters, those at the centre of the fit, and what is known of the lessons, by their
    names."""

    factors: Spans
    vector: Array
    centre: Array
    rivals: dict[str, Rivals]


class Begun(NamedTuple):
    """What a lesson goes on from: parameters, and what is known under the same spans."""

    start: Array
    rivals: Mapping[str, Rivals] | None = None


def learn(
    world: World,
    factors: Spans,
    sheets: Sequence[Sheet],
    rounds: int = MOST_ROUNDS,
    begun: Begun | None = None,
) -> Learnt:
    """Learn the weights of a hand with these spans from the sheets; ``begun`` is what to go on
    from, the usual ones if not given."""
    lessons, rates = pose(world, factors, sheets)
    parameters = parameters_for(world.instrument.kind)
    rivals = [begun.rivals[one.sheet.name] for one in lessons] if begun and begun.rivals else []
    start = begun.start if begun else None
    found = fit(lessons, rates, parameters, rivals, rounds=rounds, start=start)
    return _named(factors, lessons, found)


def _named(factors: Spans, lessons: Sequence[Lesson], found: Fit) -> Learnt:
    names = [lesson.sheet.name for lesson in lessons]
    return Learnt(factors, found.vector, found.centre, dict(zip(names, found.rivals, strict=True)))


def tried_on(sheets: Sequence[Sheet]) -> list[Sheet]:
    """The sheets that spans are tried on: some of them, evenly spread."""
    count = min(MOST_TRIED_ON, len(sheets))
    return [sheets[number * len(sheets) // count] for number in range(count)]


def first_tries() -> list[Spans]:
    """Sizes of the whole hand to try, the usual one first."""
    return [SAME, *(Spans(size, size, size) for size in SIZES)]


def further_tries(best: Spans, world: World) -> list[Spans]:
    """All factors changed by half a step, one at a time by a whole one, and the hands of other
    sizes that reach as wide."""
    found = _halves(best)
    for at in range(3):
        for step in (-STEP, STEP):
            found.append(_moved(best, (step * (at == 0), step * (at == 1), step * (at == 2))))
    for size, _ in world.others:
        by = 1.0 / world.wider(size)
        a, b, c = (factor * by for factor in best.factors)
        found.append(_moved(Spans(a, b, c, size)))
    return found


def last_tries(best: Spans, world: World) -> list[Spans]:
    """The last ones around the best: all factors changed by half a step, and where another size is
    the best, one at a time too."""
    found = _halves(best)
    if best.size:
        for at in range(3):
            found.append(_moved(best, (STEP * (at == 0), STEP * (at == 1), STEP * (at == 2))))
    return found


def _halves(spans: Spans) -> list[Spans]:
    return [_moved(spans, (half, half, half)) for half in (-STEP / 2, STEP / 2)]


def _moved(spans: Spans, by: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Spans:
    least, most = SPAN_FACTOR_BOUNDS
    a, b, c = (
        round(min(most, max(least, factor + step)), 2)
        for factor, step in zip(spans.factors, by, strict=True)
    )
    return Spans(a, b, c, spans.size)


def try_spans(
    world: World,
    sheets: Sequence[Sheet],
    each: Callable[[Sequence[tuple[Any, ...]], str], list[Learnt]],
) -> list[Learnt]:
    """The hand learnt on some lessons with one set of spans after the other. ``each`` gives what
    :func:`learn` returns for each tuple of its arguments, told the name of the stage."""
    some = tried_on(sheets)
    tries = each([(world, spans, some, TRIAL_ROUNDS) for spans in first_tries()], "sizes")
    for next_tries in (further_tries, last_tries):
        best = min(tries, key=lambda one: _value(one, world))
        known = {one.factors for one in tries}
        wanted = [one for one in next_tries(best.factors, world) if one not in known]
        work = [(world, spans, some, FURTHER_ROUNDS, Begun(best.centre)) for spans in wanted]
        tries += each(work, "spans")
    tries.sort(key=lambda one: (one.factors != SAME, _value(one, world)))
    finals = tries[: FINALS + 1]
    return each(
        [(world, one.factors, some, FINAL_ROUNDS, Begun(one.centre, one.rivals)) for one in finals],
        "spans",
    )


def best_of(tries: Sequence[Learnt], world: World, without: frozenset[str] = frozenset()) -> Spans:
    """The spans that leave least over on the lessons tried, those named ``without`` left out."""
    values = [_value(one, world, without) for one in tries]
    best = int(np.argmin(values))
    return tries[best].factors if values[best] < (1.0 - SPANS_WORTH) * values[0] else SAME


def _value(one: Learnt, world: World, without: frozenset[str] = frozenset()) -> float:
    """What is left over of the lessons, and how far the spans are from the usual ones."""
    known = [rivals for name, rivals in one.rivals.items() if name not in without]
    left = left_at(one.centre, known, parameters_for(world.instrument.kind))
    return left + _pull(one.factors, world)


def _pull(spans: Spans, world: World) -> float:
    """How far these spans are from the usual ones, the lower ones apart from the upper ones."""
    wider = world.wider(spans.size)
    upper = sum(abs(factor * wider - 1.0) for factor in spans.factors) / 3
    return (upper + abs(wider - 1.0)) / SPAN_SCALE


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
    folds: Sequence[tuple[frozenset[str], Spans]],
    learnt: Learnt,
) -> list[list[Measured]]:
    """For each fold (names left out, factors of the spans that the others lead to): learn without
    it and measure on it. Paths met when ``learnt`` was found are known as rivals; what they weigh
    is worked out from the other lessons alone."""
    parameters = parameters_for(world.instrument.kind)
    posed: dict[Spans, tuple[list[Lesson], HandRates]] = {}
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
