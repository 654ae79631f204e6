"""A drawing surface: text, lines, links and engraved systems at places on pages.

Coordinates are points from the paper's left and *top* edge. Text and lines go to reportlab at
once; engraved systems are only noted down, and placed when the text pages are finished.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tunebook.book.fonts.fonts import Fonts
from tunebook.book.layout.paper import PageFormat
from tunebook.book.layout.tags import Figure, Tags
from tunebook.model.piece import EngravedSystem

BLACK = 0.0
GREY = 0.38
LIGHT = 0.72
HAIR_PT = 0.5


QUIET_MODULES = 4
"""Empty modules around a QR code (ISO/IEC 18004)."""
_QR_LEVEL = "M"  # an eighth of it may be unreadable


def qr_modules(text: str) -> int:
    """How many modules wide the QR code of ``text`` is, its quiet zone aside."""
    from reportlab.graphics.barcode.qr import QrCodeWidget

    return 17 + 4 * int(QrCodeWidget(text, barLevel=_QR_LEVEL).qr.calculate_version())


# Letters of a string in a page's content (ISO 32000-1, 7.3.4.2).
_ESCAPES = {
    code: f"\\{chr(code)}" if chr(code) in "\\()" else f"\\{code:03o}"
    for code in (*range(32), *b"\\()", *range(127, 256))
}


def _figure(value: float) -> str:
    """A number as it stands in a page's content, to a thousandth."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class PlacedSystem:
    """An engraved system on a page of the book (``page`` counts from 0): the lower left corner of
    its box at ``left_pt``, ``bottom_pt`` from the page's lower left, drawn ``scale`` as large.
    ``mark`` is the number of the marked content that it is; None for an artifact."""

    page: int
    pdf: Path
    system: EngravedSystem
    left_pt: float
    bottom_pt: float
    scale: float = 1.0
    mark: int | None = None


@dataclass(frozen=True, slots=True)
class PageReference:
    """Where an anchor stands: page from 0, and the label printed on that page."""

    page: int
    label: str


@dataclass(slots=True)
class Sheet:
    """Draws on the current page of ``canvas``. ``references`` tells the page of every anchor;
    ``tags`` record what is drawn, ``heading`` is the level of the next heading from 1."""

    canvas: Any
    fonts: Fonts
    page_format: PageFormat
    references: Mapping[str, PageReference] = field(default_factory=dict)
    page: int = 0
    placed: list[PlacedSystem] = field(default_factory=list)
    tags: Tags = field(init=False)
    heading: int = 2
    _shown: dict[tuple[str, str, float], list[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.tags = Tags(self.canvas.addLiteral)

    @contextmanager
    def tagged(self, kind: str, text: str = "") -> Iterator[None]:
        """What is drawn meanwhile is of this kind: "H" for a heading, else a standard structure
        type; ``text`` is the alternative text of a figure."""
        with self.tags.element(f"H{self.heading}" if kind == "H" else kind, text):
            yield

    @contextmanager
    def figure(
        self, text: str, left_pt: float, top_pt: float, width_pt: float, high_pt: float
    ) -> Iterator[None]:
        """What is drawn meanwhile is one picture within the box."""
        bottom = self._up(top_pt + high_pt)
        with self.tags.element("Figure", text) as made:
            made.add_box(self.page, (left_pt, bottom, left_pt + width_pt, bottom + high_pt))
            yield

    @contextmanager
    def linked(
        self, name: str, left_pt: float, top_pt: float, width_pt: float, high_pt: float, text: str
    ) -> Iterator[None]:
        """What is drawn meanwhile leads to the anchor ``name``, and so does the box; ``text`` says
        where that is. Nothing leads anywhere when there is no such anchor."""
        if name not in self.references:
            yield
            return
        with self.tagged("Link"):
            yield
            bottom = self._up(top_pt + high_pt)
            area = (left_pt, bottom, left_pt + width_pt, bottom + high_pt)
            self.canvas.linkRect("", name, area, relative=0, Border="[0 0 0]")
            self.tags.link(text)

    def text(
        self,
        left_pt: float,
        base_pt: float,
        text: str,
        role: str,
        size_pt: float,
        *,
        align: str = "left",
        grey: float = BLACK,
        rise_pt: float = 0.0,
        goes_on: bool = False,
    ) -> float:
        """Print one line with its base line at ``base_pt``; return its width. ``align`` says what
        ``left_pt`` is: left, right or centre of the text. Where the text ``goes_on`` elsewhere, a
        blank stands at the end, so that words are not read as one."""
        pieces = self.fonts.pieces(text, role, size_pt)
        width = sum(advance for _, _, advance in pieces)
        at = left_pt - {"left": 0.0, "right": width, "centre": width / 2}[align]
        self.tags.mark_text()
        high = _figure(self._up(base_pt) + rise_pt)
        operators = [f"BT {_figure(grey)} g"]
        for font, piece, advance in pieces:
            operators.append(f"1 0 0 1 {_figure(at)} {high} Tm")
            operators += self._letters(font, piece, size_pt)
            at += advance
        if goes_on and pieces:
            operators += self._letters(pieces[-1][0], " ", size_pt)
        self.canvas.addLiteral(" ".join((*operators, "ET")))
        return width

    def _letters(self, font: str, text: str, size_pt: float) -> list[str]:
        """The operators that show ``text``, one for each part of the font."""
        key = (font, text, size_pt)
        found = self._shown.get(key)
        if found is None:
            from reportlab.pdfbase.pdfmetrics import getFont

            document, whole = self.canvas._doc, getFont(font)
            found = self._shown[key] = [
                f"{whole.getSubsetInternalName(part, document)} {_figure(size_pt)} Tf "
                f"({codes.decode('latin-1').translate(_ESCAPES)}) Tj"
                for part, codes in whole.splitString(text, document)
            ]
        return found

    def rule(
        self,
        left_pt: float,
        top_pt: float,
        right_pt: float,
        bottom_pt: float | None = None,
        *,
        width_pt: float = HAIR_PT,
        grey: float = BLACK,
        dash: tuple[float, ...] = (),
    ) -> None:
        """A straight line, level unless ``bottom_pt`` is given."""
        self.tags.mark_line()
        end = top_pt if bottom_pt is None else bottom_pt
        self.canvas.setLineWidth(width_pt)
        self.canvas.setStrokeGray(grey)
        self.canvas.setLineCap(1 if dash else 0)
        self.canvas.setDash(*([list(dash)] if dash else []))
        self.canvas.line(left_pt, self._up(top_pt), right_pt, self._up(end))

    def box(
        self,
        left_pt: float,
        top_pt: float,
        width_pt: float,
        height_pt: float,
        *,
        line_pt: float = HAIR_PT,
        grey: float = BLACK,
        fill: float | None = None,
        radius_pt: float = 0.0,
    ) -> None:
        """A rectangle with round corners, filled when ``fill`` (a grey) is given; no outline when
        ``line_pt`` is 0."""
        self._pens(line_pt, grey, fill)
        self.canvas.roundRect(
            left_pt,
            self._up(top_pt + height_pt),
            width_pt,
            height_pt,
            radius_pt,
            stroke=int(line_pt > 0),
            fill=int(fill is not None),
        )

    def disc(
        self,
        centre_pt: float,
        middle_pt: float,
        radius_pt: float,
        *,
        line_pt: float = HAIR_PT,
        grey: float = BLACK,
        fill: float | None = None,
    ) -> None:
        """A circle round (``centre_pt``, ``middle_pt``)."""
        self._pens(line_pt, grey, fill)
        self.canvas.circle(
            centre_pt,
            self._up(middle_pt),
            radius_pt,
            stroke=int(line_pt > 0),
            fill=int(fill is not None),
        )

    def system(
        self,
        pdf: Path,
        system: EngravedSystem,
        left_pt: float,
        top_pt: float,
        scale: float = 1.0,
        *,
        figure: Figure | None = None,
    ) -> None:
        """Note down that ``system`` goes here, the upper left corner of its box at the place."""
        bottom = self._up(top_pt + system.height_pt * scale)
        right, top = left_pt + system.width_pt * scale, bottom + system.height_pt * scale
        self.placed.append(
            PlacedSystem(
                page=self.page,
                pdf=pdf,
                system=system,
                left_pt=left_pt,
                bottom_pt=bottom,
                scale=scale,
                mark=self.tags.music(figure, (left_pt, bottom, right, top)),
            )
        )

    def anchor(self, name: str, top_pt: float) -> None:
        """Make ``name`` a place that links lead to."""
        self.canvas.bookmarkHorizontal(name, 0, self._up(max(0.0, top_pt - 6)))

    def outline(self, name: str, title: str, level: int) -> None:
        """Add an entry of the PDF's outline that leads to the anchor ``name``."""
        self.canvas.addOutlineEntry(" ".join(title.split()), name, level, closed=level > 0)

    @contextmanager
    def web_linked(
        self, address: str, box_pt: tuple[float, float, float, float], text: str
    ) -> Iterator[None]:
        """What is drawn meanwhile, and the box (left, top, width, height), lead to an address
        outside the book, or to a file beside it; ``text`` says what is there."""
        left_pt, top_pt, width_pt, high_pt = box_pt
        with self.tagged("Link"):
            yield
            bottom = self._up(top_pt + high_pt)
            area = (left_pt, bottom, left_pt + width_pt, bottom + high_pt)
            self.canvas.linkURL(address, area, relative=0, thickness=0)
            self.tags.link(text)

    def qr_code(self, text: str, left_pt: float, top_pt: float, side_pt: float) -> None:
        """A QR code of ``text``, its quiet zone within the box."""
        from reportlab.graphics.barcode.qr import QrCodeWidget
        from reportlab.graphics.renderPDF import draw
        from reportlab.graphics.shapes import Drawing

        code = QrCodeWidget(
            text,
            barLevel=_QR_LEVEL,
            barWidth=side_pt,
            barHeight=side_pt,
            barBorder=QUIET_MODULES,
        )
        drawing = Drawing(side_pt, side_pt)
        drawing.add(code)
        self.tags.mark_line()
        draw(drawing, self.canvas, left_pt, self._up(top_pt + side_pt))

    def label_of(self, name: str) -> str:
        """The page number printed on the page of the anchor ``name``; empty when unknown."""
        reference = self.references.get(name)
        return reference.label if reference else ""

    def end_page(self) -> None:
        """Finish this page and go on to the next."""
        self.tags.end_page()
        self.canvas.showPage()
        self.page += 1

    def _up(self, down_pt: float) -> float:
        return self.page_format.height_pt - down_pt

    def _pens(self, line_pt: float, grey: float, fill: float | None) -> None:
        self.tags.mark_line()
        self.canvas.setLineWidth(line_pt)
        self.canvas.setStrokeGray(grey)
        self.canvas.setDash()
        if fill is not None:
            self.canvas.setFillGray(fill)
