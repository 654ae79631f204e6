"""The pages of tunes: heads, systems and tails broken over pages and spread down each page.

A tight book has less space between systems, its sets need not begin a page, and where that saves
pages it is set in a smaller staff size (``Edition.small_staff_pt``), a page as a whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from tunebook.book.content import BookContent, BookSection, BookTune, set_anchor, tune_anchor
from tunebook.book.design import Design
from tunebook.book.layout.blocks import Block, Flowed, Stack, fitted_music
from tunebook.book.layout.flow import Page, Placed
from tunebook.book.layout.page_breaks import (
    OPENING_TURN_COST,
    OPENING_TURN_COST_WHEN_TIGHT,
    Breaks,
    PageFill,
    Slice,
    Unit,
    best_breaks,
    choose_breaks,
    choose_order,
)
from tunebook.book.layout.paper import PageFormat
from tunebook.book.layout.tags import Figure
from tunebook.book.pages.sets import set_heading
from tunebook.book.pages.tunes import continued_head, in_words, tune_head, tune_tail
from tunebook.model.piece import EngravedPiece

# Spaces in points on A4: between systems (the least, which may be negative, since the boxes of
# systems have a bleed of 4 pt, and that of a tight book; what looks at ease; the most), and between
# tunes.
_SYSTEM_GAP_PT = -3.0
_SYSTEM_GAP_WHEN_TIGHT_PT = -4.5
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
    small_parts: tuple[Block, ...]
    continued: Block | None
    anchor: str
    title: str
    head: str
    level: int
    system_gap_pt: float = 0.0

    def parts_of(self, is_small: bool) -> tuple[Block, ...]:
        """What is drawn in the smaller staff size or the usual one."""
        return self.small_parts if is_small else self.parts


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
    unit = pieces[at + 1].unit
    return any(
        Slice(at, 0, 1) in fill.slices
        and Slice(at + 1, 0, len(unit.heights_pt(fill.is_small))) in fill.slices
        for fill in breaks.fills
    )


def _most_pt(page_format: PageFormat) -> float:
    """The most that tunes may fill of a page."""
    room = page_format.bottom_pt - page_format.foot_pt - _FOOT_LINE_PT
    return page_format.text_height_pt + min(_OVERHANG_PT, max(0.0, room))


def in_best_order(content: BookContent, design: Design) -> BookContent:
    """The same book with the tunes of no set in the order that wastes least paper, in the smaller
    staff size where there is one."""
    height_pt = _most_pt(design.page_format)
    sections: list[BookSection] = []
    for section in content.sections:
        before = replace(content, sections=tuple(sections))
        if not section.title:
            units = [piece.unit for piece in _pieces(before, design)]
            side = len(choose_breaks(units, height_pt)) % 2 if units else 0
            alone = replace(content, sections=(section,))
            own = [_as_small(piece.unit) for piece in _pieces(alone, design)]
            order = choose_order(own, height_pt, side)
            section = replace(section, tunes=tuple(section.tunes[index] for index in order))
        sections.append(section)
    return replace(content, sections=tuple(sections))


def _as_small(unit: Unit) -> Unit:
    return replace(unit, parts_pt=unit.small_pt, small_pt=()) if unit.small_pt else unit


def _pieces(content: BookContent, design: Design) -> list[_Piece]:
    pieces: list[_Piece] = []
    has_sets = any(section.title for section in content.sections)
    for index, section in enumerate(content.sections):
        own = [_opener(index, content, design)] if section.title else []
        own += [
            _tune_piece(tune, section, index, content, design, has_sets) for tune in section.tunes
        ]
        pieces += _on_an_opening(own, content, design) if section.is_kept_together else own
    return pieces


def _on_an_opening(pieces: list[_Piece], content: BookContent, design: Design) -> list[_Piece]:
    """A set that finds room on two facing pages had better stand on them."""
    units = [piece.unit for piece in pieces]
    if len(choose_breaks(units, _most_pt(design.page_format), 1)) > 2:
        return pieces
    is_tight = content.edition.density == "tight"
    cost = OPENING_TURN_COST_WHEN_TIGHT if is_tight else OPENING_TURN_COST
    return [replace(piece, unit=replace(piece.unit, turn_cost=cost)) for piece in pieces]


def _opener(index: int, content: BookContent, design: Design, is_short: bool = False) -> _Piece:
    section = content.sections[index]
    block = set_heading(section, design, is_short)
    unit = Unit(
        set_anchor(index),
        (block.height_pt,),
        gap_pt=design.size(_TUNE_GAP_PT),
        small_pt=(block.height_pt,),
        group=index,
        is_opener=True,
        begins_page=section.is_kept_together and content.edition.density != "tight",
        is_kept_together=section.is_kept_together,
    )
    return _Piece(
        unit=unit, parts=(block,), small_parts=(block,), continued=None,
        anchor=set_anchor(index), title=section.title, head=section.title, level=0,
    )  # fmt: skip


def _tune_piece(
    tune: BookTune,
    section: BookSection,
    index: int,
    content: BookContent,
    design: Design,
    has_sets: bool,
) -> _Piece:
    parts = _parts(tune, tune.piece, content, design)
    small = _parts(tune, tune.small_piece, content, design) if tune.small_piece else ()
    continued = continued_head(tune, design)
    is_tight = content.edition.density == "tight"
    gap = design.size(_SYSTEM_GAP_WHEN_TIGHT_PT if is_tight else _SYSTEM_GAP_PT)
    unit = Unit(
        tune.identity,
        _heights(parts, gap),
        gap_pt=design.size(_TUNE_GAP_PT),
        ease_pt=design.size(_SYSTEM_GAP_AT_EASE_PT) - gap,
        continued_pt=continued.height_pt,
        small_pt=_heights(small, gap),
        group=index,
        is_kept_together=section.is_kept_together,
    )
    head = section.title or (design.words.other_tunes if has_sets else "")
    level = 1 if section.title else 0
    return _Piece(
        unit=unit, parts=parts, small_parts=small, continued=continued,
        anchor=tune_anchor(tune.identity), title=tune.title, head=head, level=level,
        system_gap_pt=gap,
    )  # fmt: skip


def _heights(parts: Sequence[Block], gap_pt: float) -> tuple[float, ...]:
    return tuple(
        block.height_pt + (gap_pt if number else 0.0) for number, block in enumerate(parts)
    )


def _parts(
    tune: BookTune, piece: EngravedPiece, content: BookContent, design: Design
) -> tuple[Block, ...]:
    """Head with the first system, further systems, the last one with the tail."""
    figure = Figure(tune.identity, in_words(tune, design.words))
    music: list[list[Block]] = [
        [fitted_music(piece.pdf, system, design.music_width_pt, figure)] for system in piece.systems
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
        top = _set_slice(placed, one, pieces[one.unit], fill.is_small, (design, top, system_gap))
    has_music = any(not pieces[one.unit].unit.is_opener for one in fill.slices)
    head = pieces[fill.slices[0].unit].head
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
    is_small: bool,
    where: tuple[Design, float, float],
) -> float:
    """Set the parts; ``where`` has the design, the place down the page in points, and what a gap
    between systems gains. Return the place below them."""
    design, top, system_gap = where
    left = design.page_format.side_pt
    if one.first and piece.continued is not None:
        placed.append(Placed(Flowed(piece.continued), left, top))
        top += piece.continued.height_pt
    for index in range(one.first, one.last):
        if index > one.first:
            top += piece.system_gap_pt + system_gap
        block = piece.parts_of(is_small)[index]
        item = Flowed(block)
        if index == 0:
            item = Flowed(block, anchor=piece.anchor, outline=(piece.title, piece.level))
        placed.append(Placed(item, left, top))
        top += block.height_pt
    return top
