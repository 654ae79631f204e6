"""What every maker of pages needs at hand: page format, fonts, fixed words."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.book.fonts.fonts import BOLD, ITALIC, SANS_BOLD, SERIF, Fonts
from tunebook.book.layout.blocks import Flowed, Lines, Rule, Space, Stack, paragraph
from tunebook.book.layout.paper import PageFormat
from tunebook.book.layout.sheet import GREY
from tunebook.model.words import FixedWords

SMALL_PT = 8.5
"""Small print on a full page."""
_MOST_IN_COLUMNS = 1.25


@dataclass(frozen=True, slots=True)
class Design:
    """The look of one book. Sizes are in points on A4; smaller paper has smaller headings.
    ``enlarged`` is the factor by which what is read beside the music is larger in large print."""

    page_format: PageFormat
    fonts: Fonts
    words: FixedWords
    enlarged: float = 1.0

    @property
    def width_pt(self) -> float:
        return self.page_format.text_width_pt

    @property
    def music_width_pt(self) -> float:
        """What a system may take, with its bleed on both sides."""
        return self.width_pt + 10.0

    def size(self, points: float) -> float:
        """A heading's or text's size on this paper."""
        return points * self.page_format.scale

    def reading(self, points: float) -> float:
        """The size of text that is read with the music: larger in large print."""
        return self.size(points) * self.enlarged

    def entry(self, points: float) -> float:
        """The size of a line in a column; not as large as other text, so that titles have room."""
        return self.size(points) * min(self.enlarged, _MOST_IN_COLUMNS)

    def fitting(self, text: str, role: str, points: float, beside_pt: float = 0.0) -> float:
        """The size in which a line of ``text`` fits on the page with ``beside_pt`` left free, if
        it can be without being smaller than in other books."""
        size = self.reading(points)
        wide = self.fonts.width(text, role, size)
        room = self.width_pt - beside_pt
        return max(self.size(points), size * min(1.0, room / max(wide, 1.0)))

    def page_title(self, title: str, anchor: str, level: int = 0) -> Flowed:
        """The heading of a page of text, an entry of the outline."""
        size = self.size(20.0)
        head = paragraph(
            title, self.fonts, self.width_pt,
            role=BOLD, size_pt=size, leading_pt=size * 1.2, kind="H",
        )  # fmt: skip
        block = Stack((head, Rule(self.width_pt, 3.0, self.size(11.0))))
        return Flowed(block, 0.0, True, anchor, (title, level))

    def heading(self, title: str, width_pt: float | None = None, before_pt: float = 14.0) -> Flowed:
        """A heading within a page."""
        size = self.size(12.0)
        width = self.width_pt if width_pt is None else width_pt
        block = paragraph(
            title, self.fonts, width,
            role=BOLD, size_pt=size, leading_pt=size * 1.35, kind="H",
        )  # fmt: skip
        return Flowed(Stack((block, Space(self.size(2.0)))), self.size(before_pt), True)

    def small_heading(self, title: str, width_pt: float, before_pt: float = 9.0) -> Flowed:
        """A heading within a column."""
        size = self.entry(9.5)
        block = paragraph(
            title, self.fonts, width_pt,
            role=SANS_BOLD, size_pt=size, leading_pt=size * 1.4, kind="H",
        )  # fmt: skip
        return Flowed(block, self.size(before_pt), True)

    def body(self, text: str, width_pt: float | None = None, before_pt: float = 0.0) -> Flowed:
        """A paragraph of running text."""
        width = self.width_pt if width_pt is None else width_pt
        size = self.reading(10.5)
        block = paragraph(text, self.fonts, width, size_pt=size, leading_pt=size * 1.36)
        return Flowed(block, self.size(before_pt))

    def small(
        self, text: str, width_pt: float, *, role: str = SERIF, indent_pt: float = 0.0
    ) -> Lines:
        """Small print."""
        size = self.reading(SMALL_PT)
        return paragraph(
            text,
            self.fonts,
            width_pt,
            role=role,
            size_pt=size,
            leading_pt=size * 1.32,
            indent_pt=indent_pt,
        )

    def note(self, text: str, width_pt: float | None = None, before_pt: float = 0.0) -> Flowed:
        """A remark in italics, in grey."""
        width = self.width_pt if width_pt is None else width_pt
        size = self.reading(9.5)
        block = paragraph(
            text,
            self.fonts,
            width,
            role=ITALIC,
            size_pt=size,
            leading_pt=size * 1.35,
            grey=GREY,
        )
        return Flowed(block, self.size(before_pt))
