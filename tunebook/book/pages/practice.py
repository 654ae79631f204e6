"""Practice pages: a warm-up, and each tune's exercises with their music."""

from __future__ import annotations

from dataclasses import replace

from tunebook.book.content import PRACTICE, BookContent, PracticePiece, PracticeSection, tune_anchor
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, SANS_BOLD, SERIF
from tunebook.book.layout.blocks import Block, Drawing, Flowed, Space, Stack, fitted_music
from tunebook.book.layout.flow import Page, Stream, flow_in_fewest
from tunebook.book.layout.sheet import Sheet
from tunebook.book.layout.tags import Figure

_SYSTEM_GAP_PT = 3.0


def practice_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the pages of exercises; none when there are none."""
    if not content.practice:
        return []
    words = design.words
    items = [
        design.page_title(words.practice_title, PRACTICE),
        design.body(words.practice_text),
    ]
    exercises = [item for section in content.practice for item in _section(section, design)]

    def streams(ease: float) -> list[Stream]:
        eased = [replace(item, before_pt=item.before_pt * ease) for item in exercises]
        return [Stream((*items, *eased))]

    return flow_in_fewest(streams, design.page_format, words.practice_title, (1.0, 0.85, 0.7))


def _section(section: PracticeSection, design: Design) -> list[Flowed]:
    size = design.size(12.0)
    heading = Flowed(_title(section, design, size), design.size(16.0), keeps_with_next=True)
    items = [heading]
    if section.text:
        note = design.note(section.text, before_pt=2.0)
        items.append(Flowed(note.block, note.before_pt, keeps_with_next=True))
    for piece in section.pieces:
        for number, item in enumerate(piece_items(piece, design)):
            again = _continued(section, piece.title if number else "", design)
            items.append(replace(item, continued=again))
    return items


def _continued(section: PracticeSection, exercise: str, design: Design) -> Block:
    """What stands over the exercises where they go on on another page; amid an ``exercise`` its
    name too."""
    name = f"{section.title} ({design.words.continued})"
    blocks: list[Block] = [design.small(name, design.width_pt, role=BOLD), Space(design.size(6.0))]
    if exercise:
        own = design.small(exercise, design.width_pt, role=SANS_BOLD)
        blocks += [own, Space(design.size(2.0))]
    return Stack(tuple(blocks))


def _title(section: PracticeSection, design: Design, size: float) -> Block:
    """The heading; a tune's name leads to the tune and bears its page."""
    anchor = tune_anchor(section.tune) if section.tune else ""

    def paint(sheet: Sheet, left: float, top: float) -> None:
        base = top + size
        box = (left, top, design.fonts.width(section.title, BOLD, size), size * 1.3)
        with sheet.tagged("H"), sheet.linked(anchor, *box, section.title):
            sheet.text(left, base, section.title, BOLD, size)
        if anchor and sheet.label_of(anchor):
            label = f"{design.words.page} {sheet.label_of(anchor)}"
            sheet.text(left + design.width_pt, base, label, SERIF, size * 0.75, align="right")

    return Drawing(size * 1.5, paint)


def piece_items(piece: PracticePiece, design: Design) -> list[Flowed]:
    """The exercise's name and first system together, then the further systems, of which the last
    never stands alone."""
    music = piece.piece
    figure = Figure(music.identity, design.words.pictures["exercise"].format(piece.title))
    systems = [fitted_music(music.pdf, one, design.music_width_pt, figure) for one in music.systems]
    title = design.small(piece.title, design.width_pt, role=SANS_BOLD)
    first = Stack((title, Space(design.size(2.0)), *systems[:1]))
    gap = design.size(_SYSTEM_GAP_PT)
    last_but_one = len(systems) - 2
    return [
        Flowed(first, design.size(9.0), keeps_with_next=last_but_one == 0),
        *(
            Flowed(system, gap, keeps_with_next=number == last_but_one)
            for number, system in enumerate(systems[1:], 1)
        ),
    ]
