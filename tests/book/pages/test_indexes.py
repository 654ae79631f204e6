"""Indexes, the ladder and where tunes stand in them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from books import D_DORIAN, book_tune, content

from tunebook.book.content import BookContent, BookSection, BookTune
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.flow import Page
from tunebook.book.layout.paper import page_format
from tunebook.book.pages.indexes import (
    HIGHEST_ROW,
    facts_of,
    index_pages,
    ladder_pages,
    row_height,
    rung_of,
    scale_steps,
    techniques_of,
)
from tunebook.model.arrangement import Stop
from tunebook.model.words import fixed_words
from tunebook.store import Store


@pytest.fixture(scope="module")
def design(store: Store) -> Design:
    fonts = load_fonts(store)
    return Design(page_format("a4"), fonts, fixed_words("en"))


@pytest.fixture
def book(tmp_path: Path) -> BookContent:
    tunes = (
        book_tune(tmp_path, 1, "Beta", rhythm="vals"),
        book_tune(tmp_path, 2, "Alpha", key=D_DORIAN),
        book_tune(tmp_path, 3, "The Delta", titles=("The Delta", "Another name")),
        book_tune(tmp_path, 4, "Åttan", rhythm=""),
    )
    return content(tmp_path, (BookSection("", tunes),))


def words_of(pages: list[Page]) -> list[str]:
    """Texts of entries and headings in the order in which they stand."""
    found: list[str] = []

    def collect(block: object) -> None:
        for part in getattr(block, "blocks", ()):
            collect(part)
        if hasattr(block, "text"):
            found.append(block.text)
        found.extend(getattr(block, "lines", ()))

    for page in pages:
        for one in page.placed:
            collect(one.item.block)
    return found


def test_titles_are_sorted_and_other_titles_stand_too(book: BookContent, design: Design) -> None:
    words = words_of(index_pages(book, design))
    start = words.index("Index of titles") + 1
    assert words[start : start + 5] == ["Alpha", "Another name", "Åttan", "Beta", "The Delta"]


def test_types_keys_and_openings_are_listed(book: BookContent, design: Design) -> None:
    words = words_of(index_pages(book, design))
    types = words[words.index("Index of tune types") : words.index("Index of keys and modes")]
    assert types[1:] == ["Polska", "Alpha", "The Delta", "Vals", "Beta", "Other", "Åttan"]
    keys = words[words.index("Index of keys and modes") :]
    assert keys[1:3] == ["D major", "Åttan"]
    assert keys[keys.index("D dorian") + 1] == "Alpha"
    assert "Index of openings" in words


def test_what_every_tune_has_is_no_heading(book: BookContent, design: Design) -> None:
    words = words_of(index_pages(book, design))
    assert "Crossed stops" not in words


def test_a_technique_of_some_tunes_is_listed(book: BookContent, design: Design) -> None:
    first = book.tunes[0]
    held = (replace(first.arrangement.drone[0], stop=Stop(57, 2, 2, 1)),)
    changed = replace(first, arrangement=replace(first.arrangement, drone=held))
    section = replace(book.sections[0], tunes=(changed, *book.tunes[1:]))
    words = words_of(index_pages(replace(book, sections=(section,)), design))
    assert words[words.index("Held drones") + 1] == "Beta"
    # Of what most tunes have, those that do without are listed.
    assert words[words.index("Open drones: all tunes but") + 1] == "Beta"
    assert "Open drones" not in words


def test_techniques_are_read_from_the_arrangement(book: BookContent) -> None:
    assert techniques_of(book.tunes[0]) == {"crossed", "open_drone", "chord"}


def test_a_high_hand_is_a_position_above_first(book: BookContent) -> None:
    tune = book.tunes[0]
    notes = (*tune.arrangement.notes[1:], replace(tune.arrangement.notes[0], hand_key=7.0))
    raised = replace(tune, arrangement=replace(tune.arrangement, notes=notes))
    assert "above_first" in techniques_of(raised)
    assert "above_first" not in techniques_of(tune)


def test_openings_are_steps_of_the_scale(book: BookContent) -> None:
    assert scale_steps(book.tunes[0].arrangement.tune) == (1, 2, 3, 5, 6, 1)


def test_openings_stand_in_level_rows_but_for_what_is_far_too_high() -> None:
    assert row_height([30.0, 32.0, 33.0]) == 33.0
    assert row_height([30.0, 32.0, 32.0, 90.0]) == pytest.approx(32.0 * HIGHEST_ROW)


def test_few_tunes_have_no_index(book: BookContent, design: Design) -> None:
    few = replace(book.sections[0], tunes=book.tunes[:3])
    assert index_pages(replace(book, sections=(few,)), design) == []


def test_the_ladder_runs_from_easy_to_hard(book: BookContent, design: Design) -> None:
    # The difficulty of these tunes is the length of their titles.
    words = words_of(ladder_pages(book, design))
    start = words.index("1.")
    assert words[start::3] == ["1.", "2.", "3.", "4."]
    assert words[start + 1 :: 3] == ["Beta", "Alpha", "Åttan", "The Delta"]


def test_a_slow_tune_in_a_high_position_is_no_easy_one(book: BookContent) -> None:
    one = book.tunes[0].arrangement
    high = replace(one.notes[0], stops=(Stop(84, 4, 15, 4),))
    climbing = replace(one, notes=(high, *one.notes[1:]))
    assert rung_of(climbing) > rung_of(one) + 0.8
    assert rung_of(replace(climbing, difficulty=0.5)) > rung_of(replace(one, difficulty=1.0))


def test_a_ladder_gives_its_reasons(book: BookContent, design: Design) -> None:
    tune: BookTune = book.tunes[0]
    assert facts_of(tune, design.words) == "1 crossed stop, first position, ♩ = 104"
    assert facts_of(tune, design.words) in words_of(ladder_pages(book, design))


def test_ladder_names_the_effort_with_held_drones_as_a_second_figure(
    book: BookContent, design: Design
) -> None:
    tune: BookTune = book.tunes[0]
    held = replace(
        tune.arrangement,
        drone=(replace(tune.arrangement.drone[0], stop=Stop(57, 2, 2, 1)),),
        difficulty_with_drones=3.25,
    )
    facts = facts_of(replace(tune, arrangement=held), design.words)
    assert "held drone (3.2 with it)" in facts
