"""The title page. Its ornament is a string: the nut, the keys at their true distances, the
bridge, as the instrument of the book has them."""

from __future__ import annotations

from tunebook.assemble.blocks import Drawing, broken
from tunebook.assemble.content import BookContent
from tunebook.assemble.design import Design
from tunebook.assemble.fonts import BOLD, ITALIC, SERIF
from tunebook.assemble.musical_text import tuning_text
from tunebook.assemble.sheet import GREY, Sheet
from tunebook.model.instrument import Instrument

# Places down the page, as shares of the height of the text.
_TITLE_SHARE = 0.30
_FOOT_SHARE = 0.90


def title_block(content: BookContent, design: Design) -> Drawing:
    """The whole title page as one drawing."""
    height = design.page_format.text_height_pt

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        middle = left_pt + design.width_pt / 2
        ornament = top_pt + height * _TITLE_SHARE
        _draw_title(sheet, content, design, middle, ornament)
        _draw_string(sheet, content.instrument, design, left_pt, ornament)
        _draw_below(sheet, content, design, middle, ornament)
        _draw_foot(sheet, content, design, middle, top_pt + height * _FOOT_SHARE)

    return Drawing(height, paint)


def _draw_title(
    sheet: Sheet, content: BookContent, design: Design, middle: float, ornament: float
) -> None:
    size = design.size(36.0)
    lines = broken(content.book.title, design.fonts, BOLD, size, design.width_pt)
    if len(lines) > 2:
        size *= 0.75
        lines = broken(content.book.title, design.fonts, BOLD, size, design.width_pt)
    for index, line in enumerate(reversed(lines)):
        base = ornament - design.size(26.0) - index * size * 1.15
        sheet.text(middle, base, line, BOLD, size, align="centre")


def _draw_string(
    sheet: Sheet, instrument: Instrument, design: Design, left: float, middle: float
) -> None:
    """The string with most keys from nut to bridge, a stroke at each key."""
    string = max(instrument.strings, key=lambda one: one.key_count)
    scale = design.width_pt / instrument.string_length_mm
    right = left + design.width_pt
    sheet.rule(left, middle, right, width_pt=0.6)
    high = design.size(9.0)
    sheet.rule(left, middle - high, left, middle + high, width_pt=1.6)
    sheet.rule(right, middle - high, right, middle + high, width_pt=1.6)
    for key in range(1, string.key_count + 1):
        at = left + string.place_mm(key) * scale
        length = high * (0.75 if key in (2, 4, 5, 7, 9, 11, 12, 14, 16, 17, 19, 21, 23) else 0.4)
        sheet.rule(at, middle, at, middle + length, width_pt=0.8)


def _draw_below(
    sheet: Sheet, content: BookContent, design: Design, middle: float, ornament: float
) -> None:
    words = design.words
    base = ornament + design.size(40.0)
    if content.book.subtitle:
        size = design.size(17.0)
        for line in broken(content.book.subtitle, design.fonts, ITALIC, size, design.width_pt):
            sheet.text(middle, base, line, ITALIC, size, align="centre")
            base += size * 1.3
        base += design.size(8.0)
    instrument = content.instrument
    size = design.size(12.5)
    title = words.local(instrument.title)
    lines = (
        words.for_instrument.format(title[:1].lower() + title[1:]),
        words.tuned.format(tuning_text(instrument, words)),
    )
    for line in lines:
        sheet.text(middle, base, line, SERIF, size, align="centre")
        base += size * 1.5


def _draw_foot(
    sheet: Sheet, content: BookContent, design: Design, middle: float, base: float
) -> None:
    size = design.size(12.0)
    if content.book.editor:
        text = design.words.edited_by.format(content.book.editor)
        sheet.text(middle, base, text, SERIF, size, align="centre")
    edition = design.words.local(content.edition.title or content.edition.name)
    down = base + size * 1.7
    sheet.text(middle, down, edition, ITALIC, size, align="centre", grey=GREY)
