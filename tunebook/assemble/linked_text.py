"""Running text in which words are links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from tunebook.assemble.blocks import ASCENT
from tunebook.assemble.fonts import Fonts
from tunebook.assemble.sheet import Sheet

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
