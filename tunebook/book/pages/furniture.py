"""Finished pages as a PDF, with what stands on every one: number, running head, foot line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import ITALIC, SERIF
from tunebook.book.layout.blocks import shortened
from tunebook.book.layout.flow import Page
from tunebook.book.layout.placing import place_systems
from tunebook.book.layout.sheet import GREY, PageReference, PlacedSystem, Sheet
from tunebook.book.layout.structure import add_structure
from tunebook.book.layout.tags import Element
from tunebook.model.choices import Language

FOOT_GAP = "     "
"""Between the signs of the foot line."""
_LEAST_FOOT = 0.85


@dataclass(frozen=True, slots=True)
class DrawnPages:
    """Pages as a PDF, the systems that go onto them, and the tree of what stands there."""

    data: bytes
    placed: tuple[PlacedSystem, ...]
    root: Element


def draw_pages(
    pages: Sequence[Page],
    design: Design,
    about: Mapping[str, str],
    labels: Sequence[str] = (),
    references: Mapping[str, PageReference] | None = None,
) -> DrawnPages:
    """Return the pages as a PDF without music, the engraved systems that go onto it, and the tree
    of what stands there.

    ``about`` are its Title, Author, Subject and Creator. With ``labels``, one a page, each page
    has its furniture. ``references`` are the places that links lead to."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    rl_config.useA85 = 0  # what is written here is packed anew with the music
    size = (design.page_format.width_pt, design.page_format.height_pt)
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=size, pageCompression=1, invariant=1)
    for name, text in about.items():
        getattr(canvas, f"set{name}")(text)
    sheet = Sheet(canvas, design.fonts, design.page_format, references or {})
    for index, page in enumerate(pages):
        with sheet.tags.artifact():
            if labels:
                draw_furniture(
                    sheet, page, labels[index], about["Title"], index % 2 == 1,
                    enlarged=design.enlarged,
                )  # fmt: skip
        page.draw(sheet)
        sheet.end_page()
    canvas.save()
    return DrawnPages(buffer.getvalue(), tuple(sheet.placed), sheet.tags.root)


def open_tagged(drawn: DrawnPages, title: str, language: Language) -> Any:
    """The pages with their music as a pikepdf document in ``language`` that can be read aloud, its
    title in the window.

    Raises OutputError when the PDF of a piece cannot be read."""
    import pikepdf

    document = pikepdf.open(BytesIO(drawn.data))
    place_systems(document, drawn.placed)
    document.Root.Lang = pikepdf.String(language)
    document.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
    with document.open_metadata(set_pikepdf_as_editor=False) as metadata:
        metadata["dc:title"] = title
        metadata["dc:language"] = {language}
    add_structure(document, drawn.root)
    return document


def saved(document: Any) -> bytes:
    """The bytes of a pikepdf document, which is closed; equal documents have equal bytes."""
    import pikepdf

    buffer = BytesIO()
    document.save(
        buffer,
        deterministic_id=True,
        object_stream_mode=pikepdf.ObjectStreamMode.generate,
        compress_streams=True,
    )
    document.close()
    return buffer.getvalue()


def draw_furniture(
    sheet: Sheet, page: Page, label: str, title: str, is_left: bool, *, enlarged: float = 1.0
) -> None:
    """Print the page's number at the outer side of its head, the running head in the middle (the
    book's title on left-hand pages, the section's on right-hand ones), the foot line below. A page
    that begins with the section's heading bears no running head."""
    if not page.has_furniture:
        return
    size = 9.0 * max(0.9, sheet.page_format.scale) * enlarged
    base = sheet.page_format.head_pt
    left = sheet.page_format.side_pt
    right = sheet.page_format.width_pt - left
    if is_left:
        sheet.text(left, base, label, SERIF, size)
    else:
        sheet.text(right, base, label, SERIF, size, align="right")
    middle = sheet.page_format.width_pt / 2
    if not _begins_section(page):
        head = title if is_left or not page.head else page.head
        head = shortened(head, sheet.fonts, ITALIC, size, sheet.page_format.text_width_pt * 0.8)
        sheet.text(middle, base, head, ITALIC, size, align="centre", grey=GREY)
    if page.foot:
        _draw_foot(sheet, page.foot, size * 0.86)


def _draw_foot(sheet: Sheet, foot: str, size: float) -> None:
    """The foot line in the middle; in two lines where one would have to be of small type."""
    most = sheet.page_format.text_width_pt
    down = sheet.page_format.height_pt - sheet.page_format.foot_pt
    lines: tuple[str, ...] = (foot,)
    if sheet.fonts.width(foot, ITALIC, size) * _LEAST_FOOT > most:
        lines = _in_two(foot)
    wide = max(sheet.fonts.width(line, ITALIC, size) for line in lines)
    size *= min(1.0, most / max(wide, 1.0))
    down -= 0.5 * (len(lines) - 1) * size
    for number, line in enumerate(lines):
        base = down + number * size * 1.2
        left = sheet.page_format.width_pt / 2
        sheet.text(left, base, line, ITALIC, size, align="centre", grey=GREY)


def _in_two(foot: str) -> tuple[str, ...]:
    """The foot line in two parts of about the same length."""
    parts = foot.split(FOOT_GAP)
    pairs = [(FOOT_GAP.join(parts[:at]), FOOT_GAP.join(parts[at:])) for at in range(1, len(parts))]
    return min(pairs, key=lambda pair: abs(len(pair[0]) - len(pair[1])), default=(foot,))


def _begins_section(page: Page) -> bool:
    outline = page.placed[0].item.outline if page.placed else None
    return outline is not None and outline[0] == page.head
