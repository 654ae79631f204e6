"""Two pages a side in folding order."""

from __future__ import annotations

from io import BytesIO

import pikepdf
import pytest
from reportlab.pdfgen.canvas import Canvas

from tunebook.book.booklet import booklet_order, impose_booklet


def a5(pages: int) -> bytes:
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(419.5, 595.3))
    for number in range(pages):
        canvas.drawString(50, 500, f"page {number + 1}")
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def test_four_pages_fill_one_sheet() -> None:
    assert booklet_order(4) == ((3, 0), (1, 2))


def test_eight_pages_fill_two_sheets_the_outer_one_first() -> None:
    assert booklet_order(8) == ((7, 0), (1, 6), (5, 2), (3, 4))


def test_missing_pages_are_blank_at_the_end() -> None:
    assert booklet_order(5) == ((None, 0), (1, None), (None, 2), (3, 4))


@pytest.mark.parametrize("pages", range(1, 14))
def test_folding_gives_the_pages_in_order(pages: int) -> None:
    sides = booklet_order(pages)
    # Fold: front and back of each sheet, the sheets laid into each other, read leaf by leaf.
    fronts, backs = sides[::2], sides[1::2]
    first = [
        page for front, back in zip(fronts, backs, strict=True) for page in (front[1], back[0])
    ]
    last = [page for front, back in zip(fronts, backs, strict=True) for page in (front[0], back[1])]
    read = first + last[::-1]
    assert [page for page in read if page is not None] == list(range(pages))


def test_imposed_pages_are_a4_on_the_long_side() -> None:
    data = impose_booklet(a5(6))
    with pikepdf.open(BytesIO(data)) as document:
        assert len(document.pages) == 4
        box = document.pages[0].mediabox
        assert [round(float(value)) for value in box] == [0, 0, 842, 595]
