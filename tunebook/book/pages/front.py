"""What stands before and after the tunes, in order; title page, cautions and contents.

The ornament of the title page is a string: the nut, the keys at their true distances, the bridge,
as the instrument of the book has them.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import replace
from math import inf

from tunebook.book.content import (
    CAUTIONS,
    CONTENTS,
    INSTRUMENT,
    TITLE_PAGE,
    BookContent,
    BookSection,
    BookTune,
    set_anchor,
    tune_anchor,
)
from tunebook.book.design import SMALL_PT, Design
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF
from tunebook.book.layout.blocks import (
    ENTRY_LEADING,
    Beside,
    Drawing,
    Entry,
    Flowed,
    Stack,
    broken,
    paragraph,
)
from tunebook.book.layout.flow import (
    Page,
    Placed,
    Stream,
    column_width_pt,
    flow,
    flow_in_fewest,
    share_pages,
)
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import (
    SEPARATOR,
    further_voices,
    key_name,
    local_names,
    tuning_text,
)
from tunebook.book.pages.chords import chord_pages
from tunebook.book.pages.indexes import index_pages, ladder_pages, title_entries
from tunebook.book.pages.instrument import instrument_pages
from tunebook.book.pages.practice import practice_pages
from tunebook.book.pages.retuning import retune_pages
from tunebook.book.pages.signs import signs_pages
from tunebook.book.pages.sorting import sort_key
from tunebook.book.pages.sources import source_pages
from tunebook.model.instrument import Instrument
from tunebook.model.words import words_for

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
    with sheet.tagged("H"):
        for index, line in enumerate(lines):
            base = ornament - design.size(26.0) - (len(lines) - 1 - index) * size * 1.15
            goes_on = index + 1 < len(lines)
            sheet.text(middle, base, line, BOLD, size, align="centre", goes_on=goes_on)


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
_LEFT_OUT_SHARE = 0.42
# Between two parts that share a page.
_PART_GAP_PT = 26.0


def matter(
    content: BookContent,
    design: Design,
    imprint: Sequence[Page] = (),
    end: Sequence[Page] = (),
    is_shared: bool = True,
    *,
    parts: Parts | None = None,
) -> tuple[list[Page], list[Page]]:
    """Return the pages before and after the tunes, of the parts that the edition has; ``imprint``
    stands behind the title page, ``end`` at the end. Parts share pages unless ``is_shared`` says
    that those before the tunes do not. The list by title stands once: with the contents where it
    takes no page of its own there, else among the indexes. ``parts`` are those of the same book
    made for an earlier call."""
    parts = parts or Parts(content, design)
    back = _back(parts, False, end)
    front = _front(parts, back, imprint, False)
    if "titles" in content.edition.parts and _has_more_titles(content):
        longer = _front(parts, back, imprint, True)
        if "contents" in content.edition.parts and _count(longer) == _count(front):
            front = longer
        else:
            back = _back(parts, True, end)
            front = _front(parts, back, imprint, False)
    gap = design.size(_PART_GAP_PT)
    pages = share_pages(front, design.page_format, gap if is_shared else inf)
    title = [_title_page(content, design)] if "title page" in content.edition.parts else []
    return [*title, *pages], back


def _count(parts: Sequence[Sequence[Page]]) -> int:
    return sum(len(pages) for pages in parts)


def _has_more_titles(content: BookContent) -> bool:
    """Whether a list by title says more than the tunes in the order of the book."""
    tunes = content.tunes
    order = [sort_key(tune.title, content.book.language) for tune in tunes]
    has_other = any(len(tune.arrangement.tune.titles) > 1 for tune in tunes)
    has_sets = any(section.title for section in content.sections)
    return len(tunes) >= _LEAST_BY_TITLE and (has_sets or has_other or order != sorted(order))


class Parts:
    """The parts of one book that are the same wherever others stand, each made once."""

    def __init__(self, content: BookContent, design: Design) -> None:
        self.content = content
        self.design = design
        self._after: dict[bool, list[list[Page]]] = {}
        self._contents: dict[tuple[object, ...], list[Page]] = {}

    @functools.cached_property
    def before(self) -> list[list[Page]]:
        """Signs, instruments, report of a retuning."""
        content, design, parts = self.content, self.design, self.content.edition.parts
        return [
            signs_pages(content, design) if "signs" in parts else [],
            _instruments(content, design) if "instrument" in parts else [],
            retune_pages(content.retuning, design) if content.retuning is not None else [],
        ]

    @functools.cached_property
    def cautions(self) -> list[Page]:
        return _cautions_pages(self.design)

    @functools.cached_property
    def before_indexes(self) -> list[list[Page]]:
        """Practice, chords, ladder."""
        content, design, parts = self.content, self.design, self.content.edition.parts
        return [
            practice_pages(content, design),
            chord_pages(content, design),
            ladder_pages(content, design) if "ladder" in parts else [],
        ]

    @functools.cached_property
    def sources(self) -> list[Page]:
        has_sources = "sources" in self.content.edition.parts
        return source_pages(self.content, self.design) if has_sources else []

    def after(self, has_titles: bool) -> list[list[Page]]:
        """Practice, chords, ladder, indexes, sources."""
        if has_titles not in self._after:
            indexes = index_pages(self.content, self.design, has_titles=has_titles)
            self._after[has_titles] = [*self.before_indexes, indexes, self.sources]
        return self._after[has_titles]

    def contents(self, front: Sequence[Page], back: Sequence[Page], has_titles: bool) -> list[Page]:
        """The contents, by title too where ``has_titles``, of a book with such parts before and
        after its tunes."""
        key = (*outlined(front), None, *outlined(back), has_titles)
        if key not in self._contents:
            made = _contents_pages(self.content, self.design, front, back, has_titles)
            self._contents[key] = made
        return self._contents[key]


def _front(
    parts: Parts, back: Sequence[Page], imprint: Sequence[Page], has_titles: bool
) -> list[Sequence[Page]]:
    """The parts before the tunes, each on pages of its own."""
    front = [*imprint, *(page for pages in parts.before for page in pages)]
    contents = parts.contents(front, back, has_titles)
    return [imprint, parts.cautions, contents, *parts.before]


def _instruments(content: BookContent, design: Design) -> list[Page]:
    """The book's instrument, then those that play voices printed below the melody."""
    pages = instrument_pages(content.instrument, design)
    others: list[Instrument] = []
    for tune in content.tunes:
        for voice in tune.arrangement.voices:
            one = voice.arrangement.instrument
            if one != content.instrument and one not in others:
                others.append(one)
    for number, one in enumerate(others, start=2):
        own = replace(design, words=words_for(content.book, one))
        title = f"{own.words.local(one.title)}, {local_names(one.tuning_name, own.words)}"
        pages += instrument_pages(one, own, title, f"{INSTRUMENT} {number}")
    return pages


def _back(parts: Parts, has_titles: bool, end: Sequence[Page]) -> list[Page]:
    """Practice, chords, ladder, indexes, sources, and ``end``."""
    gap = parts.design.size(_PART_GAP_PT)
    return share_pages([*parts.after(has_titles), end], parts.design.page_format, gap)


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
    size = design.reading(11.0)
    wide = design.width_pt * 0.86
    blocks = (
        paragraph(lead, design.fonts, wide, role=BOLD, size_pt=size, leading_pt=size * 1.4),
        paragraph(rest, design.fonts, wide, role=SERIF, size_pt=size, leading_pt=size * 1.4),
    )
    return Flowed(Stack(blocks), design.size(12.0))


def _contents_pages(
    content: BookContent,
    design: Design,
    front: Sequence[Page],
    back: Sequence[Page],
    has_titles: bool,
) -> list[Page]:
    """Contents in the order of the book, then by title where ``has_titles``, and what was left
    out, which stands alone in an edition without contents."""
    left_out = _left_out(content, design)
    if "contents" not in content.edition.parts:
        return flow(left_out, design.page_format, design.words.left_out)
    columns = 1 if len(content.tunes) <= _MOST_IN_ONE_COLUMN else 2

    def streams(ease: float) -> list[Stream]:
        in_order = [_in_order(content, design, front, back, columns, ease)]
        by_title = _by_title(content, design) if has_titles else []
        return [*in_order, *by_title, *left_out]

    return flow_in_fewest(streams, design.page_format, design.words.contents)


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
    """The tune's key, that it has a second voice, and a tuning of its own."""
    piece = tune.arrangement.tune
    facts = (
        tune.tuning_note,
        further_voices(piece, design.words),
        key_name(piece.key, design.words),
    )
    return SEPARATOR.join(fact for fact in facts if fact)


def _entry_size(width: float, design: Design) -> float:
    """Smaller type in columns."""
    return design.reading(10.5) if width == design.width_pt else design.entry(9.5)


def _by_title(content: BookContent, design: Design) -> list[Stream]:
    heading = design.heading(design.words.contents_by_title, before_pt=18.0)
    entries = tuple(title_entries(content, design))
    return [Stream(entries, 2, heading=(heading,), is_whole=True)]


def _left_out(content: BookContent, design: Design) -> list[Stream]:
    """The tunes that go beyond the edition's level: titles, and beside them the reasons."""
    if not content.left_out:
        return []
    heading = design.heading(design.words.left_out, before_pt=18.0)
    size, gap = design.reading(SMALL_PT), design.size(12.0)
    widest = max(design.fonts.width(one.title, BOLD, size) for one in content.left_out)
    room = min(widest + 1.0, design.width_pt * _LEFT_OUT_SHARE)
    left = room + gap
    lines = tuple(
        Flowed(
            Beside(
                (
                    design.small(one.title, room, role=BOLD),
                    design.small(one.reason, design.width_pt - left),
                ),
                (0.0, left),
            ),
            design.size(2.0),
        )
        for one in content.left_out
    )
    return [Stream(lines, heading=(heading,))]
