"""Tables of text that may run over several pages."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.assemble.blocks import ASCENT, Drawing, Flowed, shortened
from tunebook.assemble.design import Design
from tunebook.assemble.fonts import SANS_BOLD, SERIF
from tunebook.assemble.sheet import LIGHT, Sheet

_LEADING = 1.55


def table_rows(
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    shares: Sequence[float],
    design: Design,
    *,
    size_pt: float = 9.0,
    anchors: Sequence[str] = (),
) -> list[Flowed]:
    """Return a head row and one block a row. ``shares`` are the columns' shares of the width; the
    first column stands left, the others right. ``anchors`` (parallel to rows) make links."""
    size = design.size(size_pt)
    rights = [design.width_pt * sum(shares[: at + 1]) / sum(shares) for at in range(len(shares))]
    made = [Flowed(_row(columns, rights, design, size, SANS_BOLD, ""), keeps_with_next=True)]
    for at, row in enumerate(rows):
        anchor = anchors[at] if anchors else ""
        made.append(Flowed(_row(row, rights, design, size, SERIF, anchor)))
    return made


def _row(
    cells: Sequence[str],
    rights: Sequence[float],
    design: Design,
    size: float,
    role: str,
    anchor: str,
) -> Drawing:
    height = size * _LEADING

    def paint(sheet: Sheet, left: float, top: float) -> None:
        base = top + (height - size) / 2 + ASCENT * size
        for at, cell in enumerate(cells):
            start = 0.0 if at == 0 else rights[at - 1]
            text = shortened(cell, design.fonts, role, size, rights[at] - start - 4)
            if at == 0:
                sheet.text(left, base, text, role, size)
            else:
                sheet.text(left + rights[at], base, text, role, size, align="right")
        sheet.rule(left, top + height - 0.5, left + rights[-1], grey=LIGHT)
        if anchor:
            sheet.link(anchor, left, top, rights[0], height)

    return Drawing(height, paint)
