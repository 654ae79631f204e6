"""What is engraved, handed over in parts, and what comes back: PDFs with one system a page, and
measured boxes. Several pieces may share a PDF.

The parts are LilyPond source in whole lines, so that pieces that begin alike can be set together
in one file and told apart again without anybody reading that source.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

OPENING = "opening"


@dataclass(frozen=True, slots=True)
class Score:
    """A score block that ends with its layout block, cut where that begins: the engraver may put
    settings of its own there."""

    start: str
    end: str

    def text(self, settings: str = "") -> str:
        """The whole block; ``settings`` go into its layout block."""
        return f"{self.start}{settings}{self.end}"


@dataclass(frozen=True, slots=True)
class Opening:
    """The first bars of a tune (incipit), which stand in a book block of their own: its beginning
    with the paper, and its score."""

    head: str
    score: Score

    def book(self, *scores: str) -> str:
        """The block with ``scores`` in it; the names of its files end in "-opening"."""
        return f'{self.head}  \\bookOutputSuffix "{OPENING}"\n{"".join(scores)}}}\n'


@dataclass(frozen=True, slots=True)
class Piece:
    """A tune, an exercise or an example of a sign, to be engraved: what stands before the music
    (version, staff size, paper, layout), the music, and perhaps its opening.
    ``bars_per_line`` is the number of bars in each line of music."""

    preamble: str
    score: Score
    opening: Opening | None = None
    bars_per_line: tuple[int, ...] = ()

    @property
    def text(self) -> str:
        """The piece as one file."""
        opening = self.opening
        book = opening.book(opening.score.text()) if opening is not None else ""
        return self.music_text + book

    @property
    def music_text(self) -> str:
        """The piece without its opening as one file."""
        return f"{self._head}{self.score.text()}"

    @property
    def opening_text(self) -> str:
        """The opening as a file of its own; "" where there is none."""
        if self.opening is None:
            return ""
        return f"{self._head}{self.opening.head}{self.opening.score.text()}}}\n"

    @property
    def _head(self) -> str:
        """The comment is for those who look at a kept file."""
        counts = " ".join(str(count) for count in self.bars_per_line)
        return f"% bars in each line: {counts}\n{self.preamble}"


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
