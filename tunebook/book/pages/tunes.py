"""The pages of tunes: heads, systems and tails broken over pages and spread down each page.

A head stands above a tune's music; chord shapes, words and remarks are its tail.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from tunebook.book.content import BookContent, BookSection, BookTune, set_anchor, tune_anchor
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF
from tunebook.book.layout.blocks import (
    Beside,
    Block,
    Drawing,
    Flowed,
    Lines,
    Space,
    Stack,
    breakable,
    broken,
    fitted_music,
    shortened,
    stacked,
)
from tunebook.book.layout.flow import Page, Placed
from tunebook.book.layout.page_breaks import (
    Breaks,
    PageFill,
    Slice,
    Unit,
    best_breaks,
    choose_breaks,
    choose_order,
)
from tunebook.book.layout.paper import PageFormat
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import SEPARATOR, info_line, source_line
from tunebook.book.pages.chords import shapes_row
from tunebook.book.pages.sets import set_heading
from tunebook.model.book import Edition
from tunebook.model.tune import Tune
from tunebook.model.words import FixedWords

_TITLE_PT = 18.0
_SOURCE_PT = 9.5
_INFO_PT = 9.5
_WORDS_PT = 9.5
# A longer remark is printed with the sources at the end of the book instead.
LONGEST_REMARK = 420
TOLD_WITH_TUNE = "SZN"
# More lines of words than this are set in two columns.
_LINES_IN_ONE_COLUMN = 6


def tune_head(tune: BookTune, design: Design) -> Block:
    """Title and source over a hair line, other titles and the line of facts below it."""
    source = source_line(tune.arrangement.tune)
    size, lines, has_room = _title_lines(tune.title, source, design)
    blocks: list[Block] = [_title_block(lines, source if has_room else "", size, design)]
    if source and not has_room:
        blocks.append(_source_block(source, design))
    facts = (info_line(tune.arrangement, design.words), tune.voices_note)
    info = SEPARATOR.join(fact for fact in facts if fact)
    also = " · ".join(tune.arrangement.tune.titles[1:])
    blocks.append(_ruled_info(info, design.words.also.format(also) if also else "", design))
    blocks += _texts_block(tune.arrangement.tune.texts, design)
    return Stack(tuple(blocks))


def continued_head(tune: BookTune, design: Design) -> Block:
    """The short head where a tune goes on on another page."""
    size = design.size(9.5)
    text = f"({design.words.continued})"
    room = design.width_pt - design.fonts.width(text, ITALIC, size) - 4
    title = shortened(tune.title, design.fonts, BOLD, size, room)

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        base = top_pt + size
        wide = sheet.text(left_pt, base, title, BOLD, size)
        sheet.text(left_pt + wide + 4, base, text, ITALIC, size, grey=GREY)

    return Drawing(size * 1.2 + design.size(6.0), paint)


def tune_tail(tune: BookTune, edition: Edition, design: Design) -> Block | None:
    """Chord shapes, words and remarks below the music; None when there is nothing."""
    blocks: list[Block] = []
    if edition.shows_shapes:
        shapes = shapes_row(tune.arrangement, design)
        if shapes is not None:
            blocks += [Space(design.size(6.0)), shapes]
    if edition.shows_words and tune.arrangement.tune.words:
        blocks += [Space(design.size(6.0)), words_block(tune.arrangement.tune.words, design)]
    blocks += _texts_block(tune.arrangement.tune.closing_texts, design)
    remarks = _remarks(tune, edition, design)
    if remarks:
        blocks += [Space(design.size(4.0)), *remarks]
    return Stack(tuple(blocks)) if blocks else None


def _texts_block(texts: tuple[str, ...], design: Design) -> list[Block]:
    """Free text of the tune's file; an empty line of it parts paragraphs."""
    if not any(line.strip() for line in texts):
        return []
    gap = Space(design.size(4.0))
    lines = [design.small(line, design.width_pt) if line.strip() else gap for line in texts]
    while lines[-1] is gap:
        lines.pop()
    return [gap, stacked(lines), gap]


def told_of(tune: Tune, letters: str, words: FixedWords) -> str:
    """What the tune's fields of these letters (out of C, O, S, B, Z, N, H) tell, in one line:
    composer, origin, sources, transcriber, remarks; empty when none is given."""
    names = {
        "O": words.origin,
        "S": words.found_in,
        "B": words.found_in,
        "Z": words.transcribed,
        "N": words.remark,
        "H": words.remark,
    }
    parts = []
    for letter in letters:
        text = " ".join(" ".join(tune.field(letter)).split())
        if text:
            parts.append(f"{names[letter]}: {text}" if letter in names else text)
    return SEPARATOR.join(parts)


def _title_lines(title: str, source: str, design: Design) -> tuple[float, tuple[str, ...], bool]:
    """Size and lines of the title, and whether the source fits beside its last line."""
    size = design.size(_TITLE_PT)
    source_pt = design.fonts.width(source, ITALIC, design.size(_SOURCE_PT)) if source else 0.0
    has_room = source_pt <= 0.45 * design.width_pt
    room = design.width_pt - (source_pt + 14.0 if source and has_room else 0.0)
    lines = broken(title, design.fonts, BOLD, size, room)
    if len(lines) > 1:
        # Try a slightly smaller size before taking a second line.
        for share in (0.93, 0.87):
            smaller = broken(title, design.fonts, BOLD, size * share, room)
            if len(smaller) == 1:
                return size * share, smaller, has_room
        size *= 0.9
        lines = _evenly_broken(title, design, size, room)
    return size, lines, has_room


def _evenly_broken(title: str, design: Design, size: float, room: float) -> tuple[str, ...]:
    """Lines of about the same length, so that no single word stands on the last one."""
    lines_at = breakable(title, design.fonts, BOLD, size)
    count = len(lines_at(room))
    width = room
    while width > room / 2 and len(lines_at(width - 12)) <= count:
        width -= 12
    return lines_at(width)


def _title_block(lines: tuple[str, ...], source: str, size: float, design: Design) -> Block:
    leading = size * 1.16

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        base = top_pt + size * 0.95
        for index, line in enumerate(lines):
            sheet.text(left_pt, base + index * leading, line, BOLD, size)
        if source:
            last = base + (len(lines) - 1) * leading
            right = left_pt + design.width_pt
            sheet.text(right, last, source, ITALIC, design.size(_SOURCE_PT), align="right")

    return Drawing(leading * len(lines), paint)


def _source_block(source: str, design: Design) -> Block:
    size = design.size(_SOURCE_PT)
    lines = broken(source, design.fonts, ITALIC, size, design.width_pt)
    return Lines(
        lines=lines, role=ITALIC, size_pt=size, leading_pt=size * 1.25,
        width_pt=design.width_pt, align="right",
    )  # fmt: skip


def _ruled_info(info: str, also: str, design: Design) -> Block:
    size = design.size(_INFO_PT)
    gap = design.size(3.0)
    info_pt = design.fonts.width(info, SERIF, size)
    also_size = size * 0.95
    is_beside = info_pt + design.fonts.width(also, ITALIC, also_size) + 16 <= design.width_pt
    also_lines = broken(also, design.fonts, ITALIC, also_size, design.width_pt)
    height = gap + size * 1.45
    if also and not is_beside:
        height += len(also_lines) * size * 1.25

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        right = left_pt + design.width_pt
        sheet.rule(left_pt, top_pt + gap * 0.5, right)
        base = top_pt + gap + size
        sheet.text(left_pt, base, info, SERIF, size)
        if also and is_beside:
            sheet.text(right, base, also, ITALIC, also_size, align="right")
        elif also:
            for index, line in enumerate(also_lines, 1):
                sheet.text(left_pt, base + index * size * 1.25, line, ITALIC, also_size)

    return Drawing(height, paint)


def words_block(words: tuple[str, ...], design: Design) -> Block:
    """Verses below the music, in two columns when there are many lines."""
    size = design.size(_WORDS_PT)
    gutter = design.size(20.0)
    columns = 2 if len(words) > _LINES_IN_ONE_COLUMN else 1
    width = (design.width_pt - gutter * (columns - 1)) / columns
    verses: list[list[str]] = [[]]
    for line in words:
        if not line.strip():
            verses.append([])
        verses[-1].extend(broken(line, design.fonts, SERIF, size, width))
    verses = [verse for verse in verses if verse]
    if not verses:
        return Space(0.0)
    parts = _in_columns(verses, columns)
    blocks = tuple(
        Stack(
            tuple(
                part
                for verse in column
                for part in (Lines(tuple(verse), SERIF, size, size * 1.25), Space(size * 0.5))
            )
        )
        for column in parts
    )
    lefts = tuple(index * (width + gutter) for index in range(len(blocks)))
    return Beside(blocks, lefts)


def _in_columns(verses: list[list[str]], columns: int) -> list[list[list[str]]]:
    """Verses over the columns, as even as whole verses allow; a single long one is cut."""
    if columns == 1:
        return [verses]
    if len(verses) == 1:
        half = (len(verses[0]) + 1) // 2
        return [[verses[0][:half]], [verses[0][half:]]]
    lengths = [len(verse) + 0.5 for verse in verses]
    cut = min(
        range(1, len(verses)),
        key=lambda count: max(sum(lengths[:count]), sum(lengths[count:])),
    )
    return [verses[:cut], verses[cut:]]


def _remarks(tune: BookTune, edition: Edition, design: Design) -> list[Block]:
    """Small print below the tune: limits, a teacher's notes, sources and remarks."""
    blocks: list[Block] = []
    if tune.limit_note:
        blocks.append(design.small(tune.limit_note, design.width_pt, role=BOLD))
    if edition.shows_notes_on_choices:
        blocks += [design.small(note, design.width_pt) for note in tune.choice_notes]
    if edition.shows_sources:
        text = told_of(tune.arrangement.tune, TOLD_WITH_TUNE, design.words)
        if text and len(text) <= LONGEST_REMARK:
            blocks.append(design.small(text, design.width_pt, role=ITALIC))
    return [stacked(blocks)] if blocks else []


# Spaces in points on A4: between systems (the least may be negative, since the boxes of systems
# have a bleed of 4 pt; what looks at ease; the most), and between tunes.
_SYSTEM_GAP_PT = -3.0
_SYSTEM_GAP_AT_EASE_PT = 4.0
_SYSTEM_GAP_MOST_PT = 15.0
# Systems carry a bleed, so a page may reach so far towards its foot line without touching it, if
# there is so much room above that line.
_OVERHANG_PT = 9.0
_FOOT_LINE_PT = 10.0
_TUNE_GAP_PT = 11.0
_TUNE_GAP_MOST_PT = 48.0
# The most below the heading of a set.
_OPENER_GAP_MOST_PT = 24.0
# A gap between tunes takes this many shares of the space left, one between systems takes one.
_TUNE_SHARES = 3.0
# What it must save (in pages, our judgement) that a set's heading leaves out the changes between
# its tunes: a page, or that the set's first tune is torn or turned below it.
_SHORT_HEADING_COST = 1.0


@dataclass(frozen=True, slots=True)
class _Piece:
    """A unit with what is drawn for it."""

    unit: Unit
    parts: tuple[Block, ...]
    continued: Block | None
    anchor: str
    title: str
    head: str
    level: int


@dataclass(frozen=True, slots=True)
class Body:
    """The pages of tunes, and the side on which the first page lies (0 right-hand, 1 left-hand)."""

    pages: tuple[Page, ...]
    side: int


def lay_out_tunes(
    content: BookContent,
    design: Design,
    foot: str,
    side_costs: tuple[float, float] = (0.0, inf),
) -> Body:
    """Return the body of the book: sets and tunes, exactly broken over pages. ``side_costs`` are
    what it costs, in pages, that it begins on a right-hand or a left-hand page."""
    pieces, breaks = _broken(_pieces(content, design), content, design, side_costs)
    return Body(tuple(_page(fill, pieces, design, foot) for fill in breaks.fills), breaks.side)


def _broken(
    pieces: list[_Piece],
    content: BookContent,
    design: Design,
    side_costs: tuple[float, float],
) -> tuple[list[_Piece], Breaks]:
    """The pieces on their pages, headings of sets made shorter where that saves much."""
    height_pt = _most_pt(design.page_format)
    breaks = best_breaks([piece.unit for piece in pieces], height_pt, side_costs)
    for at, piece in enumerate(pieces):
        if not piece.unit.is_opener or _is_whole_below(at, pieces, breaks):
            continue
        short = _opener(piece.unit.group, content, design, is_short=True)
        tried = [*pieces[:at], short, *pieces[at + 1 :]]
        found = best_breaks([one.unit for one in tried], height_pt, side_costs)
        if found.cost + _SHORT_HEADING_COST < breaks.cost:
            pieces, breaks = tried, found
    return pieces, breaks


def _is_whole_below(at: int, pieces: Sequence[_Piece], breaks: Breaks) -> bool:
    """Whether the tune after the heading ``at`` stands on the heading's page, all of it."""
    parts = len(pieces[at + 1].unit.parts_pt)
    return any(
        Slice(at, 0, 1) in fill.slices and Slice(at + 1, 0, parts) in fill.slices
        for fill in breaks.fills
    )


def _most_pt(page_format: PageFormat) -> float:
    """The most that tunes may fill of a page."""
    room = page_format.bottom_pt - page_format.foot_pt - _FOOT_LINE_PT
    return page_format.text_height_pt + min(_OVERHANG_PT, max(0.0, room))


def in_best_order(content: BookContent, design: Design) -> BookContent:
    """The same book with the tunes of no set in the order that wastes least paper."""
    height_pt = _most_pt(design.page_format)
    sections: list[BookSection] = []
    for section in content.sections:
        before = replace(content, sections=tuple(sections))
        if not section.title:
            units = [piece.unit for piece in _pieces(before, design)]
            side = len(choose_breaks(units, height_pt)) % 2 if units else 0
            alone = replace(content, sections=(section,))
            own = [piece.unit for piece in _pieces(alone, design)]
            order = choose_order(own, height_pt, side)
            section = replace(section, tunes=tuple(section.tunes[index] for index in order))
        sections.append(section)
    return replace(content, sections=tuple(sections))


def _pieces(content: BookContent, design: Design) -> list[_Piece]:
    pieces: list[_Piece] = []
    has_sets = any(section.title for section in content.sections)
    for index, section in enumerate(content.sections):
        if section.title:
            pieces.append(_opener(index, content, design))
        for tune in section.tunes:
            pieces.append(_tune_piece(tune, section, index, content, design, has_sets))
    return pieces


def _opener(index: int, content: BookContent, design: Design, is_short: bool = False) -> _Piece:
    section = content.sections[index]
    block = set_heading(section, design, is_short)
    unit = Unit(
        set_anchor(index),
        (block.height_pt,),
        gap_pt=design.size(_TUNE_GAP_PT),
        group=index,
        is_opener=True,
        begins_page=section.is_kept_together,
        is_kept_together=section.is_kept_together,
    )
    return _Piece(
        unit=unit, parts=(block,), continued=None, anchor=set_anchor(index),
        title=section.title, head=section.title, level=0,
    )  # fmt: skip


def _tune_piece(
    tune: BookTune,
    section: BookSection,
    index: int,
    content: BookContent,
    design: Design,
    has_sets: bool,
) -> _Piece:
    parts = _parts(tune, content, design)
    continued = continued_head(tune, design)
    gap = design.size(_SYSTEM_GAP_PT)
    unit = Unit(
        tune.identity,
        tuple(block.height_pt + (gap if number else 0.0) for number, block in enumerate(parts)),
        gap_pt=design.size(_TUNE_GAP_PT),
        ease_pt=design.size(_SYSTEM_GAP_AT_EASE_PT - _SYSTEM_GAP_PT),
        continued_pt=continued.height_pt,
        group=index,
        is_kept_together=section.is_kept_together,
    )
    head = section.title or (design.words.other_tunes if has_sets else "")
    level = 1 if section.title else 0
    return _Piece(
        unit=unit, parts=parts, continued=continued, anchor=tune_anchor(tune.identity),
        title=tune.title, head=head, level=level,
    )  # fmt: skip


def _parts(tune: BookTune, content: BookContent, design: Design) -> tuple[Block, ...]:
    """Head with the first system, further systems, the last one with the tail."""
    music: list[list[Block]] = [
        [fitted_music(tune.piece.pdf, system, design.music_width_pt)]
        for system in tune.piece.systems
    ] or [[]]
    music[0].insert(0, tune_head(tune, design))
    tail = tune_tail(tune, content.edition, design)
    if tail is not None:
        music[-1].append(tail)
    return tuple(Stack(tuple(blocks)) for blocks in music)


def _page(fill: PageFill, pieces: Sequence[_Piece], design: Design, foot: str) -> Page:
    spare = design.page_format.text_height_pt - fill.used_pt
    system_gap, tune_gap = _spread(fill, design, spare)
    placed: list[Placed] = []
    top = design.page_format.top_pt
    for number, one in enumerate(fill.slices):
        if number:
            # What a set's heading announces stands close below it.
            is_close = pieces[fill.slices[number - 1].unit].unit.is_opener
            most = design.size(_OPENER_GAP_MOST_PT)
            top += min(design.size(_TUNE_GAP_PT) + tune_gap, most if is_close else 1e9)
        top = _set_slice(placed, one, pieces[one.unit], design, top, system_gap)
    has_music = any(not pieces[one.unit].unit.is_opener for one in fill.slices)
    head = pieces[fill.slices[-1].unit].head
    return Page(tuple(placed), head, foot if has_music else "")


def _spread(fill: PageFill, design: Design, spare_pt: float) -> tuple[float, float]:
    """What each gap between systems and between tunes gains of the space left."""
    system_gaps = sum(one.last - one.first - 1 for one in fill.slices)
    tune_gaps = len(fill.slices) - 1
    shares = system_gaps + _TUNE_SHARES * tune_gaps
    if shares <= 0 or spare_pt <= 0:
        return 0.0, 0.0
    most_system = design.size(_SYSTEM_GAP_MOST_PT - _SYSTEM_GAP_PT)
    most_tune = design.size(_TUNE_GAP_MOST_PT - _TUNE_GAP_PT)
    system_gap = min(spare_pt / shares, most_system)
    if tune_gaps == 0:
        return system_gap, 0.0
    return system_gap, min((spare_pt - system_gap * system_gaps) / tune_gaps, most_tune)


def _set_slice(
    placed: list[Placed],
    one: Slice,
    piece: _Piece,
    design: Design,
    top: float,
    system_gap: float,
) -> float:
    left = design.page_format.side_pt
    if one.first and piece.continued is not None:
        placed.append(Placed(Flowed(piece.continued), left, top))
        top += piece.continued.height_pt
    for index in range(one.first, one.last):
        if index > one.first:
            top += design.size(_SYSTEM_GAP_PT) + system_gap
        block = piece.parts[index]
        item = Flowed(block)
        if index == 0:
            item = Flowed(block, anchor=piece.anchor, outline=(piece.title, piece.level))
        placed.append(Placed(item, left, top))
        top += block.height_pt
    return top
