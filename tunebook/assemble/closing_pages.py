"""The last pages: sources of the tunes, and the colophon with the settings that made the book."""

from __future__ import annotations

from tunebook.assemble.anchors import COLOPHON, SOURCES, tune_anchor
from tunebook.assemble.blocks import Beside, Entry, Flowed, Stack
from tunebook.assemble.content import BookContent, BookTune
from tunebook.assemble.design import Design
from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.flow import Page, Stream, column_width_pt, flow
from tunebook.assemble.fonts import SERIF
from tunebook.assemble.musical_text import tuning_text
from tunebook.model.hand import Hand

# Licences as the packages state them.
_LILYPOND_FONTS = "C059, Nimbus Sans (GNU AGPL 3 with an exception for embedding in documents)"
_FALLBACK_FONTS = "DejaVu (free to embed)"
_COLUMNS = 2


def source_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the sources of all tunes; none when the edition leaves them out or none is given."""
    if not content.edition.shows_sources:
        return []
    width = column_width_pt(design.page_format, _COLUMNS)
    items = [item for tune in content.tunes for item in _source(tune, design, width)]
    if not items:
        return []
    title = design.words.sources_title
    heading = (design.page_title(title, SOURCES),)
    stream = Stream(tuple(items), _COLUMNS, heading=heading)
    return flow([stream], design.page_format, title)


def _source(tune: BookTune, design: Design, width: float) -> list[Flowed]:
    lines = _source_lines(tune, design.words)
    if not lines:
        return []
    size = design.size(9.5)
    title = tune.arrangement.tune.title or tune.identity
    entry = Entry(title, tune_anchor(tune.identity), width, SERIF, size, size * 1.42)
    small = [design.small(line, width, indent_pt=design.size(8.0)) for line in lines]
    return [Flowed(Stack((entry, *small)), design.size(6.0))]


def _source_lines(tune: BookTune, words: FixedWords) -> list[str]:
    fields = (
        ("", "C"),
        (words.origin, "O"),
        (words.found_in, "S"),
        (words.found_in, "B"),
        (words.transcribed, "Z"),
        (words.remark, "N"),
        (words.remark, "H"),
    )
    return [
        f"{name}: {' '.join(text.split())}" if name else " ".join(text.split())
        for name, letter in fields
        for text in tune.arrangement.tune.field(letter)
        if text.strip()
    ]


def colophon_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the colophon."""
    words = design.words
    items = [
        design.page_title(words.colophon_title, COLOPHON),
        design.body(words.colophon_text),
        design.body(words.tempo_text, before_pt=6.0),
    ]
    left = design.size(110.0)
    for number, (name, value) in enumerate(_settings(content, design)):
        pair = (
            design.small(name, left, role="serif-bold"),
            design.small(value, design.width_pt - left),
        )
        before = design.size(14.0 if number == 0 else 3.0)
        items.append(Flowed(Beside(pair, (0.0, left)), before))
    return flow([Stream(tuple(items))], design.page_format, words.colophon_title)


def _settings(content: BookContent, design: Design) -> list[tuple[str, str]]:
    words = design.words
    edition, instrument = content.edition, content.instrument
    tuned = words.tuned.format(tuning_text(instrument))
    facts = [
        (words.edition, words.local(edition.title or edition.name)),
        (words.instrument, f"{words.local(instrument.title)}; {tuned}"),
        (words.hand, _hand_text(content.hand, words)),
        (words.paper, content.paper.upper() if content.paper in ("a4", "a5") else content.paper),
        (words.staff_size, f"{edition.staff_size_pt:g} pt"),
        *content.settings,
        (words.fonts, words.fonts_text.format(_font_text(design))),
        (words.program, f"tunebook {content.program_version}, LilyPond".strip()),
    ]
    if content.date:
        facts.append((words.date, content.date))
    return [(name, value) for name, value in facts if value]


def _hand_text(hand: Hand, words: FixedWords) -> str:
    direction = words.hand_direction[int(hand.higher_finger_on_higher_string)]
    barre = words.hand_barre[int(hand.allows_barre)]
    return f"{words.local(hand.name)}; {direction}; {barre}"


def _font_text(design: Design) -> str:
    has_fallback = any(name.startswith("DejaVu") for name in design.fonts.main_names)
    return _FALLBACK_FONTS if has_fallback else f"{_LILYPOND_FONTS}, {_FALLBACK_FONTS}"
