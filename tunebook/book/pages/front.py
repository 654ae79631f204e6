"""What stands before and after the tunes, in order; title page, cautions and contents.

The ornament of the title page is a string: the nut, the keys at their true distances, the bridge,
as the instrument of the book has them.
"""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.book.content import (
    CAUTIONS,
    CONTENTS,
    INDEX_TITLES,
    TITLE_PAGE,
    BookContent,
    BookSection,
    BookTune,
    set_anchor,
    tune_anchor,
)
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF
from tunebook.book.layout.blocks import (
    ENTRY_LEADING,
    Drawing,
    Entry,
    Flowed,
    Stack,
    broken,
    paragraph,
)
from tunebook.book.layout.flow import Page, Placed, Stream, column_width_pt, flow, flow_in_fewest
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import SEPARATOR, further_voices, key_name, tuning_text
from tunebook.book.pages.chords import chord_pages
from tunebook.book.pages.indexes import index_pages, ladder_pages, sort_key
from tunebook.book.pages.instrument import instrument_pages
from tunebook.book.pages.practice import practice_pages
from tunebook.book.pages.retuning import retune_pages
from tunebook.book.pages.signs import signs_pages
from tunebook.book.pages.sources import source_pages
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


# From more tunes on, the contents are set in two columns.
_MOST_IN_ONE_COLUMN = 44
_LEAST_BY_TITLE = 3


def front_matter(
    content: BookContent, design: Design, back: Sequence[Page], imprint: Sequence[Page] = ()
) -> list[Page]:
    """Return the pages before the tunes. ``back`` are those after them, for the contents;
    ``imprint`` is set behind the title page."""
    pages = [_title_page(content, design), *imprint]
    pages += _cautions_pages(design)
    signs = signs_pages(content, design)
    instrument = instrument_pages(content.instrument, design)
    report = retune_pages(content.retuning, design) if content.retuning is not None else []
    rest = [*signs, *instrument, *report]
    pages += _contents_pages(content, design, [*imprint, *rest], back)
    return [*pages, *rest]


def _title_page(content: BookContent, design: Design) -> Page:
    item = Flowed(title_block(content, design), 0.0, False, TITLE_PAGE, (content.book.title, 0))
    form = design.page_format
    return Page((Placed(item, form.side_pt, form.top_pt),), has_furniture=False)


def _cautions_pages(design: Design) -> list[Page]:
    words = design.words
    items = [design.page_title(words.cautions_title, CAUTIONS)]
    for caution in words.cautions:
        lead, _, rest = caution.partition(". ")
        items.append(_caution(lead + ".", rest, design))
    return flow([Stream(tuple(items))], design.page_format, words.cautions_title)


def _caution(lead: str, rest: str, design: Design) -> Flowed:
    size = design.size(11.0)
    wide = design.width_pt * 0.86
    blocks = (
        paragraph(lead, design.fonts, wide, role=BOLD, size_pt=size, leading_pt=size * 1.4),
        paragraph(rest, design.fonts, wide, role=SERIF, size_pt=size, leading_pt=size * 1.4),
    )
    return Flowed(Stack(blocks), design.size(12.0))


def _contents_pages(
    content: BookContent, design: Design, front: Sequence[Page], back: Sequence[Page]
) -> list[Page]:
    """Contents in the order of the book, then (where there are sets) by title. Where the second
    list would take a page of its own and the book ends with an index of titles, that is enough."""
    columns = 1 if len(content.tunes) <= _MOST_IN_ONE_COLUMN else 2
    has_sets = any(section.title for section in content.sections)

    def in_order(ease: float) -> list[Stream]:
        return [_in_order(content, design, front, back, columns, ease)]

    def with_titles(ease: float) -> list[Stream]:
        return [*in_order(ease), *_by_title(content, design)]

    head = design.words.contents
    pages = flow_in_fewest(in_order, design.page_format, head)
    if not has_sets or len(content.tunes) < _LEAST_BY_TITLE:
        return pages
    longer = flow_in_fewest(with_titles, design.page_format, head)
    has_index = INDEX_TITLES in (anchor for _, anchor in outlined(back))
    return pages if has_index and len(longer) > len(pages) else longer


def _in_order(
    content: BookContent,
    design: Design,
    front: Sequence[Page],
    back: Sequence[Page],
    columns: int,
    ease: float,
) -> Stream:
    """Everything in the order of the book; ``ease`` is the share of the usual leading."""
    lead = ENTRY_LEADING * ease
    width = column_width_pt(design.page_format, columns)
    items = [_plain_entry(title, anchor, width, design, lead) for title, anchor in outlined(front)]
    for index, section in enumerate(content.sections):
        items += _section_entries(section, index, width, content, design, lead)
    ends = [_plain_entry(title, anchor, width, design, lead) for title, anchor in outlined(back)]
    if ends:
        ends[0] = Flowed(ends[0].block, design.size(10.0))
    heading = (design.page_title(design.words.contents, CONTENTS),)
    return Stream((*items, *ends), columns, heading=heading)


def outlined(pages: Sequence[Page]) -> list[tuple[str, str]]:
    """Titles and anchors of the sections that begin on ``pages``."""
    return [
        (one.item.outline[0], one.item.anchor)
        for page in pages
        for one in page.placed
        if one.item.outline is not None and one.item.outline[1] == 0
    ]


def _plain_entry(title: str, anchor: str, width: float, design: Design, lead: float) -> Flowed:
    size = _entry_size(width, design)
    return Flowed(
        Entry(
            text=title,
            anchor=anchor,
            width_pt=width,
            role=SERIF,
            size_pt=size,
            leading_pt=size * lead,
        )
    )


def _section_entries(
    section: BookSection,
    index: int,
    width: float,
    content: BookContent,
    design: Design,
    lead: float,
) -> list[Flowed]:
    title = section.title
    size = _entry_size(width, design)
    has_sets = any(section.title for section in content.sections)
    items = []
    if title:
        block = Entry(
            text=title,
            anchor=set_anchor(index),
            width_pt=width,
            role=BOLD,
            size_pt=size,
            leading_pt=size * 1.5,
        )
        items.append(Flowed(block, design.size(9.0), True))
    elif has_sets:
        other = paragraph(
            design.words.other_tunes,
            design.fonts,
            width,
            role=BOLD,
            size_pt=size,
            leading_pt=size * 1.5,
        )
        items.append(Flowed(other, design.size(9.0), True))
    for number, tune in enumerate(section.tunes):
        entry = Entry(
            text=tune.title,
            anchor=tune_anchor(tune.identity),
            width_pt=width,
            role=SERIF,
            size_pt=size,
            leading_pt=size * lead,
            indent_pt=design.size(14.0) if has_sets else 0.0,
            middle=_facts(tune, design),
        )
        items.append(Flowed(entry, design.size(9.0) if not number and not has_sets else 0.0))
    return items


def _facts(tune: BookTune, design: Design) -> str:
    """The tune's key, and that it has a second voice."""
    piece = tune.arrangement.tune
    facts = (further_voices(piece, design.words), key_name(piece.key, design.words))
    return SEPARATOR.join(fact for fact in facts if fact)


def _entry_size(width: float, design: Design) -> float:
    """Smaller type in columns."""
    return design.size(10.5 if width == design.width_pt else 9.5)


def _by_title(content: BookContent, design: Design) -> list[Stream]:
    language = content.book.language
    columns = 2
    width = column_width_pt(design.page_format, columns)
    size = design.size(9.5)
    tunes = sorted(content.tunes, key=lambda tune: sort_key(tune.title, language))
    entries = tuple(
        Flowed(
            Entry(
                text=tune.title,
                anchor=tune_anchor(tune.identity),
                width_pt=width,
                role=SERIF,
                size_pt=size,
                leading_pt=size * ENTRY_LEADING,
                middle=further_voices(tune.arrangement.tune, design.words),
            )
        )
        for tune in tunes
    )
    heading = design.heading(design.words.contents_by_title, before_pt=18.0)
    return [Stream(entries, columns, heading=(heading,), is_whole=True)]


def back_matter(content: BookContent, design: Design) -> list[Page]:
    """Return the pages after the tunes, but for the colophon: practice, chords, ladder, indexes,
    sources."""
    return [
        *practice_pages(content, design),
        *chord_pages(content, design),
        *ladder_pages(content, design),
        *index_pages(content, design),
        *source_pages(content, design),
    ]
