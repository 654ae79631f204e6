"""Tunes laid out on pages: heads, gaps, margins, running heads."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from books import book_tune, content, piece
from reportlab.pdfgen.canvas import Canvas

from tunebook.book.content import BookContent, BookSection, BookTune
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SERIF, load_fonts
from tunebook.book.layout.blocks import Block, Music, fitted_music
from tunebook.book.layout.flow import Page
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.sheet import Sheet
from tunebook.book.musical_text import part_order_text
from tunebook.book.pages.body import in_best_order, lay_out_tunes
from tunebook.book.pages.furniture import FOOT_GAP, draw_furniture
from tunebook.book.pages.signs import foot_line
from tunebook.book.pages.tunes import tune_head, tune_tail, words_block
from tunebook.model.book import Edition
from tunebook.model.words import fixed_words
from tunebook.store import Store


@pytest.fixture(scope="module")
def design(store: Store) -> Design:
    fonts = load_fonts(store)
    return Design(page_format("a4"), fonts, fixed_words("en"))


def loose(folder: Path, *systems: int) -> BookContent:
    tunes = tuple(
        book_tune(folder, number, f"Tune {number}", count) for number, count in enumerate(systems)
    )
    return content(folder, (BookSection("", tunes),))


def gaps(page: Page) -> list[float]:
    """Free space between the blocks of a page."""
    return [
        after.top_pt - before.top_pt - before.item.block.height_pt
        for before, after in zip(page.placed, page.placed[1:], strict=False)
    ]


def test_systems_of_a_tune_stand_at_equal_distances(tmp_path: Path, design: Design) -> None:
    (page,) = lay_out_tunes(loose(tmp_path, 6), design, "").pages
    found = gaps(page)
    assert len(found) == 5
    assert max(found) - min(found) < 0.01
    assert max(found) <= 15.01


def test_tunes_stand_further_apart_than_systems(tmp_path: Path, design: Design) -> None:
    (page,) = lay_out_tunes(loose(tmp_path, 3, 3), design, "").pages
    found = gaps(page)
    assert found[2] > 1.5 * max(found[0], found[1])


def test_music_stays_above_the_foot_line(tmp_path: Path, design: Design) -> None:
    form = design.page_format
    for page in lay_out_tunes(loose(tmp_path, 8, 4, 4, 3, 9, 12), design, "foot").pages:
        for one in page.placed:
            assert one.top_pt + one.item.block.height_pt <= form.height_pt - form.foot_pt


def test_staves_stand_flush_with_the_text(tmp_path: Path, design: Design) -> None:
    tune = book_tune(tmp_path, 1, "Tune", 2)
    system = replace(tune.piece.systems[0], staff_indent_pt=4.0)
    block = fitted_music(tune.piece.pdf, system, design.music_width_pt)
    assert isinstance(block, Music)
    assert block.shift_pt == -4.0 * block.scale


def test_a_system_too_wide_is_made_smaller(tmp_path: Path, design: Design) -> None:
    wide = piece(tmp_path, "wide", (80.0,), 700.0)
    block = fitted_music(wide.pdf, wide.systems[0], design.music_width_pt)
    assert block.scale * wide.systems[0].width_pt <= design.width_pt + 10.01


def test_a_torn_tune_says_that_it_goes_on(tmp_path: Path, design: Design) -> None:
    body = lay_out_tunes(loose(tmp_path, 4, 14), design, "")
    assert len(body.pages) == 3
    # Its second page begins with the short head, which is no place to link to.
    assert body.pages[2].anchors() == ()
    assert body.pages[2].placed[0].item.block.height_pt < 25


def test_running_heads_name_the_set(tmp_path: Path, design: Design) -> None:
    one, two = book_tune(tmp_path, 1, "A", 5), book_tune(tmp_path, 2, "B", 5)
    book = content(tmp_path, (BookSection("Kväll", (one,), "", True), BookSection("", (two,))))
    heads = [page.head for page in lay_out_tunes(book, design, "").pages]
    assert heads == ["Kväll", "Other tunes"]


def test_the_running_head_of_a_page_is_that_of_its_first_tune(
    tmp_path: Path, design: Design
) -> None:
    tunes = [book_tune(tmp_path, number, f"T{number}", 3) for number in range(4)]
    sets = (BookSection("Kväll", tuple(tunes[:3])), BookSection("", tuple(tunes[3:])))
    pages = lay_out_tunes(content(tmp_path, sets), design, "").pages
    # The last page begins with the third tune of the set, and ends with a tune of none.
    assert len(pages[-1].anchors()) == 2
    assert pages[-1].head == "Kväll"


def test_only_tunes_of_no_set_change_places(tmp_path: Path, design: Design) -> None:
    # Two long and two short ones fit pairwise only when mixed.
    tunes = tuple(
        book_tune(tmp_path, number, f"T{number}", count)
        for number, count in enumerate((6, 6, 2, 2))
    )
    free = in_best_order(content(tmp_path, (BookSection("", tunes),)), design)
    assert [tune.identity[-1] for tune in free.tunes] == ["0", "2", "1", "3"]
    fixed = in_best_order(content(tmp_path, (BookSection("Set", tunes),)), design)
    assert fixed.tunes == tunes


def test_long_titles_take_smaller_type_then_a_second_line(tmp_path: Path, design: Design) -> None:
    def head(title: str) -> float:
        return tune_head(book_tune(tmp_path, 1, title), design).height_pt

    short = head("Polska")
    assert head("Polska efter gamle klockaren i Lerhult") <= short
    longer = head("Polska efter gamle klockaren i Lerhult, som han spelade den på äldre dagar")
    assert short + 15 < longer < short + 30


def test_large_print_enlarges_what_is_read_with_the_music(tmp_path: Path, design: Design) -> None:
    # At least 14 pt for running text: what 10.5 pt becomes beside a staff of 24 pt.
    large = replace(design, enlarged=Edition("large", staff_size_pt=24).enlargement)
    assert large.reading(10.5) > 14 and design.reading(10.5) == design.size(10.5) == 10.5
    assert Edition("player").enlargement == Edition("x", staff_size_pt=20).enlargement == 1
    tune = replace(book_tune(tmp_path, 1, "Tune"), tuning_note="tuned C G C A")
    assert tune_head(tune, large).height_pt > tune_head(tune, design).height_pt
    # A line that would be too long is set smaller, but no smaller than in other books.
    text = "a" * 70
    size = large.fitting(text, SERIF, 9.5)
    assert 9.5 < size < large.reading(9.5)
    assert large.fonts.width(text, SERIF, size) == pytest.approx(large.width_pt)
    assert large.fitting(text * 3, SERIF, 9.5) == 9.5


def test_a_tune_without_words_or_remarks_has_no_tail(tmp_path: Path, design: Design) -> None:
    book = loose(tmp_path, 2)
    tune = book.tunes[0]
    assert tune_tail(tune, book.edition, design) is None
    noted: BookTune = replace(tune, limit_note="Beyond.")
    assert tune_tail(noted, book.edition, design) is not None


def test_many_words_stand_in_two_columns(design: Design) -> None:
    verse = tuple(f"line {number}" for number in range(4))
    one = words_block(verse, design).height_pt
    two = words_block((*verse, "", *verse), design).height_pt
    assert two == pytest.approx(one)
    assert words_block(("", " "), design).height_pt == 0


def words_of(block: Block, folder: Path, design: Design) -> list[str]:
    """All words that a block prints, in order."""
    from reportlab.pdfgen.canvas import Canvas

    printed: list[str] = []

    class Listening(Sheet):
        def text(
            self, left_pt: float, base_pt: float, text: str, *more: Any, **named: Any
        ) -> float:
            printed.append(text)
            return 0.0

    sheet = Listening(Canvas(str(folder / "unused.pdf")), design.fonts, design.page_format)
    block.draw(sheet, 0.0, 0.0)
    return printed


def test_free_text_stands_below_the_head_and_below_the_music(
    tmp_path: Path, design: Design
) -> None:
    texts = {"texts": ("Before the music", ""), "closing_texts": ("After it", "", "and more")}
    tune = book_tune(tmp_path, 1, "Polska", **texts)
    bare = tune_head(book_tune(tmp_path, 2, "Polska"), design)
    head = tune_head(tune, design)
    assert words_of(head, tmp_path, design)[-1] == "Before the music"
    assert bare.height_pt + 10 < head.height_pt < bare.height_pt + 30
    tail = tune_tail(tune, loose(tmp_path, 1).edition, design)
    assert tail is not None
    assert words_of(tail, tmp_path, design) == ["After it", "and more"]


@pytest.mark.parametrize(
    ("order", "label", "expected"),
    [
        ("ABA", "A", "order A B A"),
        ("A2.(BC)3", "A", "order A2 (B C)3"),
        ("aab", "a", "order A A B"),
        ("ABA", "", ""),
        ("AB", "T", ""),
        ("", "A", ""),
    ],
)
def test_order_of_the_parts_is_printed_where_the_parts_have_letters(
    tmp_path: Path, order: str, label: str, expected: str
) -> None:
    tune = book_tune(tmp_path, 1, "Polska", part_order=order).arrangement.tune
    labelled = replace(tune, bars=(replace(tune.bars[0], part=label), *tune.bars[1:]))
    assert part_order_text(labelled, fixed_words("en")) == expected
    assert part_order_text(labelled, fixed_words("sv")) == expected.replace("order", "ordning")


def test_brackets_round_notes_are_explained_at_the_foot_where_they_occur(
    tmp_path: Path, design: Design
) -> None:
    book = loose(tmp_path, 1)
    (tune,) = book.tunes
    assert design.words.foot["unplayable"] not in foot_line(book, design)
    notes = (replace(tune.arrangement.notes[0], stops=()), *tune.arrangement.notes[1:])
    outside = replace(tune, arrangement=replace(tune.arrangement, notes=notes))
    book = replace(book, sections=(BookSection("", (outside,)),))
    assert design.words.foot["unplayable"] in foot_line(book, design)


def test_long_foot_line_stands_in_two_lines_of_readable_type(
    tmp_path: Path, design: Design
) -> None:
    small = replace(design, page_format=page_format("a5"))
    signs = [f"sign number {number}: its name" for number in range(7)]
    printed: list[tuple[str, float]] = []

    class Listening(Sheet):
        def text(
            self, left_pt: float, base_pt: float, text: str, *more: Any, **named: Any
        ) -> float:
            printed.append((text, more[1]))
            return 0.0

    sheet = Listening(Canvas(BytesIO()), small.fonts, small.page_format)
    (page,) = lay_out_tunes(loose(tmp_path, 1), small, FOOT_GAP.join(signs)).pages
    draw_furniture(sheet, page, "1", "Book", False)
    first, second = [one for one in printed if "sign number" in one[0]]
    assert first[0].split(FOOT_GAP) + second[0].split(FOOT_GAP) == signs
    assert first[1] == second[1] > 6.0


def tight(folder: Path, *systems: int, is_kept: bool = False) -> BookContent:
    """Tunes that can be set a tenth smaller, in a tight book; the last one is a set of its own."""
    tunes = []
    for number, count in enumerate(systems):
        tune = book_tune(folder, number, f"Tune {number}", count)
        small = piece(folder, f"small:{number}", (66.0,) * count)
        tunes.append(replace(tune, small_piece=small))
    sections = (
        BookSection("", tuple(tunes[:-1])),
        BookSection("Set", tuple(tunes[-1:]), is_kept_together=is_kept),
    )
    book = content(folder, sections)
    return replace(book, edition=replace(book.edition, density="tight"))


def test_a_page_of_a_tight_book_is_set_in_one_size(tmp_path: Path, design: Design) -> None:
    """Two tunes of five systems of 84 pt take more than a page, of 66 pt less."""
    pages = lay_out_tunes(tight(tmp_path, 5, 5, 8), design, "").pages
    heights = [
        {round(system.height_pt) for one in page.placed for system in systems_of(one.item.block)}
        for page in pages
    ]
    assert heights[0] == {66}
    assert all(len(found) == 1 for found in heights)
    assert len(lay_out_tunes(loose(tmp_path, 5, 5, 8), design, "").pages) > len(pages)


def systems_of(block: Block) -> list[Music]:
    if isinstance(block, Music):
        return [block]
    return [one for part in getattr(block, "blocks", ()) for one in systems_of(part)]


def test_a_set_of_a_tight_book_may_follow_on_the_page(tmp_path: Path, design: Design) -> None:
    book = tight(tmp_path, 2, 2, is_kept=True)
    assert len(lay_out_tunes(book, design, "").pages) == 1
    roomy = replace(book, edition=replace(book.edition, density="roomy"))
    assert len(lay_out_tunes(roomy, design, "").pages) == 2
