"""The page about the instrument: strings, tuning, keybox, sympathetic strings; also by itself.

The keybox or fingerboard is drawn to scale, with the note that every key sounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tunebook.book.content import INSTRUMENT
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, SANS, SANS_BOLD, SERIF, load_fonts
from tunebook.book.layout.blocks import Drawing, Flowed
from tunebook.book.layout.flow import Page, Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.sheet import GREY, LIGHT, Sheet
from tunebook.book.musical_text import note_name, pitch_name, tuning_text
from tunebook.book.pages.furniture import draw_pages, open_tagged, saved
from tunebook.files import FilesRead, write_whole
from tunebook.model.choices import Language, Paper
from tunebook.model.instrument import Instrument, String
from tunebook.model.words import FixedWords, fixed_words
from tunebook.store import NO_STORE, Store


def instrument_pages(
    instrument: Instrument, design: Design, title: str = "", anchor: str = INSTRUMENT
) -> list[Page]:
    """The page (or pages) that shows the instrument as it is tuned; without a ``title`` that of the
    book's instrument."""
    words = design.words
    title = title or words.instrument_title
    picture = words.keybox_text if instrument.kind == "keyed" else words.fingerboard_text
    facts = f"{words.local(instrument.title)}, {words.tuned.format(tuning_text(instrument, words))}"
    items = [
        design.page_title(title, anchor),
        design.body(facts),
        design.heading(words.playing_strings),
        Flowed(_string_table(instrument, design)),
        design.body(_compass_text(instrument, design), before_pt=6.0),
        design.body(words.bow_text, before_pt=6.0),
        Flowed(keybox_drawing(instrument, design.width_pt, words), design.size(16.0), True),
        design.note(picture, before_pt=6.0),
        design.heading(words.first_position),
        design.body(words.first_position_text),
    ]
    if instrument.sympathetic:
        names = "  ".join(pitch_name(midi, words) for midi in instrument.sympathetic)
        items += [
            design.heading(words.sympathetic_strings),
            design.body(words.sympathetic_text),
            design.body(names, before_pt=4.0),
        ]
    source = instrument.source_in(words.language)
    if source:
        items.append(design.note(source, before_pt=14.0))
    return flow([Stream(tuple(items))], design.page_format, title)


def write_instrument_page(
    instrument: Instrument,
    output: Path,
    *,
    paper: Paper = "a4",
    language: Language = "en",
    store: Store = NO_STORE,
    read: FilesRead | None = None,
) -> None:
    """Write the instrument's page alone to the PDF ``output`` (whole or not at all).

    Raises OutputError when it cannot be written, or is one of the files in ``read``.
    """
    words = fixed_words(language, instrument.kind)
    design = Design(page_format(paper), load_fonts(store), words)
    title = f"{words.local(instrument.title)}, {tuning_text(instrument, words)}"
    drawn = draw_pages(instrument_pages(instrument, design), design, {"Title": title})
    write_whole(output, saved(open_tagged(drawn, title, language)), read=read)


def _compass_text(instrument: Instrument, design: Design) -> str:
    words = design.words
    low, high = (
        pitch_name(midi, words) for midi in (instrument.lowest_midi, instrument.highest_midi)
    )
    places = 0 if instrument.string_length_mm == round(instrument.string_length_mm) else 1
    length = f"{words.string_length}: {words.decimal(instrument.string_length_mm, places)} mm"
    return f"{words.compass}: {low}–{high}. {length}."


def _string_table(instrument: Instrument, design: Design) -> Drawing:
    """Open strings side by side: name large, keys and highest note below."""
    size = design.size(17.0)
    small = design.size(8.5)
    count = len(instrument.strings)
    step = (design.width_pt + 6) / count

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        for index, string in enumerate(instrument.strings):
            at = left_pt + step * index
            sheet.box(at, top_pt, step - 6, size * 2.4, line_pt=0.5, grey=GREY, radius_pt=3)
            base = top_pt + size * 1.15
            name = note_name(string.open_midi, design.words)
            octave = str(string.open_midi // 12 - 1)
            with sheet.tagged("P"):
                wide = sheet.text(at + 8, base, name, SANS_BOLD, size)
                sheet.text(at + 9 + wide, base, octave, SERIF, small, grey=GREY, goes_on=True)
                text = _keys_text(string, design)
                sheet.text(at + 8, top_pt + size * 1.95, text, SERIF, small)

    return Drawing(size * 2.4, paint)


def _keys_text(string: String, design: Design) -> str:
    words = design.words
    if string.key_count == 0:
        return words.no_keys
    count = words.key_counts.format(string.key_count) if string.key_count > 1 else words.one_key
    highest = pitch_name(string.open_midi + string.key_count, words)
    return f"{count}, {words.highest_note.format(highest)}"


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

    text = words.keybox_text if instrument.kind == "keyed" else words.fingerboard_text
    return Drawing(height, paint, " ".join(text.split()), width_pt)


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
