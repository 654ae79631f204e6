"""The chord page: every chord of the book, its best shapes, the tunes in which it stands."""

from __future__ import annotations

from tunebook.book.content import CHORDS, BookContent, ChordShapes, tune_anchor
from tunebook.book.design import Design
from tunebook.book.drawing import print_symbol, shapes_grid, shapes_in_row
from tunebook.book.fonts.fonts import ITALIC
from tunebook.book.layout.blocks import Beside, Drawing, Flowed, Space, Stack, shortened
from tunebook.book.layout.flow import Page, Stream, column_width_pt, flow_in_fewest
from tunebook.book.layout.running_text import LinkedLines, Part, linked_text
from tunebook.book.layout.sheet import Sheet
from tunebook.book.musical_text import chord_text

_COLUMNS = 2
_MOST_TUNES = 6


def chord_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the chord page; none when the edition shows no shapes."""
    if not content.chord_shapes:
        return []
    words = design.words
    width = column_width_pt(design.page_format, _COLUMNS)
    head = (
        design.page_title(words.chords_title, CHORDS),
        design.body(words.chords_text),
        Flowed(Space(design.size(12.0))),
    )
    entries = [_entry(one, content, design, width) for one in content.chord_shapes]

    def streams(ease: float) -> list[Stream]:
        items = tuple(Flowed(entry, design.size(12.0) * ease) for entry in entries)
        return [Stream(items, _COLUMNS, heading=head)]

    return flow_in_fewest(streams, design.page_format, words.chords_title, (1.0, 0.7, 0.4))


def _entry(one: ChordShapes, content: BookContent, design: Design, width: float) -> Stack:
    size = design.size(11.0)
    name_width = design.size(30.0)
    symbol = chord_text(one.symbol, design.words)

    def paint_name(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        print_symbol(sheet, left_pt, top_pt + size, symbol, size)

    name = Drawing(size * 1.3, paint_name)
    # A single row: on narrow paper, the best ones only.
    room = width - name_width
    best = tuple(("", shape) for shape in one.shapes[: shapes_in_row(design, room)])
    shapes = shapes_grid(best, content.instrument, design, room)
    where = _where(one.symbol, content, design, width)
    return Stack((Beside((name, shapes), (0.0, name_width), is_centred=True), where))


def _where(symbol: str, content: BookContent, design: Design, width: float) -> LinkedLines:
    """The tunes in which the chord stands, each a link."""
    size = design.size(8.5)
    before, _, after = design.words.chord_in.partition("{}")
    tunes = _tunes_with(symbol, content)
    parts: list[Part] = [(before, "")]
    for number, (title, anchor) in enumerate(tunes[:_MOST_TUNES]):
        parts += [(", ", "")] if number else []
        parts.append((shortened(title, design.fonts, ITALIC, size, width * 0.9), anchor))
    parts.append((after + (" …" if len(tunes) > _MOST_TUNES else ""), ""))
    return linked_text(parts, design.fonts, width, ITALIC, size)


def _tunes_with(symbol: str, content: BookContent) -> list[tuple[str, str]]:
    """Titles and anchors of the tunes with the chord."""
    return [
        (tune.title, tune_anchor(tune.identity))
        for tune in content.tunes
        if any(span.chord.symbol == symbol for span in tune.arrangement.chords)
    ]
