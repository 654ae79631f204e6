"""Running text in which words are links, and tables that may run over several pages.

Running text in which words are links.

Tables of text that may run over several pages.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SANS_BOLD, SERIF, Fonts
from tunebook.book.layout.blocks import ASCENT, Drawing, Flowed, shortened
from tunebook.book.layout.sheet import LIGHT, Sheet

# (text, anchor it leads to, or "")
Part = tuple[str, str]


@dataclass(frozen=True, slots=True)
class LinkedLines:
    """Lines of (text, anchor) parts, already broken."""

    lines: tuple[tuple[Part, ...], ...]
    role: str
    size_pt: float
    leading_pt: float

    @property
    def height_pt(self) -> float:
        return self.leading_pt * len(self.lines)

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Print the lines one below the other and make the links."""
        down = (self.leading_pt - self.size_pt) / 2 + ASCENT * self.size_pt
        for index, line in enumerate(self.lines):
            top = top_pt + index * self.leading_pt
            at = left_pt
            for text, anchor in line:
                width = sheet.text(at, top + down, text, self.role, self.size_pt)
                if anchor:
                    sheet.link(anchor, at, top, width, self.leading_pt)
                at += width


def linked_text(
    parts: Sequence[Part], fonts: Fonts, width_pt: float, role: str, size_pt: float
) -> LinkedLines:
    """Break ``parts``, joined without spaces of their own, into lines of ``width_pt`` at spaces."""
    lines: list[list[Part]] = [[]]
    for word in _words(parts):
        text = "".join(piece for piece, _ in (*lines[-1], *word))
        if lines[-1] and fonts.width(text.rstrip(), role, size_pt) > width_pt:
            lines.append([])
        lines[-1] += word
    joined = tuple(_joined(line) for line in lines if line)
    return LinkedLines(joined, role, size_pt, size_pt * 1.32)


def _words(parts: Sequence[Part]) -> list[list[Part]]:
    """What stands between two spaces, with the space that follows; a word may have parts that
    lead to different places."""
    words: list[list[Part]] = [[]]
    for text, anchor in parts:
        pieces = text.split(" ")
        for number, piece in enumerate(pieces):
            is_end = number < len(pieces) - 1
            if piece or is_end:
                words[-1].append((piece + " " * is_end, anchor))
            if is_end:
                words.append([])
    return [word for word in words if word]


def _joined(line: Sequence[Part]) -> tuple[Part, ...]:
    """Neighbours that lead to the same place as one part."""
    return tuple(
        ("".join(text for text, _ in group), anchor)
        for anchor, group in groupby(line, lambda part: part[1])
    )


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
        for at, cell in enumerate(cells):
            start = 0.0 if at == 0 else rights[at - 1]
            text = shortened(cell, design.fonts, role, size, rights[at] - start - 4)
            if at == 0:
                sheet.text(left, base, text, role, size)
            else:
                sheet.text(left + rights[at], base, text, role, size, align="right")
        below.draw(sheet, left, top + leading - 2.0)
        sheet.rule(left, top + height - 0.5, left + rights[-1], grey=LIGHT)
        if anchor:
            sheet.link(anchor, left, top, rights[0], leading)

    return Drawing(height, paint)
