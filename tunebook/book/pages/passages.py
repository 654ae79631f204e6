"""A passage in several ways to finger it, one below the other."""

from __future__ import annotations

from tunebook.book.content import PracticePiece, PracticeSection
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SANS_BOLD
from tunebook.book.layout.blocks import Beside, Block, Flowed, Space, Stack, fitted_music, stacked
from tunebook.book.layout.flow import column_width_pt
from tunebook.book.layout.tags import Figure

_SYSTEM_GAP_PT = 3.0
_BLEED_PT = 10.0
LETTER_PT = 16.0
"""Room for a way's letter before its staff."""


def passage_items(section: PracticeSection, columns: int, design: Design) -> list[Flowed]:
    """The passage's heading and its ways, which are all seen at once, in one of ``columns``. A
    way's letter stands before its staff, a longer name above."""
    width = column_width_pt(design.page_format, columns)
    blocks: list[Block] = []
    for piece in section.pieces:
        systems = _systems(section.title, piece, width - LETTER_PT + _BLEED_PT, design)
        label = design.small(piece.title, width, role=SANS_BOLD)
        blocks.append(Space(design.size(6.0)))
        if len(piece.title) == 1:
            blocks.append(Beside((label, systems), (0.0, LETTER_PT), is_centred=True))
        else:
            blocks += [label, Space(design.size(_SYSTEM_GAP_PT)), systems]
    heading = design.small_heading(section.title, width, before_pt=14.0)
    return [heading, Flowed(Stack(tuple(blocks)))]


def _systems(title: str, piece: PracticePiece, width_pt: float, design: Design) -> Block:
    music = piece.piece
    text = design.words.pictures["exercise"].format(f"{title}, {piece.title}")
    figure = Figure(music.identity, text)
    blocks: list[Block] = []
    for system in music.systems:
        blocks += [Space(design.size(_SYSTEM_GAP_PT))] if blocks else []
        blocks.append(fitted_music(music.pdf, system, width_pt, figure))
    return stacked(blocks)
