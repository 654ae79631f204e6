"""Tables of text that may run over several pages."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SANS_BOLD, SERIF
from tunebook.book.layout.blocks import ASCENT, Drawing, Flowed, shortened
from tunebook.book.layout.sheet import LIGHT, Sheet

_LEADING = 1.55
_REMARK_INDENT_PT = 10.0


def table_rows(
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    shares: Sequence[float],
    design: Design,
    *,
    size_pt: float = 9.0,
    anchors: Sequence[str] = (),
    remarks: Sequence[str] = (),
    ease: float = 1.0,
) -> list[Flowed]:
    """Return a head row, which is set once more on each page, and one block a row. ``shares`` are
    the columns' shares of the width; the first column stands left, the others right. ``anchors``
    (parallel to rows) make links, ``remarks`` (parallel to rows) stand below theirs. ``ease`` is
    the share of the usual distance of rows."""
    size = design.size(size_pt)
    leading = size * _LEADING * ease
    rights = [design.width_pt * sum(shares[: at + 1]) / sum(shares) for at in range(len(shares))]
    head = _row(columns, rights, design, size, leading, SANS_BOLD, "")
    made = [Flowed(head, keeps_with_next=True)]
    for at, row in enumerate(rows):
        anchor = anchors[at] if anchors else ""
        remark = remarks[at] if remarks else ""
        block = _row(row, rights, design, size, leading, SERIF, anchor, remark)
        made.append(Flowed(block, continued=head))
    return made


def _row(
    cells: Sequence[str],
    rights: Sequence[float],
    design: Design,
    size: float,
    leading: float,
    role: str,
    anchor: str,
    remark: str = "",
) -> Drawing:
    indent = design.size(_REMARK_INDENT_PT)
    below = design.small(remark, design.width_pt, indent_pt=indent)
    height = leading + below.height_pt

    def paint(sheet: Sheet, left: float, top: float) -> None:
        base = top + (leading - size) / 2 + ASCENT * size
        box = (left, top, rights[0], leading)
        kind = "TH" if role == SANS_BOLD else "TD"
        with sheet.tagged("TR"):
            for at, cell in enumerate(cells):
                start = 0.0 if at == 0 else rights[at - 1]
                text = shortened(cell, design.fonts, role, size, rights[at] - start - 4)
                with sheet.tagged(kind):
                    if at:
                        sheet.text(left + rights[at], base, text, role, size, align="right")
                        continue
                    with sheet.linked(anchor, *box, cell):
                        sheet.text(left, base, text, role, size)
                    below.draw(sheet, left, top + leading - 2.0)
        sheet.rule(left, top + height - 0.5, left + rights[-1], grey=LIGHT)

    return Drawing(height, paint)
