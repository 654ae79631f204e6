"""Weights by maximum margin: her path has to be cheaper than every other, by the more the other
departs from her marks.

For each lesson i her path is the cheapest that agrees with the marks; a rival j is any path. With
rates r (see ``rates``) and parameters p the lesson is missed by

    max over j of  p . (r_her - r_j) + MARGIN x (notes of j that are not as marked)

and the sum of these over the lessons, times TRUST, plus the distance from the usual parameters,
each by its scale and added up, is made least within the bounds: a structured support vector machine
(Taskar, Chatalbashev, Koller & Guestrin, ICML 2005; for planning: Ratliff, Bagnell & Zinkevich,
"Maximum margin planning", ICML 2006). Distances are added and not squared, so that few weights move
and a habit is not spread over all of them (the lasso: Tibshirani, J. R. Statist. Soc. B 58, 1996).
The rivals are found by the exact search and kept, so that each round solves for all rivals met so
far (cutting planes: Joachims, Finley & Yu, Machine Learning 77, 2009). Where the hand lies is not
marked, so her path is looked for anew in each round (latent variables: Yu & Joachims, ICML 2009).

A mark may be a slip of the pen: her path may depart from one for SLIP. A habit costs more than that
under the usual weights only now and then, and once it is partly learnt, it costs less. The solver
gives bars alike the same fingering even where that costs a little: where it agrees with her in such
a bar, the bar counts for nothing. Of all rounds the last is taken under which the solver's answer
departs from hardly more marks than at best.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from tunebook.solve.learning.lesson import (
    Lesson,
    as_printed,
    bars_for_likeness,
    layers_of,
    missed,
    rates_of_path,
    where_missed,
)
from tunebook.solve.learning.parameters import COUNT, DIGITS, Array, Parameters, product
from tunebook.solve.learning.rates import HandCosts, HandRates
from tunebook.solve.search.shortest_path import cheapest_path

MARGIN, FIRM_MARGIN = 1 / 16, 1 / 64
"""By how much her path should be cheaper for each note in which another differs from her marks: at
first, and when hardly a mark is left that is taken for a slip. Multiples of 1/4096 as all costs
are, so that sums are exact."""
SLIP = 1.0
"""What a mark costs that is taken for a slip of the pen."""
TRUST, FIRM_TRUST = 0.5, 3.0
"""How much what a lesson is missed by counts against the pull towards the usual weights: at first,
and when hardly a mark is left that is taken for a slip."""
LEAST_MOVE = 0.05
"""In units of a parameter's scale: what moves less stays at its usual value."""
FEW_SLIPS = 0.03
"""Of the marks."""
CORNER = 0.02
"""The pull towards the usual weights is smooth within so many units of them."""
AS_GOOD = 0.003
"""Of two rounds the later one is taken unless it departs from so many more of the marks."""
SOFTNESS = 0.01
"""The largest of some numbers is taken as a smooth one that is at most a few times this above."""
MOST_ROUNDS = 40
FIRST_ROUNDS = 20
ENOUGH = 0.05
"""Rounds end when no rival misses its lesson by so much more than those met before."""


@dataclass(eq=False)
class Rivals:
    """What is known of one lesson: rates and misses of the rivals met; rates of her path, and how
    many marks it takes for slips; how many marks the solver's answer departs from."""

    rates: list[Array] = field(default_factory=list)
    misses: list[int] = field(default_factory=list)
    own: Array = field(default_factory=lambda: np.zeros(COUNT + 1))
    slips: int = 0
    wrong: int = 0


class Aim(NamedTuple):
    """What is asked of a fit: how much the lessons count, and by what margin."""

    trust: float
    margin: float


FIRST, FIRM = Aim(TRUST, MARGIN), Aim(FIRM_TRUST, FIRM_MARGIN)


@dataclass(frozen=True, eq=False)
class Fit:
    """Learnt parameters, how many marks the solver departs from under them, and what is known of
    each lesson."""

    vector: Array
    wrong: int
    rivals: tuple[Rivals, ...]
    rounds: int


def fit(
    lessons: Sequence[Lesson],
    rates: HandRates,
    parameters: Parameters,
    rivals: Sequence[Rivals] = (),
    *,
    rounds: int = MOST_ROUNDS,
    on_round: Callable[[int], None] = lambda number: None,
) -> Fit:
    """The parameters under which the lessons are best kept to. ``rivals`` are those met before, a
    lesson each, where there are some."""
    known = [replace(one, rates=[*one.rates], misses=[*one.misses]) for one in rivals]
    vector = least_left(known, parameters)[0] if known else parameters.usual
    known = known or [Rivals() for _ in lessons]
    marked = sum(one.marked for one in lessons)
    best, fewest, number, aim = vector, 1 + marked, 0, FIRST
    for number in range(1, rounds + 1):
        # What is measured is what will be written; what hardly moved has not moved.
        is_moved = np.abs(vector - parameters.usual) >= LEAST_MOVE * parameters.scale
        vector = np.round(np.where(is_moved, vector, parameters.usual), DIGITS)
        costs = HandCosts(rates, vector)
        gained = [
            _look(lesson, one, rates, costs, aim.margin)
            for lesson, one in zip(lessons, known, strict=True)
        ]
        wrong = sum(one.wrong for one in known)
        if wrong <= fewest + AS_GOOD * marked:
            best, fewest = vector, min(wrong, fewest)
        on_round(number)
        if max(gained) < ENOUGH or (aim is FIRST and number == FIRST_ROUNDS):
            few = sum(one.slips for one in known) <= FEW_SLIPS * marked
            if aim is FIRM or not few:
                break
            aim = FIRM
        vector = least_left(known, parameters, vector, aim)[0]
    return Fit(best, fewest, tuple(known), number)


def _look(lesson: Lesson, one: Rivals, rates: HandRates, costs: HandCosts, margin: float) -> float:
    """Find her path and the strongest rival; return by how much the lesson is missed more than was
    known."""
    layers = layers_of(lesson, costs)
    best, printed = as_printed(lesson, layers)
    waived = bars_for_likeness(lesson, best, printed)
    one.wrong = len(missed(lesson, printed.states)) + len(lesson.impossible)
    own = cheapest_path(where_missed(lesson, layers, SLIP, waived)).states
    rival = cheapest_path(where_missed(lesson, layers, -margin, waived)).states
    one.own = rates_of_path(lesson, rates, own)
    one.slips = len(missed(lesson, own, waived)) + len(lesson.impossible)
    before = _missed_by(one, costs.prices, margin)
    one.rates.append(rates_of_path(lesson, rates, rival))
    times = lesson.problem.order.times_played
    one.misses.append(sum(times[event] for event in missed(lesson, rival, waived)))
    return _missed_by(one, costs.prices, margin) - before


def _missed_by(one: Rivals, prices: Array, margin: float) -> float:
    values = [
        float((one.own - rival) @ prices) + margin * missed
        for rival, missed in zip(one.rates, one.misses, strict=True)
    ]
    return max([0.0, *values])


def least_left(
    known: Sequence[Rivals],
    parameters: Parameters,
    start: Array | None = None,
    aim: Aim = FIRST,
) -> tuple[Array, float]:
    """The parameters for which what is left over is least, and how much that is."""
    from scipy.optimize import minimize

    counts = np.array([len(one.rates) for one in known])
    firsts = np.cumsum(counts) - counts
    slack = np.array([aim.margin * missed for one in known for missed in one.misses])
    table = np.array([one.own - rival for one in known for rival in one.rates])
    constant = product(table, np.append(parameters.usual, 1.0)) + slack
    table = np.ascontiguousarray(table[:, :COUNT] * parameters.scale)

    def left(far: Array) -> tuple[float, Array]:
        values = (product(table, far) + constant) / SOFTNESS
        most = np.maximum(np.maximum.reduceat(values, firsts), 0.0)
        spread = np.exp(values - np.repeat(most, counts))
        sums = np.add.reduceat(spread, firsts) + np.exp(-most)
        total = SOFTNESS * float((most + np.log(sums)).sum())
        shares = spread / np.repeat(sums, counts)
        away = np.sqrt(far**2 + CORNER**2)
        cost = float((away - CORNER).sum()) + aim.trust * total
        return cost, far / away + aim.trust * product(table.T, shares)

    base = parameters.usual / parameters.scale
    bounds = np.column_stack([parameters.least, parameters.most]) / parameters.scale[:, None]
    found = minimize(
        left,
        np.zeros(COUNT) if start is None else start / parameters.scale - base,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds - base[:, None],
        options={"maxiter": 300, "ftol": 1e-9, "gtol": 1e-5},
    )
    vector = np.clip((found.x + base) * parameters.scale, parameters.least, parameters.most)
    slips = sum(one.slips for one in known)
    return vector, float(found.fun) + aim.trust * SLIP * slips
