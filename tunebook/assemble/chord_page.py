"""The chord page: every chord of the book, its best shapes, the tunes in which it stands."""

from __future__ import annotations

from tunebook.assemble.anchors import CHORDS
from tunebook.assemble.blocks import Beside, Drawing, Flowed, Space, Stack
from tunebook.assemble.content import BookContent, ChordShapes
from tunebook.assemble.design import Design
from tunebook.assemble.flow import Page, Stream, column_width_pt, flow
from tunebook.assemble.shapes_drawing import print_symbol, shapes_grid
from tunebook.assemble.sheet import Sheet

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
    entries = tuple(
        Flowed(_entry(one, content, design, width), design.size(12.0))
        for one in content.chord_shapes
    )
    stream = Stream(entries, _COLUMNS, heading=head)
    return flow([stream], design.page_format, words.chords_title)


def _entry(one: ChordShapes, content: BookContent, design: Design, width: float) -> Stack:
    size = design.size(11.0)
    name_width = design.size(30.0)
    name = Drawing(
        size * 1.3,
        lambda sheet, left, top: _print_name(sheet, left, top + size, one.symbol, size),
    )
    shapes = shapes_grid(
        tuple(("", shape) for shape in one.shapes), content.instrument, design, width - name_width
    )
    tunes = _tunes_with(one.symbol, content)
    named = ", ".join(tunes[:_MOST_TUNES]) + (" …" if len(tunes) > _MOST_TUNES else "")
    where = design.small(design.words.chord_in.format(named), width, role="serif-italic")
    return Stack((Beside((name, shapes), (0.0, name_width), is_centred=True), where))


def _print_name(sheet: Sheet, left: float, base: float, symbol: str, size: float) -> None:
    print_symbol(sheet, left, base, symbol, size)


def _tunes_with(symbol: str, content: BookContent) -> list[str]:
    return [
        tune.arrangement.tune.title or tune.identity
        for tune in content.tunes
        if any(span.chord.symbol == symbol for span in tune.arrangement.chords)
    ]
