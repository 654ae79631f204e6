"""Blocks: things of known height that are drawn at a place (text, running text in which words are
links, lists, engraved systems), and stacks of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby
from pathlib import Path
from typing import Protocol

from tunebook.book.fonts.fonts import LEEWAY_PT, SERIF, Fonts, break_lines
from tunebook.book.layout.sheet import BLACK, GREY, HAIR_PT, Sheet
from tunebook.book.layout.tags import Figure
from tunebook.model.piece import EngravedSystem

# Size of the type above the base line, as a share of its size.
ASCENT = 0.74
# Distance of the lines of a list, in sizes of the type.
ENTRY_LEADING = 1.42
ELLIPSIS = "…"


class Block(Protocol):
    """Anything with a height that can be drawn with its upper left corner at a place."""

    @property
    def height_pt(self) -> float: ...

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None: ...


@dataclass(frozen=True, slots=True)
class Flowed:
    """A block in a flow of text. ``before_pt`` is the space above it, left out at the top of a
    column. ``keeps_with_next`` forbids a break after it. ``anchor`` makes it a place to link to,
    ``outline`` an entry (title, level) of the PDF's outline. ``continued`` is set above the block
    where it heads a column: the name once more of what goes on here."""

    block: Block
    before_pt: float = 0.0
    keeps_with_next: bool = False
    anchor: str = ""
    outline: tuple[str, int] | None = None
    continued: Block | None = None

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw the block, and make its anchor and outline entry."""
        level = sheet.heading
        if self.anchor:
            sheet.anchor(self.anchor, top_pt)
            if self.outline is not None:
                sheet.outline(self.anchor, *self.outline)
                sheet.heading = self.outline[1] + 1
        self.block.draw(sheet, left_pt, top_pt)
        sheet.heading = level


@dataclass(frozen=True, slots=True)
class Space:
    """Nothing, of a height."""

    height_pt: float

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw nothing."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines of text, already broken. ``align`` is left, right or centre within ``width_pt``;
    ``kind`` is P, or H for a heading."""

    lines: tuple[str, ...]
    role: str = SERIF
    size_pt: float = 10.0
    leading_pt: float = 13.0
    width_pt: float = 0.0
    align: str = "left"
    grey: float = BLACK
    indent_pt: float = 0.0
    kind: str = "P"

    @property
    def height_pt(self) -> float:
        return self.leading_pt * len(self.lines)

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Print the lines one below the other."""
        if any(self.lines):
            with sheet.tagged(self.kind):
                self._print(sheet, left_pt, top_pt)

    def _print(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        shift = {"left": self.indent_pt, "centre": self.width_pt / 2, "right": self.width_pt}
        at = left_pt + shift[self.align]
        base = top_pt + (self.leading_pt - self.size_pt) / 2 + ASCENT * self.size_pt
        for index, line in enumerate(self.lines):
            sheet.text(
                at,
                base + index * self.leading_pt,
                line,
                self.role,
                self.size_pt,
                align=self.align,
                grey=self.grey,
                goes_on=index + 1 < len(self.lines),
            )


@dataclass(frozen=True, slots=True)
class Rule:
    """A hair line over ``width_pt``, with space around it."""

    width_pt: float
    above_pt: float = 2.0
    below_pt: float = 4.0
    line_pt: float = HAIR_PT
    grey: float = BLACK

    @property
    def height_pt(self) -> float:
        return self.above_pt + self.below_pt

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw the line."""
        at = top_pt + self.above_pt
        sheet.rule(left_pt, at, left_pt + self.width_pt, width_pt=self.line_pt, grey=self.grey)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing: its height and the function that draws it. ``text`` is the alternative text of a
    picture, ``width_pt`` wide; a drawing without one is text."""

    height_pt: float
    paint: Callable[[Sheet, float, float], None]
    text: str = ""
    width_pt: float = 0.0

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw it."""
        if not self.text:
            self.paint(sheet, left_pt, top_pt)
            return
        with sheet.figure(self.text, left_pt, top_pt, self.width_pt, self.height_pt):
            self.paint(sheet, left_pt, top_pt)


@dataclass(frozen=True, slots=True)
class Music:
    """One engraved system of the file ``pdf``; ``shift_pt`` moves it to the right. ``figure`` says
    what it is in words."""

    pdf: Path
    system: EngravedSystem
    scale: float = 1.0
    shift_pt: float = 0.0
    figure: Figure | None = None

    @property
    def height_pt(self) -> float:
        return self.system.height_pt * self.scale

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Note down where the system goes."""
        left = left_pt + self.shift_pt
        sheet.system(self.pdf, self.system, left, top_pt, self.scale, figure=self.figure)


def fitted_music(
    pdf: Path, system: EngravedSystem, width_pt: float, figure: Figure | None = None
) -> Music:
    """The system, of the music that ``figure`` tells of, made smaller only where it would be wider
    than ``width_pt``; its staff, not the bleed before it, stands flush with the text."""
    scale = min(1.0, width_pt / system.width_pt) if system.width_pt else 1.0
    return Music(pdf, system, scale, -system.staff_indent_pt * scale, figure)


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of a list: text, dots, page number; the whole line links to ``anchor``. ``middle`` is
    set in grey before the page number."""

    text: str
    anchor: str
    width_pt: float
    role: str = SERIF
    size_pt: float = 10.0
    leading_pt: float = 14.0
    indent_pt: float = 0.0
    middle: str = ""

    @property
    def height_pt(self) -> float:
        return self.leading_pt

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Print the line."""
        box = (left_pt, top_pt, self.width_pt, self.leading_pt)
        with sheet.tagged("P"), sheet.linked(self.anchor, *box, self.text):
            self._print(sheet, left_pt, top_pt)

    def _print(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """In the order of reading: the text, what stands in the middle, the number."""
        size = self.size_pt
        base = top_pt + (self.leading_pt - size) / 2 + ASCENT * size
        right = left_pt + self.width_pt
        label = sheet.label_of(self.anchor)
        stop = right - max(sheet.fonts.width(label, SERIF, size), size * 1.6) - 4
        end = stop
        if self.middle:
            stop -= sheet.fonts.width(self.middle, SERIF, size * 0.9) + 4
        room = stop - left_pt - self.indent_pt - 8
        text = shortened(self.text, sheet.fonts, self.role, size, room)
        start = left_pt + self.indent_pt
        start += sheet.text(start, base, text, self.role, size, goes_on=True) + 4
        if self.middle:
            sheet.text(
                end, base, self.middle, SERIF, size * 0.9, align="right", grey=GREY, goes_on=True
            )
        sheet.text(right, base, label, SERIF, size, align="right")
        _leaders(sheet, start, stop, base, size)


def _leaders(sheet: Sheet, start_pt: float, stop_pt: float, base_pt: float, size_pt: float) -> None:
    """Dots on a common grid from the right, so that they stand below each other."""
    step = 5.0
    first = stop_pt - step * int((stop_pt - start_pt) / step)
    if stop_pt - first >= 2 * step:
        sheet.rule(
            first, base_pt - 0.4, stop_pt - 1, width_pt=0.75, grey=GREY, dash=(0.01, step - 0.01)
        )


def shortened(text: str, fonts: Fonts, role: str, size_pt: float, room_pt: float) -> str:
    """``text``, cut with an ellipsis where it would be wider than ``room_pt``."""
    measured = fonts.measured(text, role, size_pt)
    if measured.width_pt <= room_pt + LEEWAY_PT:
        return text
    cut = measured.whole(0, measured.furthest(0, room_pt))
    while cut > 0:
        # The ellipsis may be kerned with the letter before it.
        last = measured.text[cut - 1]
        more = fonts.width(last + ELLIPSIS, role, size_pt) - fonts.width(last, role, size_pt)
        if measured.reached[cut] + more <= room_pt + LEEWAY_PT:
            break
        cut = measured.whole(0, cut - 1)
    return measured.text[:cut].rstrip() + ELLIPSIS


def broken(text: str, fonts: Fonts, role: str, size_pt: float, width_pt: float) -> tuple[str, ...]:
    """Break ``text`` into lines no wider than ``width_pt`` (at spaces; a longer word is cut). No
    line begins with the dot that parts facts."""
    return breakable(text, fonts, role, size_pt)(width_pt)


def breakable(
    text: str, fonts: Fonts, role: str, size_pt: float
) -> Callable[[float], tuple[str, ...]]:
    """Measure ``text`` once; the function that is returned breaks it at any width in points."""
    words = fonts.printed(text).replace(" · ", "\0· ").split()
    ends = [end - 1 for end in accumulate(len(word) + 1 for word in words)]
    measured = fonts.measured(" ".join(words).replace("\0", " "), role, size_pt)
    return lambda width_pt: break_lines(measured, ends, width_pt)


def paragraph(
    text: str,
    fonts: Fonts,
    width_pt: float,
    *,
    role: str = SERIF,
    size_pt: float = 10.0,
    leading_pt: float = 13.5,
    align: str = "left",
    grey: float = BLACK,
    indent_pt: float = 0.0,
    kind: str = "P",
) -> Lines:
    """A paragraph, or a heading, as a block."""
    lines = broken(text, fonts, role, size_pt, width_pt - indent_pt)
    return Lines(
        lines=lines,
        role=role,
        size_pt=size_pt,
        leading_pt=leading_pt,
        width_pt=width_pt,
        align=align,
        grey=grey,
        indent_pt=indent_pt,
        kind=kind,
    )


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
        with sheet.tagged("P"):
            self._print(sheet, left_pt, top_pt)

    def _print(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        down = (self.leading_pt - self.size_pt) / 2 + ASCENT * self.size_pt
        for index, line in enumerate(self.lines):
            top = top_pt + index * self.leading_pt
            at = left_pt
            for text, anchor in line:
                width = sheet.fonts.width(text, self.role, self.size_pt)
                with sheet.linked(anchor, at, top, width, self.leading_pt, text):
                    at += sheet.text(at, top + down, text, self.role, self.size_pt)


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


@dataclass(frozen=True, slots=True)
class Stack:
    """Blocks one below the other as one block (never broken)."""

    blocks: tuple[Block, ...]

    @property
    def height_pt(self) -> float:
        return sum(block.height_pt for block in self.blocks)

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw all blocks."""
        for block in self.blocks:
            block.draw(sheet, left_pt, top_pt)
            top_pt += block.height_pt


@dataclass(frozen=True, slots=True)
class Beside:
    """Blocks side by side as one block. ``lefts_pt`` are parallel to ``blocks``; each is set at
    the top, or in the middle of the height when ``is_centred``."""

    blocks: tuple[Block, ...]
    lefts_pt: tuple[float, ...]
    is_centred: bool = False

    @property
    def height_pt(self) -> float:
        return max((block.height_pt for block in self.blocks), default=0.0)

    def draw(self, sheet: Sheet, left_pt: float, top_pt: float) -> None:
        """Draw all blocks."""
        for block, shift in zip(self.blocks, self.lefts_pt, strict=True):
            spare = (self.height_pt - block.height_pt) / 2 if self.is_centred else 0.0
            block.draw(sheet, left_pt + shift, top_pt + spare)


def stacked(blocks: Sequence[Block]) -> Block:
    """One block out of several."""
    return blocks[0] if len(blocks) == 1 else Stack(tuple(blocks))
