"""Breaking tunes over pages: the exact choice against enumeration, and its rules."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.assemble import pages
from tunebook.assemble.pages import PageFill, Unit, choose_breaks, cost_of_breaks, turned_units

HEIGHT = 760.0


def tune(name: str, systems: int, **more: object) -> Unit:
    """A tune of systems of 80 pt under a head of 40 pt."""
    return Unit(name, (120.0, *(80.0,) * (systems - 1)), **more)  # type: ignore[arg-type]


def shown(units: list[Unit], fills: tuple[PageFill, ...]) -> list[list[str]]:
    """Names of the tunes on each page, with the parts where a tune is torn."""
    out = []
    for fill in fills:
        names = []
        for one in fill.slices:
            unit = units[one.unit]
            is_whole = (one.first, one.last) == (0, len(unit.parts_pt))
            names.append(unit.identity + ("" if is_whole else f"[{one.first}:{one.last}]"))
        out.append(names)
    return out


def enumerated_cost(units: list[Unit], height_pt: float) -> float:
    """Least cost over every way to fill pages, blank pages included, by plain recursion."""

    @cache
    def rest(unit: int, part: int, side: int, may_blank: bool) -> float:
        if unit == len(units):
            return 0.0
        costs = [
            pages._page_cost(units, fill, state, height_pt, side)
            + rest(state[0], state[1], 1 - side, True)
            for fill, state in pages._fills(units, height_pt, unit, part)
        ]
        if may_blank and part == 0:
            costs.append(pages.PAGE_COST + pages.BLANK_COST + rest(unit, part, 1 - side, False))
        return min(costs)

    return rest(0, 0, 0, True)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 6),
            st.booleans(),
            st.integers(0, 2),
            st.booleans(),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_breaks_cost_no_more_than_any_enumerated_ones(
    drawn: list[tuple[int, bool, int, bool]],
) -> None:
    units = [
        tune(
            str(number),
            systems,
            begins_page=begins,
            group=group,
            is_kept_together=kept,
            ease_pt=6.0,
            continued_pt=15.0,
        )
        for number, (systems, begins, group, kept) in enumerate(drawn)
    ]
    assert cost_of_breaks(units, 400.0) == pytest.approx(enumerated_cost(units, 400.0))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 14), min_size=1, max_size=12))
def test_every_part_stands_once_and_in_order(systems: list[int]) -> None:
    units = [tune(str(number), count) for number, count in enumerate(systems)]
    seen = [
        (one.unit, part)
        for fill in choose_breaks(units, HEIGHT)
        for one in fill.slices
        for part in range(one.first, one.last)
    ]
    assert seen == [(unit, part) for unit, count in enumerate(systems) for part in range(count)]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 14), min_size=1, max_size=12))
def test_no_page_is_fuller_than_the_paper(systems: list[int]) -> None:
    units = [tune(str(number), count) for number, count in enumerate(systems)]
    assert all(fill.used_pt <= HEIGHT + 0.01 for fill in choose_breaks(units, HEIGHT))


def test_two_short_tunes_share_a_page() -> None:
    units = [tune("a", 4), tune("b", 3)]
    assert shown(units, choose_breaks(units, HEIGHT)) == [["a", "b"]]


def test_a_tune_that_fits_one_page_is_not_torn() -> None:
    units = [tune("a", 5), tune("b", 5), tune("c", 5)]
    assert shown(units, choose_breaks(units, HEIGHT)) == [["a"], ["b"], ["c"]]


def test_a_tune_of_two_pages_lies_on_a_spread() -> None:
    units = [tune("a", 4), tune("long", 14)]
    fills = choose_breaks(units, HEIGHT)
    assert shown(units, fills)[1:] == [["long[0:7]"], ["long[7:14]"]] or not turned_units(
        units, fills
    )
    assert fills[1].slices[0].unit == 1 and turned_units(units, fills) == ()


def test_a_page_stays_blank_rather_than_turn_within_a_tune() -> None:
    units = [tune("long", 14)]
    fills = choose_breaks(units, HEIGHT)
    assert shown(units, fills)[0] == []
    assert turned_units(units, fills) == ()


def test_no_system_is_left_alone_on_a_page() -> None:
    # Nine systems fit on one page; the tenth alone would look lost.
    units = [tune("a", 4), tune("long", 10)]
    parts = [one.last - one.first for fill in choose_breaks(units, HEIGHT) for one in fill.slices]
    assert min(parts) >= 2


def test_a_tune_of_three_pages_is_reported_as_turned() -> None:
    units = [tune("endless", 25)]
    assert turned_units(units, choose_breaks(units, HEIGHT)) == (0,)


def test_a_set_begins_a_page() -> None:
    heading = Unit("set", (100.0,), is_opener=True, begins_page=True, group=1)
    units = [tune("a", 2), heading, tune("b", 2, group=1)]
    assert shown(units, choose_breaks(units, HEIGHT)) == [["a"], ["set", "b"]]


def test_a_heading_is_not_left_behind_at_the_foot_of_a_page() -> None:
    heading = Unit("set", (100.0,), is_opener=True, group=1)
    units = [tune("a", 6), heading, tune("b", 4, group=1)]
    assert shown(units, choose_breaks(units, HEIGHT)) == [["a"], ["set", "b"]]


def test_systems_stand_at_ease_when_it_costs_no_page() -> None:
    easy = [replace(tune(name, 4), ease_pt=12.0) for name in "abcd"]
    tight = [fill.used_pt for fill in choose_breaks(easy, 760.0)]
    assert len(tight) == 2
    # With 20 pt less the pairs would still fit, but only tight: still better than two pages more.
    assert len(choose_breaks(easy, 740.0)) == 2


def test_a_part_higher_than_the_page_is_set_all_the_same() -> None:
    units = [Unit("high", (900.0,)), tune("b", 2)]
    assert shown(units, choose_breaks(units, HEIGHT)) == [["high"], ["b"]]


def test_no_tunes_need_no_pages() -> None:
    assert choose_breaks([], HEIGHT) == ()
