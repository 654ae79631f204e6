"""The keybox drawn to scale, and small pictures of chord shapes on it.

The keybox (or fingerboard) drawn to scale, with the note that every key sounds.

Small pictures of chord shapes on the keybox.

Each string is a level line, the lowest at the bottom as the player holds it; the nut is at the
left. A disc with a figure is a key pressed by that finger, at its true place along the string; a
ring at the nut is an open string that sounds. Strings that are silent are grey.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, SANS, SANS_BOLD
from tunebook.book.layout.blocks import Block, Drawing, Stack
from tunebook.book.layout.sheet import BLACK, GREY, LIGHT, Sheet
from tunebook.book.musical_text import chord_text, note_name
from tunebook.model.arrangement import Arrangement, Stop
from tunebook.model.instrument import Instrument, String
from tunebook.model.words import FixedWords

# First position: the keys under each finger (common practice, no source).
FIRST_POSITION = ((1, (2,)), (2, (3, 4)), (3, (5,)), (4, (7,)))
_FIRST_SHADE = 0.86
# Points: room for the names of the open strings, and between the last key and the border.
_NAMES_PT = 30.0
_END_PT = 12.0
# Room above for the figures of the fingers and below for the scale of keys, in row distances.
_ABOVE_ROWS = 0.95
_BELOW_ROWS = 0.75
# Least distance of rows in points, so that names can be read on narrow paper.
_LEAST_ROW_PT = 16.0


@dataclass(frozen=True, slots=True)
class _Scale:
    """From millimetres of the instrument to points of the drawing."""

    left_pt: float
    top_pt: float
    pt_per_mm: float
    row_pt: float
    strings: int

    def right(self, place_mm: float) -> float:
        return self.left_pt + place_mm * self.pt_per_mm

    def middle(self, string: String) -> float:
        """The string's line; the lowest string is at the bottom."""
        return self.top_pt + (_ABOVE_ROWS + self.strings - string.index + 0.5) * self.row_pt

    @property
    def bottom_pt(self) -> float:
        return self.top_pt + (_ABOVE_ROWS + self.strings) * self.row_pt


def keybox_drawing(instrument: Instrument, width_pt: float, words: FixedWords) -> Drawing:
    """The keybox, ``width_pt`` wide: distances along and across the strings in one scale."""
    longest_mm = max(string.place_mm(string.key_count) for string in instrument.strings)
    pt_per_mm = (width_pt - _NAMES_PT - _END_PT) / max(longest_mm, 1.0)
    row_pt = max(instrument.row_distance_mm * pt_per_mm, _LEAST_ROW_PT)
    count = len(instrument.strings)
    height = (count + _ABOVE_ROWS + _BELOW_ROWS) * row_pt

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        scale = _Scale(left_pt + _NAMES_PT, top_pt, pt_per_mm, row_pt, count)
        _draw_box(sheet, scale, left_pt + width_pt)
        _draw_fingers(sheet, instrument, scale)
        for string in instrument.strings:
            _draw_string(sheet, string, scale, left_pt + width_pt, words)
            for key in range(1, string.key_count + 1):
                _draw_key(sheet, string, key, scale, instrument.kind == "keyed", words)
        _draw_key_numbers(sheet, instrument, scale)

    return Drawing(height, paint)


def _draw_box(sheet: Sheet, scale: _Scale, right_pt: float) -> None:
    top = scale.top_pt + _ABOVE_ROWS * scale.row_pt
    height = scale.bottom_pt - top
    sheet.box(scale.left_pt, top, right_pt - scale.left_pt, height, line_pt=0.6, grey=GREY)
    sheet.rule(scale.left_pt, top, scale.left_pt, scale.bottom_pt, width_pt=2.2)


def _draw_fingers(sheet: Sheet, instrument: Instrument, scale: _Scale) -> None:
    """The four fingers over the keys where they lie in first position."""
    string = max(instrument.strings, key=lambda one: one.key_count)
    base = scale.top_pt + (_ABOVE_ROWS - 0.32) * scale.row_pt
    size = min(11.0, scale.row_pt * 0.5)
    for finger, keys in FIRST_POSITION:
        places = [scale.right(string.place_mm(key)) for key in keys if key <= string.key_count]
        if not places:
            continue
        middle = (places[0] + places[-1]) / 2
        sheet.text(middle, base, str(finger), BOLD, size, align="centre")
        if len(places) > 1:
            down = base + size * 0.25
            sheet.rule(places[0] - 2, down, places[-1] + 2, width_pt=0.7)


def _draw_string(
    sheet: Sheet, string: String, scale: _Scale, right_pt: float, words: FixedWords
) -> None:
    middle = scale.middle(string)
    weight = 0.5 + 0.22 * (scale.strings - string.index)
    sheet.rule(scale.left_pt, middle, right_pt, width_pt=weight, grey=GREY)
    size = min(11.0, scale.row_pt * 0.5)
    name = note_name(string.open_midi, words)
    at = scale.left_pt - 8.0
    sheet.text(at, middle + size * 0.36, name, SANS_BOLD, size, align="right")


def _draw_key(
    sheet: Sheet, string: String, key: int, scale: _Scale, is_keyed: bool, words: FixedWords
) -> None:
    """A key's head around the place where it stops the string."""
    place = scale.right(string.place_mm(key))
    before = scale.right(string.place_mm(key - 1))
    nearest = place - before
    if key < string.key_count:
        nearest = min(nearest, scale.right(string.place_mm(key + 1)) - place)
    wide = min(nearest * 0.86, scale.row_pt * 0.8)
    high = scale.row_pt * 0.7
    middle = scale.middle(string)
    is_first = any(key in keys for _, keys in FIRST_POSITION)
    sheet.box(
        place - wide / 2,
        middle - high / 2,
        wide,
        high,
        line_pt=0.6,
        fill=_FIRST_SHADE if is_first else 1.0,
        radius_pt=min(wide, high) * (0.18 if is_keyed else 0.5),
    )
    name = note_name(string.open_midi + key, words)
    size = min(8.5, high * 0.6)
    room = sheet.fonts.width(name, SANS, size)
    size *= min(1.0, (wide - 1.6) / room)
    role = SANS_BOLD if is_first else SANS
    sheet.text(place, middle + size * 0.36, name, role, size, align="centre")


def _draw_key_numbers(sheet: Sheet, instrument: Instrument, scale: _Scale) -> None:
    """Numbers of the keys along the edge, those of the row with most keys."""
    string = max(instrument.strings, key=lambda one: one.key_count)
    size = min(6.5, scale.row_pt * 0.35)
    for key in range(1, string.key_count + 1):
        right = scale.right(string.place_mm(key))
        sheet.rule(right, scale.bottom_pt, right, scale.bottom_pt + 2.5, width_pt=0.4, grey=LIGHT)

        base = scale.bottom_pt + 3.5 + size
        sheet.text(right, base, str(key), SANS, size, align="centre", grey=GREY)


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
    symbol: str, shape: Shape, instrument: Instrument, width_pt: float, scale: float = 1.0
) -> Drawing:
    """One chord shape with the chord's symbol over it, ``width_pt`` wide."""
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

    return Drawing(height, paint)


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
) -> Block:
    """Shapes side by side, as many a row as ``width_pt`` takes."""
    scale = design.page_format.scale
    wide, gap = design.size(_SHAPE_PT), design.size(_GAP_PT)
    per_row = shapes_in_row(design, width_pt)
    rows = [shapes[first : first + per_row] for first in range(0, len(shapes), per_row)]
    blocks = []
    for row in rows:
        drawings = [shape_drawing(symbol, shape, instrument, wide, scale) for symbol, shape in row]
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
