"""The book's pages two on a sheet in the order for folding.

A booklet is paper: its sheets stand in the order of the printer and not of the reader, so that a
tree of headings and paragraphs over them would say of each sheet what the reader is to turn to
three sheets later. It is therefore not tagged. It bears the book's title and language, bookmarks
to the sheet on which each chapter and tune stands, and a description that names the PDF that can be
read aloud.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.book.layout.paper import PT_PER_MM

_SHEET_PT = (297.0 * PT_PER_MM, 210.0 * PT_PER_MM)


def booklet_path(output: Path) -> Path:
    """Where the booklet of the book at ``output`` goes."""
    return output.with_name(f"{output.stem}-booklet.pdf")


def booklet_order(pages: int) -> tuple[tuple[int | None, int | None], ...]:
    """Pages (from 0; None is blank) on the sides of the sheets: (left, right) for the outer side
    of the outermost sheet, its inner side, the outer side of the next, and so on."""
    total = -(-pages // 4) * 4

    def real(page: int) -> int | None:
        return page if page < pages else None

    sides = []
    for side in range(total // 2):
        low, high = real(side), real(total - 1 - side)
        sides.append((high, low) if side % 2 == 0 else (low, high))
    return tuple(sides)


def impose_booklet(data: bytes, note: str = "") -> bytes:
    """Return the imposed PDF (A4 on its long side) of an A5 PDF; ``note`` is its description.

    To be printed on both sides, turned on the short edge, folded once and stapled in the fold.
    """
    import pikepdf

    with pikepdf.open(BytesIO(data)) as source, pikepdf.new() as imposed:
        sides = booklet_order(len(source.pages))
        for pair in sides:
            page = imposed.add_blank_page(page_size=_SHEET_PT)
            for column, index in enumerate(pair):
                if index is not None:
                    left = column * _SHEET_PT[0] / 2
                    box = pikepdf.Rectangle(left, 0, left + _SHEET_PT[0] / 2, _SHEET_PT[1])
                    page.add_overlay(source.pages[index], box)
        _describe(source, imposed, note)
        _add_bookmarks(source, imposed, {
            page: side for side, pair in enumerate(sides) for page in pair if page is not None
        })  # fmt: skip
        buffer = BytesIO()
        imposed.save(buffer, deterministic_id=True)
    return buffer.getvalue()


def _describe(source: Any, imposed: Any, note: str) -> None:
    """The book's title, shown in the window, its language, and what this PDF is."""
    import pikepdf

    if "/Lang" in source.Root:
        imposed.Root.Lang = pikepdf.String(str(source.Root.Lang))
    imposed.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
    imposed.Root.PageMode = pikepdf.Name.UseOutlines
    title = str(source.docinfo.get("/Title", ""))
    with imposed.open_metadata(set_pikepdf_as_editor=False) as metadata:
        if title:
            metadata["dc:title"] = title
        if note:
            metadata["dc:description"] = note


def _add_bookmarks(source: Any, imposed: Any, sides: dict[int, int]) -> None:
    """The book's bookmarks, each to the side of the sheet on which its page stands."""
    import pikepdf

    numbers = {page.obj.objgen: index for index, page in enumerate(source.pages)}
    named = source.Root.get("/Dests", {})

    def copied(items: Any) -> list[Any]:
        made = []
        for item in items:
            place = item.destination
            if not isinstance(place, pikepdf.Array):
                place = named.get(str(place), None)
            number = numbers.get(place[0].objgen) if isinstance(place, pikepdf.Array) else None
            if number is not None:
                one = pikepdf.OutlineItem(item.title, sides[number])
                one.children.extend(copied(item.children))
                made.append(one)
        return made

    with source.open_outline() as outline, imposed.open_outline() as own:
        own.root.extend(copied(outline.root))
