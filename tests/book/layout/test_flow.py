"""Flowing blocks over columns and pages."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.book.layout.blocks import Flowed, Space
from tunebook.book.layout.flow import Page, Stream, flow, flow_in_fewest
from tunebook.book.layout.paper import page_format

A4 = page_format("a4")
FOOT = A4.height_pt - A4.bottom_pt


def blocks(*heights: float, **more: object) -> tuple[Flowed, ...]:
    return tuple(Flowed(Space(height), **more) for height in heights)  # type: ignore[arg-type]


def tops(page: Page) -> list[float]:
    return [round(one.top_pt - A4.top_pt, 3) for one in page.placed]


def test_blocks_stand_below_each_other() -> None:
    (page,) = flow([Stream(blocks(50, 60, 70))], A4)
    assert tops(page) == [0, 50, 110]


def test_space_above_a_block_is_left_out_at_the_top_of_a_page() -> None:
    (page,) = flow([Stream(blocks(50, 60, before_pt=10.0))], A4)
    assert tops(page) == [0, 60]


def test_what_does_not_fit_goes_to_the_next_page() -> None:
    first, second = flow([Stream(blocks(500, 500))], A4)
    assert (len(first.placed), len(second.placed)) == (1, 1)


def test_a_heading_goes_with_what_follows() -> None:
    items = (
        *blocks(700),
        Flowed(Space(40), keeps_with_next=True),
        *blocks(60),
    )
    first, second = flow([Stream(items)], A4)
    assert (len(first.placed), len(second.placed)) == (1, 2)


def test_columns_come_out_even() -> None:
    (page,) = flow([Stream(blocks(*[20] * 10), columns=2)], A4)
    lefts = [one.left_pt for one in page.placed]
    assert lefts.count(min(lefts)) == 5


def test_the_heading_over_columns_is_not_left_alone_at_the_foot() -> None:
    heading = (Flowed(Space(30.0), anchor="heading"),)
    streams = [
        Stream(blocks(A4.text_height_pt - 60)),
        Stream(blocks(*[20] * 20), columns=2, heading=heading),
    ]
    first, second = flow(streams, A4)
    assert first.anchors() == ()
    assert second.anchors() == ("heading",)


def test_a_whole_stream_takes_a_new_page_rather_than_break() -> None:
    streams = [Stream(blocks(500)), Stream(blocks(*[50] * 8), is_whole=True)]
    first, second = flow(streams, A4)
    assert (len(first.placed), len(second.placed)) == (1, 8)


def test_a_whole_stream_longer_than_a_page_begins_at_once() -> None:
    streams = [Stream(blocks(200)), Stream(blocks(*[50] * 30), is_whole=True)]
    assert len(flow(streams, A4)[0].placed) > 5


def test_pages_bear_the_title_of_what_begins_them() -> None:
    streams = [Stream(blocks(500), title="One"), Stream(blocks(500), title="Two")]
    assert [page.head for page in flow(streams, A4, "Book")] == ["One", "Two"]
    assert flow([Stream(blocks(10))], A4, "Book")[0].head == "Book"


def test_a_block_higher_than_the_page_is_set_all_the_same() -> None:
    pages = flow([Stream(blocks(100, 2000, 100))], A4)
    assert [len(page.placed) for page in pages] == [1, 1, 1]


@settings(max_examples=80, deadline=None)
@given(st.lists(st.floats(5, 300), min_size=1, max_size=40), st.integers(1, 3))
def test_every_block_stands_once_and_above_the_foot(heights: list[float], columns: int) -> None:
    items = blocks(*heights, before_pt=4.0)
    pages = flow([Stream(items, columns)], A4)
    placed = [one for page in pages for one in page.placed]
    assert [one.item for one in placed] == list(items)
    assert all(one.top_pt + one.item.block.height_pt <= FOOT + 0.1 for one in placed)


def test_what_goes_on_in_a_new_column_bears_its_name_once_more() -> None:
    items = tuple(Flowed(Space(20), continued=Space(7) if at else None) for at in range(10))
    (page,) = flow([Stream(items, columns=2)], A4)
    again = [one for one in page.placed if one.item.block.height_pt == 7]
    assert len(again) == 1
    assert again[0].left_pt > A4.side_pt and again[0].top_pt == A4.top_pt


def test_the_name_set_once_more_takes_its_room() -> None:
    height = A4.text_height_pt / 4
    items = tuple(Flowed(Space(height), continued=Space(5) if at else None) for at in range(8))
    pages = flow([Stream(items)], A4)
    assert [len(page.placed) for page in pages] == [4, 1 + 3, 1 + 1]
    last = [page.placed[-1] for page in pages]
    assert all(one.top_pt + one.item.block.height_pt <= FOOT + 0.1 for one in last)


def test_a_little_less_space_saves_a_page() -> None:
    def streams(ease: float) -> list[Stream]:
        return [Stream(blocks(*[A4.text_height_pt * ease / 10] * 11))]

    assert len(flow(streams(1.0), A4)) == 2
    (page,) = flow_in_fewest(streams, A4)
    assert len(page.placed) == 11
    assert tops(page)[1] == round(A4.text_height_pt * 0.9 / 10, 3)


def test_space_is_kept_where_less_would_save_no_page() -> None:
    def streams(ease: float) -> list[Stream]:
        return [Stream(blocks(*[100 * ease] * 3))]

    (page,) = flow_in_fewest(streams, A4)
    assert tops(page) == [0, 100, 200]
