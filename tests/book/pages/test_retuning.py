"""The report of a retuning, and the tables it is made of."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from books import book_tune, content
from reading import links_of, page_of, text_of

from tunebook.book.book import assemble_book
from tunebook.book.content import BookSection
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import Drawing
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.tables import table_rows
from tunebook.model.changes import RetuneFacts, StringChange, TuneChange
from tunebook.model.words import fixed_words
from tunebook.store import Store


@pytest.fixture
def design(store: Store) -> Design:
    return Design(page_format("a4"), load_fonts(store), fixed_words("en"))


def pages_of(facts: RetuneFacts, folder: Path, store: Store) -> list[str]:
    """Text of the pages of the report in a book of two long tunes."""
    tunes = tuple(book_tune(folder, at, f"Tune {at}", 7) for at in (1, 2))
    book = replace(content(folder, (BookSection("", tunes),)), store=store, retuning=facts)
    assemble_book(book, folder / "book.pdf")
    with pikepdf.open(folder / "book.pdf") as document:
        first, end = page_of(document, "What the retuning changed"), page_of(document, "Tune 1")
    texts = [text_of(folder / "book.pdf", page + 1) for page in range(first, end)]
    return [text for text in texts if text.strip()]


def change(number: int, **more: object) -> TuneChange:
    facts: dict = {
        "identity": f"tunes.abc:{number}",
        "title": f"Tune {number}",
        "moved_notes": 3,
        "refingered_notes": 2,
        "crossed_stops": (1, 0),
        "row_jumps": (0, 0),
        "shifts": (4, 6),
        "out_of_compass": (0, 0),
        "difficulty": (2.0, 3.5),
    }
    return TuneChange(**{**facts, **more})


def test_a_row_holds_its_remark_above_its_line(design: Design) -> None:
    head, plain, noted = table_rows(
        ("tune", "n"), (("A", "1"), ("B", "2")), (3, 1), design, remarks=("", "B is new")
    )
    assert isinstance(noted.block, Drawing)
    assert noted.block.height_pt > plain.block.height_pt == head.block.height_pt
    assert head.keeps_with_next
    assert plain.continued is head.block


def test_rows_come_closer_at_less_ease(design: Design) -> None:
    wide = table_rows(("tune",), (("A",),), (1,), design)[1].block.height_pt
    close = table_rows(("tune",), (("A",),), (1,), design, ease=0.8)[1].block.height_pt
    assert close == pytest.approx(0.8 * wide)


def test_a_report_names_gains_losses_and_strings(tmp_path: Path, store: Store) -> None:
    tunes = (
        change(1, difficulty=(4.0, 1.5), lost_drones=("G4",), lost_chords=("B7",)),
        change(2, gained_drones=("C4",)),
    )
    strings = (StringChange(3, "D4", "C4", 293.7, 261.6, -200.0, -20.6, False),)
    facts = RetuneFacts("CGDA", "CGCA", tunes, strings)
    pages = pages_of(facts, tmp_path, store)
    text = " ".join(pages[0].split())
    assert "From CGDA to CGCA." in text
    for words in (
        "−200",
        "−21 %",
        "no longer there: G4",
        "without root or third: B7",
        "new drones: C4",
    ):
        assert words in text
    easier, harder = text.index("Easier now Tune 1 (4.0→1.5)"), text.index("Harder now Tune 2")
    assert easier < harder


def test_a_report_explains_the_sign_of_risk_only_where_a_string_bears_it(
    tmp_path: Path, store: Store
) -> None:
    down = StringChange(3, "D4", "C4", 293.7, 261.6, -200.0, -20.6, False)
    up = StringChange(1, "C3", "D3", 130.8, 146.8, 200.0, 25.9, True)
    texts = [
        " ".join(
            pages_of(RetuneFacts("CGDA", "X", (change(1),), strings), tmp_path, store)[0].split()
        )
        for strings in ((down,), (down, up))
    ]
    assert ["A string marked !" in text for text in texts] == [False, True]
    assert all("keep your face and eyes away from the strings" in text for text in texts)


def test_a_report_leads_to_the_tunes(tmp_path: Path, store: Store) -> None:
    pages_of(RetuneFacts("CGDA", "CGCA", (change(2), change(1)), ()), tmp_path, store)
    with pikepdf.open(tmp_path / "book.pdf") as document:
        report = page_of(document, "What the retuning changed")
        tunes = [page_of(document, f"Tune {number}") for number in (2, 1)]
        assert links_of(document, report) == tunes


def test_a_long_report_names_its_columns_on_each_page(tmp_path: Path, store: Store) -> None:
    tunes = tuple(change(number) for number in range(90))
    pages = pages_of(RetuneFacts("CGDA", "CGCA", tunes, ()), tmp_path, store)
    assert len(pages) >= 2
    assert all(re.search(r"tune\s+moved\s+fingers", page) for page in pages)
