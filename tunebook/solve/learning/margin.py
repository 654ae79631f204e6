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
far (cutting planes: Joachims, Finley & Yu, Machine Learning 77, 2009), a linear programme.

Where the hand lies is not marked, so her path is looked for anew in each round (latent variables:
Yu & Joachims, ICML 2009). What is left over therefore has many valleys. It is known exactly where a
round has looked; the best of these is the centre, to which the next one keeps the nearer the more
often nothing better was found (bundle methods with a trust region: Makela, Optimization Methods and
Software 17, 2002). Without that, her paths wander off with the weights and never come back.

A mark may be a slip of the pen: her path may depart from one for SLIP. A habit costs more than that
under the usual weights only now and then, and once it is partly learnt, it costs less. The solver
gives bars alike the same fingering even where that costs a little: where it agrees with her in such
a bar, the bar counts for nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
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
AS_GOOD = 0.003
"""Two rounds are alike when one departs from so many more of the marks at most."""
MOST_ROUNDS = 40
IDLE_ROUNDS = 4
"""Rounds end after so many that found nothing better."""
ENOUGH = 0.05
"""Less than this is not better."""
DESCENTS = 6
"""How often her paths are chosen among those met, under the parameters found with the last."""
HAIR = 0.01
"""Costs are sums of rounded ones: what differs less is the same."""
Bars = Mapping[int, int]
"""How many notes depart from the marks, by bar."""


@dataclass(eq=False)
class Rivals:
    """What is known of one lesson: rates and misses of the rivals met; rates and slips of the paths
    of hers met. ``waived`` are the bars that count for nothing, as they were at the centre, and
    ``met`` as they were where was looked last; there ``most`` is what the lesson is missed by, and
    ``wrong`` how many marks the solver's answer departs from. ``left`` is what the centre leaves
    over by the first aim, slips counted."""

    rates: list[Array] = field(default_factory=list)
    misses: list[Bars] = field(default_factory=list)
    owns: list[Array] = field(default_factory=list)
    slips: list[Bars] = field(default_factory=list)
    waived: frozenset[int] = frozenset()
    met: frozenset[int] = frozenset()
    most: float = 0.0
    wrong: int = 0
    left: float = 0.0

    def copied(self) -> Rivals:
        """The same, to go on from."""
        return replace(
            self,
            rates=[*self.rates],
            misses=[*self.misses],
            owns=[*self.owns],
            slips=[*self.slips],
        )

    def of_owns(self, prices: Array) -> tuple[list[float], list[int]]:
        """What each of her paths costs with its slips, and how many these are."""
        slips = [_count(one, self.waived) for one in self.slips]
        return [
            float(one @ prices) + SLIP * n for one, n in zip(self.owns, slips, strict=True)
        ], slips

    def settle(self, prices: Array, margin: float) -> None:
        """Make what was looked at last the centre. Which places of the hand can be had depends on
        the weights: a path is dropped that would be better here than the best that there is."""
        self.waived = self.met
        own = self.owns[-1]
        costs, slips = self.of_owns(prices)
        if margin == FIRST.margin:
            self.left = self.most + SLIP * slips[-1]
        kept = [at for at, cost in enumerate(costs) if cost >= costs[-1] - HAIR]
        self.owns, self.slips = [self.owns[at] for at in kept], [self.slips[at] for at in kept]
        kept = [
            at
            for at, (one, bars) in enumerate(zip(self.rates, self.misses, strict=True))
            if float((own - one) @ prices) + margin * _count(bars, self.waived) <= self.most + HAIR
        ]
        self.rates, self.misses = [self.rates[at] for at in kept], [self.misses[at] for at in kept]


def _count(bars: Bars, waived: frozenset[int]) -> int:
    return sum(notes for bar, notes in bars.items() if bar not in waived)


class Aim(NamedTuple):
    """What is asked of a fit: how much the lessons count, and by what margin."""

    trust: float
    margin: float


FIRST, FIRM = Aim(TRUST, MARGIN), Aim(FIRM_TRUST, FIRM_MARGIN)


class Around(NamedTuple):
    """Where to look: not farther from the centre than so many units of each parameter's scale."""

    centre: Array
    radius: float


@dataclass(frozen=True, eq=False)
class Fit:
    """Learnt parameters, how many marks the solver departs from under them, and what is known of
    each lesson; ``centre`` are the parameters under which the least is left over
    by the first aim."""

    vector: Array
    centre: Array
    wrong: int
    rivals: tuple[Rivals, ...]


def fit(
    lessons: Sequence[Lesson],
    rates: HandRates,
    parameters: Parameters,
    rivals: Sequence[Rivals] = (),
    *,
    rounds: int = MOST_ROUNDS,
    start: Array | None = None,
) -> Fit:
    """The parameters under which the lessons are best kept to. ``rivals`` are those met before, a
    lesson each, where there are some; ``start`` is where to begin, the usual ones if not given."""
    known = [one.copied() for one in rivals] or [Rivals() for _ in lessons]
    begun = parameters.usual if start is None else start
    vector = least_left(known, parameters, begun)[0] if rivals and start is None else begun
    search = _Search(lessons, rates, parameters, known)
    for _ in range(rounds):
        search.look(vector)
        found, least = least_left(
            known, parameters, search.centre, search.aim, Around(search.centre, search.radius)
        )
        vector = _as_written(found, parameters)
        is_still = np.array_equal(vector, search.centre)
        if search.idle >= IDLE_ROUNDS or is_still or search.least - least < ENOUGH:
            if not search.may_be_firm:
                break
            vector = search.be_firm()
    return Fit(search.best, search.first_centre, search.fewest, tuple(known))


class _Search:
    """Where was looked, and what was found. ``least`` is what is left over at the ``centre``; the
    ``best`` parameters are those under which the solver departs from hardly more marks than at
    best, and of them those with the least left over."""

    def __init__(
        self,
        lessons: Sequence[Lesson],
        rates: HandRates,
        parameters: Parameters,
        known: Sequence[Rivals],
    ) -> None:
        self._lessons, self._rates, self._parameters = lessons, rates, parameters
        self.known = known
        self.marked = sum(one.marked for one in lessons)
        self.aim = FIRST
        self.centre = self.first_centre = self.best = parameters.usual
        self.least = self._left_at_best = self.radius = np.inf
        self.fewest, self.slips, self.idle = 1 + self.marked, 0, 0

    def look(self, vector: Array) -> None:
        """Find her paths and the strongest rivals under these parameters."""
        costs = HandCosts(self._rates, vector)
        slips = 0
        for lesson, one in zip(self._lessons, self.known, strict=True):
            slips += _look(lesson, one, self._rates, costs, self.aim.margin)
        parameters = self._parameters
        left = sum(one.most for one in self.known) + SLIP * slips
        far = np.abs(vector - parameters.usual) / parameters.scale
        left = self.aim.trust * left + float(far.sum())
        self._note(vector, left)
        distance = float((np.abs(vector - self.centre) / parameters.scale).max())
        self.idle = 0 if left < self.least - ENOUGH else self.idle + 1
        if left < self.least:
            self.radius = max(self.radius, 2.0 * distance)
            self.centre, self.least, self.slips = vector, left, slips
            if self.aim is FIRST:
                self.first_centre = vector
            for one in self.known:
                one.settle(costs.prices, self.aim.margin)
        else:
            self.radius = distance / 2.0

    def _note(self, vector: Array, left: float) -> None:
        wrong = sum(one.wrong for one in self.known)
        is_as_good = wrong <= self.fewest + AS_GOOD * self.marked and left < self._left_at_best
        if wrong < self.fewest - AS_GOOD * self.marked or is_as_good:
            self.best, self._left_at_best = vector, left
        self.fewest = min(wrong, self.fewest)

    @property
    def may_be_firm(self) -> bool:
        """Whether the first aim is met, and hardly a mark is taken for a slip."""
        return self.aim is FIRST and self.slips <= FEW_SLIPS * self.marked

    def be_firm(self) -> Array:
        """Take the firm aim; return where to look, which is once more the centre."""
        self.aim = FIRM
        self.least = self.radius = self._left_at_best = np.inf
        self.idle = 0
        return self.centre


def _as_written(vector: Array, parameters: Parameters) -> Array:
    """What is measured is what will be written; what hardly moved has not moved."""
    is_moved = np.abs(vector - parameters.usual) >= LEAST_MOVE * parameters.scale
    return np.asarray(np.round(np.where(is_moved, vector, parameters.usual), DIGITS))


def _look(lesson: Lesson, one: Rivals, rates: HandRates, costs: HandCosts, margin: float) -> int:
    """Find her path and the strongest rival; return how many marks are taken for slips."""
    layers = layers_of(lesson, costs)
    best, printed = as_printed(lesson, layers)
    waived = bars_for_likeness(lesson, best, printed)
    one.wrong = len(missed(lesson, printed.states)) + len(lesson.impossible)
    own = best.states
    if missed(lesson, own, waived):
        own = cheapest_path(where_missed(lesson, layers, SLIP, waived)).states
    rival = cheapest_path(where_missed(lesson, layers, -margin, waived)).states
    mine, other = (rates_of_path(lesson, rates, path) for path in (own, rival))
    slips = _by_bar(lesson, own, [1] * len(own))
    misses = _by_bar(lesson, rival, lesson.problem.order.times_played)
    one.met = waived
    one.owns.append(mine)
    one.slips.append(slips)
    one.rates.append(other)
    one.misses.append(misses)
    one.most = max(0.0, float((mine - other) @ costs.prices) + margin * _count(misses, waived))
    return _count(slips, waived) + len(lesson.impossible)


def _by_bar(lesson: Lesson, states: Sequence[int], times: Sequence[int]) -> Bars:
    found: Counter[int] = Counter()
    for event in missed(lesson, states):
        found[lesson.problem.order.events[event].bar] += times[event]
    return found


def left_at(centre: Array, known: Sequence[Rivals], parameters: Parameters) -> float:
    """What the centre of a fit leaves over of these lessons by the first aim."""
    far = np.abs(centre - parameters.usual) / parameters.scale
    return float(far.sum()) + TRUST * sum(one.left for one in known)


def least_left(
    known: Sequence[Rivals],
    parameters: Parameters,
    start: Array,
    aim: Aim = FIRST,
    around: Around | None = None,
) -> tuple[Array, float]:
    """The parameters for which what is left over is least, seen from ``start``, and how much that
    is. Her paths are chosen anew as long as others are cheaper under what was found."""
    vector, value = start, np.inf
    chosen: list[int] = []
    for _ in range(DESCENTS):
        prices = np.append(vector, 1.0)
        costs, slips = zip(*(one.of_owns(prices) for one in known), strict=True)
        owns = [int(np.argmin(one)) for one in costs]
        if owns == chosen:
            break
        chosen = owns
        mine = [one.owns[at] for one, at in zip(known, owns, strict=True)]
        vector, value = _solved(known, mine, parameters, aim, around)
        value += aim.trust * SLIP * sum(of[at] for of, at in zip(slips, owns, strict=True))
    return vector, value


def _solved(
    known: Sequence[Rivals],
    owns: Sequence[Array],
    parameters: Parameters,
    aim: Aim,
    around: Around | None,
) -> tuple[Array, float]:
    """The linear programme with these paths for hers: how far each parameter goes up and down from
    the usual, and what each lesson is missed by."""
    from scipy.optimize import linprog

    pairs = list(zip(known, owns, strict=True))
    table = np.array([own - rival for one, own in pairs for rival in one.rates])
    slack = [aim.margin * _count(bars, one.waived) for one in known for bars in one.misses]
    constant = product(table, np.append(parameters.usual, 1.0)) + np.array(slack)
    table = table[:, :COUNT] * parameters.scale
    of_lesson = np.repeat(np.eye(len(known)), [len(one.rates) for one in known], axis=0)
    low, high = (
        (edge - parameters.usual) / parameters.scale for edge in (parameters.least, parameters.most)
    )
    if around is not None:
        centre = (around.centre - parameters.usual) / parameters.scale
        low, high = (
            np.maximum(low, centre - around.radius),
            np.minimum(high, centre + around.radius),
        )
    zero = np.zeros(len(known))
    least = np.concatenate([np.maximum(0.0, low), np.maximum(0.0, -high), zero])
    most = np.concatenate([np.maximum(0.0, high), np.maximum(0.0, -low), zero + np.inf])
    found = linprog(
        np.concatenate([np.ones(2 * COUNT), zero + aim.trust]),
        A_ub=np.hstack([table, -table, -of_lesson]),
        b_ub=-constant,
        bounds=np.column_stack([least, most]),
        method="highs",
    )
    if found.x is None:
        raise ValueError(found.message)
    far = found.x[:COUNT] - found.x[COUNT : 2 * COUNT]
    vector = np.clip(parameters.usual + far * parameters.scale, parameters.least, parameters.most)
    return vector, float(found.fun)
