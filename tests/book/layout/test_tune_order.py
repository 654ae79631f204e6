"""Reordering tunes to save paper."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.book.layout.page_breaks import (
    MOST_PLACES,
    Unit,
    choose_breaks,
    choose_order,
    cost_of_breaks,
)

HEIGHT = 400.0


def units_of(heights: list[int]) -> list[Unit]:
    return [Unit(str(number), (float(height),)) for number, height in enumerate(heights)]


def test_tunes_that_fit_together_are_brought_together() -> None:
    units = units_of([250, 250, 120, 120])
    order = choose_order(units, HEIGHT)
    assert order == (0, 2, 1, 3)
    assert len(choose_breaks([units[index] for index in order], HEIGHT)) == 2


def test_an_order_that_wastes_nothing_stays() -> None:
    assert choose_order(units_of([200, 180, 200, 180]), HEIGHT) == (0, 1, 2, 3)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(60, 380), min_size=1, max_size=14), st.integers(0, 1))
def test_an_order_holds_every_tune_once_and_costs_no_more(heights: list[int], side: int) -> None:
    units = units_of(heights)
    order = choose_order(units, HEIGHT, side)
    assert sorted(order) == list(range(len(units)))
    new = [units[index] for index in order]
    assert cost_of_breaks(new, HEIGHT, side) <= cost_of_breaks(units, HEIGHT, side) + 1e-9


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(60, 380), min_size=1, max_size=5))
def test_few_tunes_take_as_few_pages_as_in_any_order(heights: list[int]) -> None:
    units = units_of(heights)
    order = choose_order(units, HEIGHT)
    found = len(choose_breaks([units[index] for index in order], HEIGHT))
    least = min(len(choose_breaks(list(one), HEIGHT)) for one in permutations(units))
    assert found == least


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(60, 380), min_size=8, max_size=16))
def test_no_tune_comes_much_earlier_than_written(heights: list[int]) -> None:
    order = choose_order(units_of(heights), HEIGHT)
    assert all(index - place <= MOST_PLACES for place, index in enumerate(order))
