"""Two small pages on each side of a large sheet, in the order for folding a booklet."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

from tunebook.assemble.paper import PT_PER_MM

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


def impose_booklet(data: bytes) -> tuple[bytes, int]:
    """Return the imposed PDF (A4 on its long side) of an A5 PDF, and the number of sheets.

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
        buffer = BytesIO()
        imposed.save(buffer, deterministic_id=True)
    return buffer.getvalue(), len(sides) // 2
