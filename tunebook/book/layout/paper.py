"""Paper and margins: where text and music may stand on a page."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.model.choices import Paper

PT_PER_MM = 72.0 / 25.4


@dataclass(frozen=True, slots=True)
class PageFormat:
    """A page in points. Text and music keep within the box that ``side_pt``, ``top_pt`` and
    ``bottom_pt`` leave; ``head_pt`` and ``foot_pt`` are the distances of the base lines of the
    running head and of the foot line from the paper's edge. ``scale`` sizes headings (1 on A4)."""

    name: str
    width_pt: float
    height_pt: float
    side_pt: float
    top_pt: float
    bottom_pt: float
    head_pt: float
    foot_pt: float
    scale: float = 1.0

    @property
    def text_width_pt(self) -> float:
        return self.width_pt - 2 * self.side_pt

    @property
    def text_height_pt(self) -> float:
        return self.height_pt - self.top_pt - self.bottom_pt


def _format(
    name: str, width_mm: float, height_mm: float, margins_mm: tuple[float, ...], scale: float = 1.0
) -> PageFormat:
    side, top, bottom, head, foot = (value * PT_PER_MM for value in margins_mm)
    return PageFormat(
        name=name,
        width_pt=width_mm * PT_PER_MM,
        height_pt=height_mm * PT_PER_MM,
        side_pt=side,
        top_pt=top,
        bottom_pt=bottom,
        head_pt=head,
        foot_pt=foot,
        scale=scale,
    )


# Sizes: ISO 216 (A4, A5) and ANSI/ASME Y14.1 (letter). Margins (side, top, bottom, head, foot in
# mm) are our judgement: most home printers leave 4 to 6 mm blank.
_FORMATS = {
    "a4": _format("a4", 210.0, 297.0, (17.0, 14.0, 13.5, 10.0, 6.8)),
    "letter": _format("letter", 215.9, 279.4, (17.0, 14.0, 13.5, 10.0, 6.8)),
    "a5": _format("a5", 148.0, 210.0, (12.0, 13.0, 12.0, 8.5, 6.0), 0.85),
}


def page_format(paper: Paper) -> PageFormat:
    """Return the format of ``paper``: a4, letter or a5. Raises KeyError for any other name."""
    return _FORMATS[paper]
