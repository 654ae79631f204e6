"""The way from a tune's head to its recording: a link, and a QR code for those who hold paper.

A QR code (ISO/IEC 18004) has four empty modules around it; a module of half a millimetre is read by
a telephone at arm's length (our judgement).
"""

from __future__ import annotations

from dataclasses import replace

from tunebook.book.content import SoundLink
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import ITALIC
from tunebook.book.layout.blocks import Beside, Block, Drawing
from tunebook.book.layout.paper import PT_PER_MM
from tunebook.book.layout.sheet import QUIET_MODULES, Sheet, qr_modules

_MODULE_PT = 0.5 * PT_PER_MM
_GAP_PT = 8.0
MARK = "▶"


def mark_text(link: SoundLink | None, design: Design) -> str:
    """What stands at the right end of a tune's line of facts; empty without a recording."""
    return f"{MARK} {design.words.listen}" if link is not None else ""


def draw_mark(
    sheet: Sheet, right_pt: float, base_pt: float, size_pt: float, mark: tuple[str, str]
) -> None:
    """Print the text of ``mark``, flush right, as a link to its address."""
    text, address = mark
    wide = sheet.fonts.width(text, ITALIC, size_pt)
    box = (right_pt - wide, base_pt - size_pt, wide, size_pt * 1.3)
    with sheet.tagged("P"), sheet.web_linked(address, box, text):
        sheet.text(right_pt, base_pt, text, ITALIC, size_pt, align="right")


def beside_code(link: SoundLink | None, design: Design) -> Design:
    """The design for what stands to the left of the code, if there is one."""
    if link is None or not link.has_qr:
        return design
    page = design.page_format
    taken_pt = qr_side_pt(link.address) - _quiet_pt() + _GAP_PT
    return replace(design, page_format=replace(page, width_pt=page.width_pt - taken_pt))


def with_code(head: Block, link: SoundLink | None, design: Design) -> Block:
    """``head`` with the code of its recording to the right of it."""
    if link is None or not link.has_qr:
        return head
    side, quiet = qr_side_pt(link.address), _quiet_pt()

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        # The empty modules above and to the right lie in what is empty anyhow.
        box = (left_pt, top_pt - quiet, side, side)
        text = f"{design.words.listen}: {link.address}"
        with (
            sheet.tagged("P"),
            sheet.web_linked(link.address, box, text),
            sheet.figure(text, *box),
        ):
            sheet.qr_code(link.address, left_pt, top_pt - quiet, side)

    code = Drawing(side - 1.5 * quiet, paint)
    return Beside((head, code), (0.0, design.width_pt - side + quiet))


def qr_side_pt(address: str) -> float:
    """The side of an address's code with the empty modules around it."""
    return (qr_modules(address) + 2 * QUIET_MODULES) * _MODULE_PT


def _quiet_pt() -> float:
    return QUIET_MODULES * _MODULE_PT
