"""Breaking tunes over pages: the exact choice against enumeration, and its rules."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.book.layout import page_breaks as pages
from tunebook.book.layout.page_breaks import (
    PageFill,
    Unit,
    best_breaks,
    choose_breaks,
    cost_of_breaks,
)

HEIGHT = 760.0


def turned_units(units, pages, side=0):
    """Indices of the units that go on over a page turn; the first page lies on ``side``."""
    return tuple(
        fill.slices[-1].unit
        for index, fill in enumerate(pages)
        if (index + side) % 2 == 0
        and fill.slices[-1].last < len(units[fill.slices[-1].unit].parts_pt)
    )


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
    """Least cost over every way to fill pages, by plain recursion."""

    @cache
    def rest(before: pages.State, side: int) -> float:
        if before[0] == len(units):
            return 0.0
        return min(
            pages._page_cost(units, fill, state, height_pt, side) + rest(state, 1 - side)
            for fill, state in pages._fills(units, height_pt, before)
        )

    return rest((0, 0, False), 0)


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


def test_a_tune_is_torn_over_facing_pages_rather_than_leave_a_page_blank() -> None:
    units = [tune("a", 2), tune("b", 6), tune("long", 14)]
    units[0] = replace(units[0], parts_pt=(400.0, 200.0))
    fills = choose_breaks(units, HEIGHT)
    assert shown(units, fills) == [
        ["a"],
        ["b[0:3]"],
        ["b[3:6]"],
        ["long[0:8]"],
        ["long[8:14]"],
    ]
    assert turned_units(units, fills) == ()


def test_tunes_begin_on_the_side_where_no_leaf_is_turned_within_one() -> None:
    units = [tune("long", 14)]
    breaks = best_breaks(units, HEIGHT, (0.0, 0.5))
    assert (breaks.side, len(breaks.fills)) == (1, 2)
    assert turned_units(units, breaks.fills, breaks.side) == ()
    short = best_breaks([tune("a", 4), tune("b", 3)], HEIGHT, (0.0, 0.5))
    assert short.side == 0
    assert best_breaks(units, HEIGHT, (0.0, inf)).side == 0


UNITS = st.lists(
    st.tuples(
        st.lists(st.floats(60.0, 420.0), min_size=1, max_size=6),
        st.floats(40.0, 700.0),
        st.booleans(),
        st.booleans(),
    ),
    min_size=1,
    max_size=7,
)


def sets_of(drawn: list[tuple[list[float], float, bool, bool]]) -> list[Unit]:
    """Tunes with parts of the drawn heights; before some of them the heading of a set."""
    units: list[Unit] = []
    for number, (parts, heading_pt, has_heading, is_kept) in enumerate(drawn):
        more = {"group": number, "is_kept_together": is_kept}
        if has_heading:
            heading = Unit(f"set {number}", (heading_pt,), 11.0, is_opener=True, **more)
            units.append(replace(heading, begins_page=is_kept))
        units.append(Unit(str(number), tuple(parts), 11.0, 6.0, 15.0, **more))
    return units


@settings(max_examples=150, deadline=None)
@given(UNITS, st.integers(0, 1))
def test_no_heading_stands_alone_and_no_page_is_blank(
    drawn: list[tuple[list[float], float, bool, bool]], side: int
) -> None:
    units = sets_of(drawn)
    for fill in choose_breaks(units, HEIGHT, side):
        assert fill.slices
        last = fill.slices[-1].unit
        if units[last].is_opener:
            below = units[last + 1]
            assert len(fill.slices) == 1
            assert units[last].parts_pt[0] + below.gap_pt + below.parts_pt[0] > HEIGHT


@settings(max_examples=60, deadline=None)
@given(UNITS)
def test_every_part_stands_once_and_in_order_whatever_the_heights(
    drawn: list[tuple[list[float], float, bool, bool]],
) -> None:
    units = sets_of(drawn)
    seen = [
        (one.unit, part)
        for fill in choose_breaks(units, HEIGHT)
        for one in fill.slices
        for part in range(one.first, one.last)
    ]
    assert seen == [(at, part) for at, one in enumerate(units) for part in range(len(one.parts_pt))]


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


def in_two_sizes(name: str, systems: int, fewer: int = 0, **more: object) -> Unit:
    """A tune that may also be set in systems of 70 pt, perhaps in fewer of them."""
    small = (108.0, *(70.0,) * (max(1, systems - fewer) - 1))
    return replace(tune(name, systems, **more), small_pt=small)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 8), st.integers(0, 2), st.booleans(), st.booleans()),
        min_size=1,
        max_size=5,
    )
)
def test_breaks_in_two_sizes_cost_no_more_than_any_enumerated_ones(
    drawn: list[tuple[int, int, bool, bool]],
) -> None:
    units = [
        in_two_sizes(str(at), systems, fewer, group=at // 2, is_kept_together=kept, ease_pt=6.0)
        if has_small
        else tune(str(at), systems, group=at // 2, is_kept_together=kept, ease_pt=6.0)
        for at, (systems, fewer, has_small, kept) in enumerate(drawn)
    ]
    assert cost_of_breaks(units, 400.0) == pytest.approx(enumerated_cost(units, 400.0))
    fills = choose_breaks(units, 400.0)
    sizes: dict[int, set[bool]] = {}
    for fill in fills:
        for one in fill.slices:
            sizes.setdefault(one.unit, set()).add(fill.is_small)
    assert all(len(found) == 1 for found in sizes.values()), "a torn tune keeps its size"
    parts = {
        at: [part for fill in fills for one in fill.slices if one.unit == at
             for part in range(one.first, one.last)]
        for at in range(len(units))
    }  # fmt: skip
    for at, unit in enumerate(units):
        assert parts[at] == list(range(len(unit.heights_pt(min(sizes[at])))))


def test_the_smaller_size_is_taken_where_it_saves_a_page_and_only_there() -> None:
    close = [in_two_sizes(name, 5) for name in "ab"]
    fills = choose_breaks(close, 800.0)
    assert (len(fills), fills[0].is_small) == (1, True)
    assert len(choose_breaks([replace(one, small_pt=()) for one in close], 800.0)) == 2
    easy = [in_two_sizes(name, 4) for name in "ab"]
    fills = choose_breaks(easy, 800.0)
    assert (len(fills), fills[0].is_small) == (1, False)


def test_a_set_of_two_pages_lies_on_facing_pages() -> None:
    heading = Unit("set", (100.0,), is_opener=True, begins_page=True, is_kept_together=True)
    members = [replace(tune(name, 6), is_kept_together=True) for name in "ab"]
    own = [replace(one, group=1, turn_cost=pages.OPENING_TURN_COST) for one in (heading, *members)]
    fills = choose_breaks([tune("x", 4), tune("y", 3), *own], HEIGHT)
    at = next(index for index, fill in enumerate(fills) if fill.slices[0].unit == 2)
    assert at % 2 == 1
    assert len(fills) == at + 2
