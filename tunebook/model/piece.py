"""What comes back from the engraver: PDFs with one system a page, and measured boxes. Several
pieces may share a PDF."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class EngravedSystem:
    """One system of music. ``page_index`` is its page in the piece's PDF. The box is in points
    from the lower left of that page and includes everything drawn, bleed included.
    ``bar_count`` is how many bars it holds, 0 when not known. ``staff_indent_pt`` is how far right
    of the box's left side the staff begins: shift by it to set staves flush with the text."""

    page_index: int
    left_pt: float
    bottom_pt: float
    width_pt: float
    height_pt: float
    bar_count: int = 0
    staff_indent_pt: float = 0.0


@dataclass(frozen=True, slots=True)
class EngravedFiles:
    """What the engraver wrote for one piece: where its pages are, and its boxes as text. The
    opening's are empty where there is none."""

    pdf: Path
    boxes: str
    opening_pdf: Path | None = None
    opening_boxes: str = ""


@dataclass(frozen=True, slots=True)
class EngravedPiece:
    """All systems of one piece (a tune, an exercise, a legend example), and its opening
    (incipit) where one was asked for. ``identity`` is the caller's name for it."""

    identity: str
    pdf: Path
    systems: tuple[EngravedSystem, ...]
    opening_pdf: Path | None = None
    opening: EngravedSystem | None = None


@dataclass(frozen=True, slots=True)
class EngravingFailure:
    """A piece that LilyPond could not engrave, with one line of the reason."""

    identity: str
    reason: str
