"""The order and tunings of a set: against every order and every choice of tunings."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.solve.set_order import SetPlan, plans

TURNS = [[0, 2, 5], [2, 0, 3], [5, 3, 0]]
EFFORT = st.sampled_from([1.0, 1.5, 2.0, 3.0, math.inf])


def swapped(order: Sequence[int]) -> int:
    return sum(one > other for one, other in itertools.combinations(order, 2))


def every_plan(
    efforts: Sequence[Sequence[float]], turns: Sequence[Sequence[int]], may_reorder: bool
) -> list[tuple[int, float, int, int]]:
    """(retunings, effort, semitones turned, pairs that change places) of each plan there is."""
    places = range(len(efforts))
    found = []
    for order in itertools.permutations(places) if may_reorder else [tuple(places)]:
        for tunings in itertools.product(range(len(turns)), repeat=len(efforts)):
            steps = list(itertools.pairwise(tunings))
            effort = math.fsum(efforts[at][one] for at, one in zip(order, tunings, strict=True))
            turned = sum(turns[one][other] for one, other in steps)
            changes = sum(one != other for one, other in steps)
            found.append((changes, effort, turned, swapped(order)))
    return found


def told(plan: SetPlan) -> tuple[int, float, int, int]:
    return plan.retunings, plan.effort, plan.turned, swapped(plan.order)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(EFFORT, EFFORT, EFFORT), min_size=1, max_size=4),
    st.integers(2, 3),
    st.booleans(),
)
def test_no_plan_is_better_than_those_that_are_found(
    rows: list[tuple[float, float, float]], count: int, may_reorder: bool
) -> None:
    efforts = [row[:count] for row in rows]
    turns = [row[:count] for row in TURNS[:count]]
    wanted: list[tuple[int, float, int, int]] = []
    everything = every_plan(efforts, turns, may_reorder)
    for retunings in range(len(rows)):
        best = min(one[1:] for one in everything if one[0] <= retunings)
        if best[0] < math.inf and (not wanted or best[0] < wanted[-1][1]):
            wanted.append((retunings, *best))
    assert [told(plan) for plan in plans(efforts, turns, may_reorder=may_reorder)] == wanted


def test_a_long_set_is_solved_too() -> None:
    efforts = [[1.0, 2.0, 3.0], [3.0, 1.0, 2.0], [2.0, 3.0, 1.0]] * 13
    best = plans(efforts, TURNS, may_reorder=True)[-1]
    assert best.retunings == 2 and best.effort == pytest.approx(39.0)
    # CGDA first, then the nearer tuning, then the far one; or the other way round.
    assert best.turned == 5
    assert sorted(best.order) == list(range(39))


def test_tunes_of_one_tuning_stay_as_they_are_written() -> None:
    efforts = [[1.0, 9.0], [9.0, 1.0], [1.0, 9.0], [9.0, 1.0]]
    one, two = plans(efforts, [[0, 2], [2, 0]], may_reorder=True)
    assert one.retunings == 0 and two.order == (0, 2, 1, 3) and two.tunings == (0, 0, 1, 1)


def test_a_tune_that_fits_no_tuning_leaves_no_plan() -> None:
    assert plans([[1.0], [math.inf]], [[0]], may_reorder=True) == ()
