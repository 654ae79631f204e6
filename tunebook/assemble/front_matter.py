"""What stands before the tunes: title page, cautions, contents, signs, instrument, and the report
of a retuning."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.assemble.anchors import (
    CAUTIONS,
    CONTENTS,
    INDEX_TITLES,
    TITLE_PAGE,
    set_anchor,
    tune_anchor,
)
from tunebook.assemble.blocks import Entry, Flowed, Stack, paragraph
from tunebook.assemble.content import BookContent, BookSection, BookTune
from tunebook.assemble.design import Design
from tunebook.assemble.flow import Page, Placed, Stream, column_width_pt, flow, flow_in_fewest
from tunebook.assemble.fonts import BOLD, SERIF
from tunebook.assemble.instrument_page import instrument_pages
from tunebook.assemble.musical_text import key_name
from tunebook.assemble.retune_pages import retune_pages
from tunebook.assemble.signs import signs_pages
from tunebook.assemble.sorting import sort_key
from tunebook.assemble.title_page import title_block

# From more tunes on, the contents are set in two columns.
_MOST_IN_ONE_COLUMN = 44
_LEAST_BY_TITLE = 3
# Distance of the lines of a list, in sizes of the type.
_LEADING = 1.42


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
    lead = _LEADING * ease
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
    return Flowed(Entry(title, anchor, width, SERIF, size, size * lead))


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
        block = Entry(title, set_anchor(index), width, BOLD, size, size * 1.5)
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
            tune_title(tune),
            tune_anchor(tune.identity),
            width,
            SERIF,
            size,
            size * lead,
            indent_pt=design.size(14.0) if has_sets else 0.0,
            middle=key_name(tune.arrangement.tune.key, design.words),
        )
        items.append(Flowed(entry, design.size(9.0) if not number and not has_sets else 0.0))
    return items


def _entry_size(width: float, design: Design) -> float:
    """Smaller type in columns."""
    return design.size(10.5 if width == design.width_pt else 9.5)


def tune_title(tune: BookTune) -> str:
    """The title a tune goes by."""
    return tune.arrangement.tune.title or tune.identity


def _by_title(content: BookContent, design: Design) -> list[Stream]:
    language = content.book.language
    columns = 2
    width = column_width_pt(design.page_format, columns)
    size = design.size(9.5)
    tunes = sorted(content.tunes, key=lambda tune: sort_key(tune_title(tune), language))
    entries = tuple(
        Flowed(
            Entry(tune_title(tune), tune_anchor(tune.identity), width, SERIF, size, size * _LEADING)
        )
        for tune in tunes
    )
    heading = design.heading(design.words.contents_by_title, before_pt=18.0)
    return [Stream(entries, columns, heading=(heading,), is_whole=True)]
