"""Which signs a book uses: the foot line, and the page that explains them."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.book.content import SIGNS, BookContent, LegendEntry
from tunebook.book.design import Design
from tunebook.book.layout.blocks import Beside, Block, Flowed, Music, Stack, paragraph
from tunebook.book.layout.flow import Page, Stream, flow
from tunebook.book.pages.furniture import FOOT_GAP

# Share of the width that an engraved example may take.
_EXAMPLE_SHARE = 0.42


def foot_line(content: BookContent, design: Design) -> str:
    """The signs in one line, for the foot of pages with music."""
    words, edition = design.words, content.edition
    notes = [note for tune in content.tunes for note in tune.arrangement.notes]
    parts = []
    if edition.fingers != "none":
        parts.append(words.foot_finger)
    if any(note.shows_string for note in notes):
        parts.append(words.foot_string)
    if any("crossed" in note.ways for note in notes):
        parts.append(words.foot_crossed)
    if any(tune.arrangement.drone for tune in content.tunes):
        parts.append(words.foot_drone)
    chords = [span for tune in content.tunes for span in tune.arrangement.chords]
    if any(span.source == "solved" for span in chords):
        parts.append(words.foot_solved)
    has_quarter_tones = any(pitch.quarters for one in notes for pitch in one.note.pitches)
    if has_quarter_tones and edition.fingers != "none":
        parts.append(words.foot_quarter_tone)
    if any(not note.stops for note in notes):
        parts.append(words.foot_unplayable)
    if any(note.beyond_limits for note in notes):
        parts.append(words.foot_beyond)
    if edition.shows_notes_on_choices:
        parts.append(words.foot_hard)
    if content.retuning is not None and any(one.changed_bars for one in content.retuning.tunes):
        parts.append(words.foot_changed)
    return FOOT_GAP.join(parts)


def signs_pages(content: BookContent, design: Design) -> list[Page]:
    """The page that explains the signs, with engraved examples where there are some."""
    words = design.words
    entries = content.legend or tuple(
        LegendEntry(kind) for kind in ("finger", "string", "crossed", "drone", "chord")
    )
    items = [design.page_title(words.signs_title, SIGNS)]
    room = _example_width(entries, design)
    items += [Flowed(_entry(entry, room, design), design.size(12.0)) for entry in entries]
    items.append(design.body(words.signs_rest, before_pt=18.0))
    return flow([Stream(tuple(items))], design.page_format, words.signs_title)


def _example_width(entries: Sequence[LegendEntry], design: Design) -> float:
    """Width of the column of examples: that of the widest, within bounds."""
    widths = [
        system.width_pt
        for entry in entries
        if entry.piece is not None
        for system in entry.piece.systems
    ]
    return min(max(widths, default=0.0), design.width_pt * _EXAMPLE_SHARE)


def _entry(entry: LegendEntry, room: float, design: Design) -> Block:
    """Example at the left, text at the right."""
    text = entry.text or design.words.legend.get(entry.kind, "")
    left = room + design.size(18.0)
    size = design.size(10.5)
    lines = paragraph(
        text, design.fonts, design.width_pt - left, size_pt=size, leading_pt=size * 1.36
    )
    if entry.piece is None:
        return paragraph(text, design.fonts, design.width_pt, size_pt=size, leading_pt=size * 1.36)
    systems = tuple(
        Music(entry.piece, system, scale, -system.staff_indent_pt * scale)
        for system in entry.piece.systems
        if (scale := min(1.0, room / system.width_pt))
    )
    return Beside((Stack(systems), lines), (0.0, left), is_centred=True)
