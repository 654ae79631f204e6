"""What stands before the tunes: contents in both orders, the instrument, the report."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from books import book_tune, content, harpa

from tunebook.book.content import RETUNING, BookContent, BookSection, TuneLeftOut
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, load_fonts
from tunebook.book.layout.blocks import Beside, Entry
from tunebook.book.layout.flow import Page
from tunebook.book.layout.paper import page_format
from tunebook.book.pages.front import matter
from tunebook.book.pages.instrument import instrument_pages
from tunebook.model.changes import RetuneFacts
from tunebook.model.words import fixed_words
from tunebook.store import Store


@pytest.fixture(scope="module")
def design(store: Store) -> Design:
    fonts = load_fonts(store)
    return Design(page_format("a4"), fonts, fixed_words("en"))


def book_with(folder: Path, count: int, set_title: str = "") -> BookContent:
    tunes = tuple(book_tune(folder, number, f"Tune {number}", 1) for number in range(count, 0, -1))
    return content(folder, (BookSection(set_title, tunes),))


def entries(pages: list[Page]) -> list[tuple[int, str]]:
    """(page, text) of all lines of the contents."""
    return [
        (number, one.item.block.text)
        for number, page in enumerate(pages)
        for one in page.placed
        if isinstance(one.item.block, Entry)
    ]


def front_of(book: BookContent, design: Design) -> list[Page]:
    return matter(book, design)[0]


def test_contents_of_sets_stand_in_both_orders(tmp_path: Path, design: Design) -> None:
    found = [text for _, text in entries(front_of(book_with(tmp_path, 5, "Kväll"), design))]
    start = found.index("Kväll") + 1
    assert found[start : start + 5] == ["Tune 5", "Tune 4", "Tune 3", "Tune 2", "Tune 1"]
    assert found[-5:] == ["Tune 1", "Tune 2", "Tune 3", "Tune 4", "Tune 5"]


def test_contents_without_sets_stand_once(tmp_path: Path, design: Design) -> None:
    book = book_with(tmp_path, 5)
    in_order = replace(book.sections[0], tunes=tuple(reversed(book.sections[0].tunes)))
    found = [text for _, text in entries(front_of(replace(book, sections=(in_order,)), design))]
    assert found.count("Tune 3") == 1


def test_contents_by_title_take_no_page_where_there_is_an_index(
    tmp_path: Path, design: Design
) -> None:
    found = entries(front_of(book_with(tmp_path, 40, "Kväll"), design))
    assert [text for _, text in found].count("Tune 3") == 1
    assert "Index of titles" in [text for _, text in found]


def test_a_few_lines_of_contents_are_not_left_for_another_page(
    tmp_path: Path, design: Design
) -> None:
    # At ease, so many lines are a few more than a page takes.
    pages = {number for number, _ in entries(front_of(book_with(tmp_path, 102), design))}
    assert len(pages) == 1


def test_a_report_of_a_retuning_is_in_the_contents(tmp_path: Path, design: Design) -> None:
    book = replace(book_with(tmp_path, 2), retuning=RetuneFacts("CGDA", "CGCA", (), ()))
    pages = front_of(book, design)
    assert RETUNING in pages[-1].anchors()
    anchors = [
        one.item.block.anchor
        for page in pages
        for one in page.placed
        if isinstance(one.item.block, Entry)
    ]
    assert RETUNING in anchors


def test_an_instrument_without_sympathetic_strings_says_nothing_of_them(design: Design) -> None:
    def height(pages: list[Page]) -> float:
        return max(one.top_pt for page in pages for one in page.placed)

    bare = replace(harpa(), sympathetic=())
    assert height(instrument_pages(bare, design)) < height(instrument_pages(harpa(), design))


def test_tunes_beyond_the_level_are_named_at_the_end_of_the_contents(
    tmp_path: Path, design: Design
) -> None:
    left_out = (TuneLeftOut("Wide", "Beyond this level: bar 3."),)
    pages = front_of(replace(book_with(tmp_path, 5, "Kväll"), left_out=left_out), design)
    blocks = [one.item.block for page in pages for one in page.placed]
    last = max(at for at, block in enumerate(blocks) if isinstance(block, Entry))
    rows = [block.blocks for block in blocks[last:] if isinstance(block, Beside)]
    found = [(title.lines, reason.lines, title.role) for title, reason in rows]  # type: ignore[attr-defined]
    assert found == [(("Wide",), ("Beyond this level: bar 3.",), BOLD)]
