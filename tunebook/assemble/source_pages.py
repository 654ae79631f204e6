"""The page of sources: where each tune is from, and what is remarked on it.

In a book of fewer than LEAST_TUNES tunes only those stand here of which something is told that is
not printed with the tune itself.
"""

from __future__ import annotations

from tunebook.assemble.anchors import SOURCES, tune_anchor
from tunebook.assemble.blocks import Entry, Flowed, Stack
from tunebook.assemble.content import BookContent, BookTune
from tunebook.assemble.design import Design
from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.flow import Page, Stream, column_width_pt, flow_in_fewest
from tunebook.assemble.fonts import SERIF
from tunebook.assemble.musical_text import SEPARATOR
from tunebook.assemble.tune_blocks import LONGEST_REMARK, source_remarks

_COLUMNS = 2
LEAST_TUNES = 4


def source_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the sources of all tunes; none when the edition leaves them out or none is given."""
    if not content.edition.shows_sources:
        return []
    title = design.words.sources_title
    heading = (design.page_title(title, SOURCES),)
    is_short = len(content.tunes) < LEAST_TUNES
    tunes = [tune for tune in content.tunes if not (is_short and _is_told(tune, design))]
    blocks = [block for tune in tunes if (block := _source(tune, design))]
    if not blocks:
        return []

    def streams(ease: float) -> list[Stream]:
        items = tuple(Flowed(block, design.size(7.0) * ease) for block in blocks)
        return [Stream(items, _COLUMNS, heading=heading)]

    return flow_in_fewest(streams, design.page_format, title, (1.0, 0.75, 0.5))


def _is_told(tune: BookTune, design: Design) -> bool:
    """Whether everything stands with the tune already."""
    is_long = len(SEPARATOR.join(source_remarks(tune, design))) > LONGEST_REMARK
    return not is_long and not any(tune.arrangement.tune.field(letter) for letter in "BH")


def _source(tune: BookTune, design: Design) -> Stack | None:
    """The tune's name and page over its sources in small print."""
    text = source_text(tune, design.words)
    if not text:
        return None
    width = column_width_pt(design.page_format, _COLUMNS)
    size = design.size(9.5)
    title = tune.arrangement.tune.title or tune.identity
    entry = Entry(title, tune_anchor(tune.identity), width, SERIF, size, size * 1.42)
    return Stack((entry, design.small(text, width, indent_pt=design.size(8.0))))


def source_text(tune: BookTune, words: FixedWords) -> str:
    """Composer, origin, sources, transcriber and remarks in one line; empty when none is given."""
    fields = (
        ("", "C"),
        (words.origin, "O"),
        (words.found_in, "S"),
        (words.found_in, "B"),
        (words.transcribed, "Z"),
        (words.remark, "N"),
        (words.remark, "H"),
    )
    parts = []
    for name, letter in fields:
        text = " ".join(" ".join(tune.arrangement.tune.field(letter)).split())
        if text:
            parts.append(f"{name}: {text}" if name else text)
    return SEPARATOR.join(parts)
