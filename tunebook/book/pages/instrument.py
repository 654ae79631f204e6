"""The page about the instrument: strings, tuning, keybox, sympathetic strings; also by itself."""

from __future__ import annotations

from pathlib import Path

from tunebook.book.content import INSTRUMENT
from tunebook.book.design import Design
from tunebook.book.drawing import keybox_drawing
from tunebook.book.fonts.fonts import SANS_BOLD, SERIF, load_fonts
from tunebook.book.layout.blocks import Drawing, Flowed
from tunebook.book.layout.flow import Page, Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import note_name, pitch_name, tuning_text
from tunebook.book.pages.furniture import draw_pages
from tunebook.files import FilesRead, write_whole
from tunebook.model.choices import Language, Paper
from tunebook.model.instrument import Instrument, String
from tunebook.model.words import fixed_words
from tunebook.store import NO_STORE, Store


def instrument_pages(instrument: Instrument, design: Design) -> list[Page]:
    """The page (or pages) that shows the instrument as it is tuned."""
    words = design.words
    picture = words.keybox_text if instrument.kind == "keyed" else words.fingerboard_text
    facts = f"{words.local(instrument.title)}, {words.tuned.format(tuning_text(instrument, words))}"
    items = [
        design.page_title(words.instrument_title, INSTRUMENT),
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
    return flow([Stream(tuple(items))], design.page_format, words.instrument_title)


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
    data, _ = draw_pages(instrument_pages(instrument, design), design, {"Title": title})
    write_whole(output, data, read=read)


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
            wide = sheet.text(
                at + 8, base, note_name(string.open_midi, design.words), SANS_BOLD, size
            )
            octave = str(string.open_midi // 12 - 1)
            sheet.text(at + 9 + wide, base, octave, SERIF, small, grey=GREY)
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
