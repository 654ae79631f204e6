"""Chord shapes as small pictures, and the chord page: every chord, its shapes, its tunes.

Each string is a level line, the lowest at the bottom as the player holds it; the nut is at the
left. A disc with a figure is a key pressed by that finger, at its true place along the string; a
ring at the nut is an open string that sounds. Strings that are silent are grey.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby

from tunebook.book.content import CHORDS, BookContent, ChordShapes, tune_anchor
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import ITALIC, SANS, SANS_BOLD
from tunebook.book.layout.blocks import (
    Beside,
    Block,
    Drawing,
    Flowed,
    LinkedLines,
    Part,
    Space,
    Stack,
    linked_text,
    shortened,
)
from tunebook.book.layout.flow import Page, Stream, column_width_pt, flow_in_fewest
from tunebook.book.layout.sheet import BLACK, GREY, LIGHT, Sheet
from tunebook.book.musical_text import chord_text, stop_text, tuning_text
from tunebook.model.arrangement import Arrangement, Stop
from tunebook.model.instrument import Instrument
from tunebook.model.words import FixedWords

Shape = tuple[Stop, ...]
_SYMBOL_PARTS = re.compile(r"\d+|\D+")
# Sizes in points at full size: between strings, the disc of a finger, the least part of the
# keybox shown (in keys).
_STRING_PT = 7.5
_DISC_PT = 3.5
_LEAST_KEYS = 7
_NUT_PT = 11.0
# Width of a shape, and the space between two.
_SHAPE_PT = 64.0
_GAP_PT = 8.0


def shape_drawing(
    symbol: str,
    shape: Shape,
    instrument: Instrument,
    width_pt: float,
    words: FixedWords,
    *,
    scale: float = 1.0,
    name: str = "",
) -> Drawing:
    """One chord shape with the chord's symbol over it, ``width_pt`` wide; without a symbol,
    ``name`` is what its alternative text calls the chord."""
    step = _STRING_PT * scale
    name_pt = 9.0 * scale
    head = name_pt * 1.5 if symbol else 0.0
    height = head + step * (len(instrument.strings) - 1) + 2 * _DISC_PT * scale + 9.0 * scale

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        if symbol:
            print_symbol(sheet, left_pt, top_pt + name_pt, symbol, name_pt)
        area = (left_pt + _NUT_PT * scale, left_pt + width_pt - 4 * scale)
        lowest = top_pt + head + _DISC_PT * scale + step * (len(instrument.strings) - 1)
        _draw_strings(sheet, instrument, shape, area, lowest, scale)
        _draw_keys(sheet, instrument, shape, area, lowest, scale)

    return Drawing(height, paint, _in_words(symbol or name, shape, instrument, words), width_pt)


def _in_words(symbol: str, shape: Shape, instrument: Instrument, words: FixedWords) -> str:
    """The shape for those who do not see it: each stop and its finger, from the lowest string."""
    stops = [
        words.pictures["finger"].format(stop_text(stop, instrument, words), stop.finger)
        if stop.key and stop.finger
        else stop_text(stop, instrument, words)
        for stop in shape
    ]
    return words.pictures["shape"].format(symbol, ", ".join(stops))


def print_symbol(
    sheet: Sheet, left_pt: float, base_pt: float, symbol: str, size_pt: float
) -> float:
    """Print a chord symbol as over the music, figures raised and small; return its width.
    ``symbol`` is that of :func:`chord_text`."""
    at = left_pt
    for part in _SYMBOL_PARTS.findall(symbol):
        is_raised = part[0].isdigit()
        size = size_pt * (0.7 if is_raised else 1.0)
        rise = size_pt * (0.34 if is_raised else 0.0)
        at += sheet.text(at, base_pt, part, SANS_BOLD, size, rise_pt=rise)
    return at - left_pt


def shapes_row(arrangement: Arrangement, design: Design) -> Block | None:
    """Shapes of all chords of a tune, each once, in the order in which they come."""
    shapes: dict[str, Shape] = {}
    for span in arrangement.chords:
        if span.shape:
            shapes.setdefault(chord_text(span.chord.symbol, design.words), span.shape)
    if not shapes:
        return None
    return shapes_grid(tuple(shapes.items()), arrangement.instrument, design, design.width_pt)


def shapes_in_row(design: Design, width_pt: float) -> int:
    """How many shapes stand side by side within ``width_pt``; at least 1."""
    wide, gap = design.size(_SHAPE_PT), design.size(_GAP_PT)
    return max(1, int((width_pt + gap) / (wide + gap)))


def shapes_grid(
    shapes: Sequence[tuple[str, Shape]],
    instrument: Instrument,
    design: Design,
    width_pt: float,
    name: str = "",
) -> Block:
    """Shapes side by side, as many a row as ``width_pt`` takes; ``name`` is the chord's where they
    bear no symbols."""
    scale = design.page_format.scale
    wide, gap = design.size(_SHAPE_PT), design.size(_GAP_PT)
    per_row = shapes_in_row(design, width_pt)
    rows = [shapes[first : first + per_row] for first in range(0, len(shapes), per_row)]
    blocks = []
    for row in rows:
        drawings = [
            shape_drawing(symbol, shape, instrument, wide, design.words, scale=scale, name=name)
            for symbol, shape in row
        ]
        blocks.append(_row(drawings, wide + gap))
    return Stack(tuple(blocks))


def _row(drawings: Sequence[Drawing], step_pt: float) -> Drawing:
    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        for index, drawing in enumerate(drawings):
            drawing.draw(sheet, left_pt + index * step_pt, top_pt)

    return Drawing(max(drawing.height_pt for drawing in drawings), paint)


def _shown_keys(instrument: Instrument, shape: Shape) -> int:
    return max([_LEAST_KEYS, *(stop.key + 1 for stop in shape)])


def _place(instrument: Instrument, key: int, shown: int, area: tuple[float, float]) -> float:
    """Place of a key along the drawing; the part shown fills ``area``."""
    longest = max(instrument.strings, key=lambda string: string.key_count)
    if longest.key_count == 0:
        return area[0]
    whole = longest.place_mm(min(shown, longest.key_count))
    return area[0] + (area[1] - area[0]) * longest.place_mm(min(key, longest.key_count)) / whole


def _draw_strings(
    sheet: Sheet,
    instrument: Instrument,
    shape: Shape,
    area: tuple[float, float],
    lowest_pt: float,
    scale: float,
) -> None:
    sounding = {stop.string_index for stop in shape}
    step = _STRING_PT * scale
    highest = lowest_pt - step * (len(instrument.strings) - 1)
    shown = _shown_keys(instrument, shape)
    for string in instrument.strings:
        at = lowest_pt - step * (string.index - 1)
        grey = BLACK if string.index in sounding else LIGHT
        sheet.rule(area[0], at, area[1], width_pt=0.5 * scale, grey=grey)
        for key in range(1, min(shown, string.key_count) + 1):
            right = _place(instrument, key, shown, area)
            sheet.rule(right, at - 1.4 * scale, right, at + 1.4 * scale, width_pt=0.4, grey=GREY)
    sheet.rule(area[0], highest, area[0], lowest_pt, width_pt=1.3 * scale)


def _draw_keys(
    sheet: Sheet,
    instrument: Instrument,
    shape: Shape,
    area: tuple[float, float],
    lowest_pt: float,
    scale: float,
) -> None:
    radius = _DISC_PT * scale
    shown = _shown_keys(instrument, shape)
    for stop in shape:
        at = lowest_pt - _STRING_PT * scale * (stop.string_index - 1)
        if stop.key == 0:
            sheet.disc(area[0] - radius - 2.0 * scale, at, radius * 0.75, line_pt=0.8 * scale)
            continue
        right = _place(instrument, stop.key, shown, area)
        sheet.disc(right, at, radius, line_pt=0.0, fill=BLACK)
        _figure(sheet, right, at, str(stop.finger) if stop.finger else "", scale)
    keys = [stop.key for stop in shape if stop.key]
    if keys:
        right = _place(instrument, min(keys), shown, area)
        base = lowest_pt + radius + 6.0 * scale
        sheet.text(right, base, str(min(keys)), SANS, 5.5 * scale, align="centre", grey=GREY)


def _figure(sheet: Sheet, centre: float, middle: float, figure: str, scale: float) -> None:
    size = 5.8 * scale
    sheet.text(centre, middle + size * 0.355, figure, SANS_BOLD, size, align="centre", grey=1.0)


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
    groups = [
        (tuned, [_entry(one, content, design, width) for one in group])
        for tuned, group in groupby(content.chord_shapes, key=lambda one: one.tuned)
    ]
    has_headings = any(tuned is not None for tuned, _ in groups)

    def streams(ease: float) -> list[Stream]:
        found = []
        for number, (tuned, entries) in enumerate(groups):
            items = tuple(Flowed(entry, design.size(12.0) * ease) for entry in entries)
            heading = head if not number else ()
            if has_headings:
                name = tuning_text(tuned or content.instrument, words)
                before_pt = 18.0 if number else 0.0
                over = design.heading(f"{words.tuning} {name}", before_pt=before_pt)
                heading = (*heading, over)
            found.append(Stream(items, _COLUMNS, heading=heading))
        return found

    return flow_in_fewest(streams, design.page_format, words.chords_title, (1.0, 0.7, 0.4))


def _entry(one: ChordShapes, content: BookContent, design: Design, width: float) -> Stack:
    size = design.size(11.0)
    name_width = design.size(30.0)
    symbol = chord_text(one.symbol, design.words)

    def paint_name(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        with sheet.tagged("P"):
            print_symbol(sheet, left_pt, top_pt + size, symbol, size)

    name = Drawing(size * 1.3, paint_name)
    # A single row: on narrow paper, the best ones only.
    room = width - name_width
    instrument = one.tuned or content.instrument
    best = tuple(("", shape) for shape in one.shapes[: shapes_in_row(design, room)])
    shapes = shapes_grid(best, instrument, design, room, symbol)
    where = _where(one, content, design, width)
    return Stack((Beside((name, shapes), (0.0, name_width), is_centred=True), where))


def _where(one: ChordShapes, content: BookContent, design: Design, width: float) -> LinkedLines:
    """The tunes of its tuning in which the chord stands, each a link."""
    size = design.size(8.5)
    before, _, after = design.words.chord_in.partition("{}")
    tunes = _tunes_with(one, content)
    parts: list[Part] = [(before, "")]
    for number, (title, anchor) in enumerate(tunes[:_MOST_TUNES]):
        parts += [(", ", "")] if number else []
        parts.append((shortened(title, design.fonts, ITALIC, size, width * 0.9), anchor))
    # The no-break space keeps the ellipsis from a line of its own.
    parts.append((after + ("\u00a0…" if len(tunes) > _MOST_TUNES else ""), ""))
    return linked_text(parts, design.fonts, width, ITALIC, size)


def _tunes_with(one: ChordShapes, content: BookContent) -> list[tuple[str, str]]:
    """Titles and anchors of the tunes of this tuning with the chord."""
    has_others = any(shapes.tuned is not None for shapes in content.chord_shapes)
    tuned = one.tuned or content.instrument
    return [
        (tune.title, tune_anchor(tune.identity))
        for tune in content.tunes
        if (not has_others or tune.arrangement.instrument == tuned)
        and any(span.chord.symbol == one.symbol for span in tune.arrangement.chords)
    ]
