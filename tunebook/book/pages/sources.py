"""Where each tune is from and what is remarked on it, and the colophon.

In a book of fewer than LEAST_TUNES tunes only those stand among the sources of which something is
told that is not printed with the tune itself. The colophon has the settings that made the book, so
that it can be made again.
"""

from __future__ import annotations

from tunebook.book.content import COLOPHON, SOURCES, BookContent, BookTune, tune_anchor
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SERIF, Fonts
from tunebook.book.layout.blocks import ENTRY_LEADING, Beside, Entry, Flowed, Stack
from tunebook.book.layout.flow import Page, Stream, column_width_pt, flow, flow_in_fewest
from tunebook.book.musical_text import meter_name, rhythm_name, tempo_text, tuning_text
from tunebook.book.pages.tunes import LONGEST_REMARK, TOLD_WITH_TUNE, told_of
from tunebook.model.hand import FINGER_PAIRS, Hand
from tunebook.model.words import FixedWords

_COLUMNS = 2
_TOLD_OF_SOURCES = "COSBZNH"
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
    told = told_of(tune.arrangement.tune, TOLD_WITH_TUNE, design.words)
    is_long = len(told) > LONGEST_REMARK
    return not is_long and not any(tune.arrangement.tune.field(letter) for letter in "BH")


def _source(tune: BookTune, design: Design) -> Stack | None:
    """The tune's name and page over its sources in small print."""
    text = told_of(tune.arrangement.tune, _TOLD_OF_SOURCES, design.words)
    if not text:
        return None
    width = column_width_pt(design.page_format, _COLUMNS)
    size = design.entry(9.5)
    anchor = tune_anchor(tune.identity)
    entry = Entry(
        text=tune.title,
        anchor=anchor,
        width_pt=width,
        role=SERIF,
        size_pt=size,
        leading_pt=size * ENTRY_LEADING,
    )
    return Stack((entry, design.small(text, width, indent_pt=design.size(8.0))))


_TEXT_FONTS = "C059, Nimbus Sans"
_FALLBACK_FONTS = "DejaVu"


def colophon_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the colophon."""
    words = design.words
    tempi = default_tempi(content)
    items = [
        design.page_title(words.colophon_title, COLOPHON),
        design.body(words.colophon_text),
    ]
    if tempi:
        items.append(design.body(words.tempo_text, before_pt=6.0))
    left = design.size(130.0)
    for number, (name, value) in enumerate(_settings(content, tempi, design)):
        pair = (
            design.small(name, left - design.size(8.0), role="serif-bold"),
            design.small(value, design.width_pt - left),
        )
        before = design.size(14.0 if number == 0 else 4.0)
        items.append(Flowed(Beside(pair, (0.0, left)), before))
    return flow([Stream(tuple(items))], design.page_format, words.colophon_title)


def default_tempi(content: BookContent) -> str:
    """The tempi that were taken for tunes which give none, by tune type and metre; empty when
    every tune gives its own."""
    found = set()
    for tune in content.tunes:
        arrangement = tune.arrangement
        if arrangement.tempo_is_default:
            kind = (rhythm_name(arrangement.tune), meter_name(arrangement.tune.meter))
            tempo = tempo_text(arrangement).strip("()")
            found.add(" ".join(part for part in (*kind, tempo) if part))
    return "; ".join(sorted(found))


def _settings(content: BookContent, tempi: str, design: Design) -> list[tuple[str, str]]:
    words = design.words
    edition, instrument = content.edition, content.instrument
    tuned = words.tuned.format(tuning_text(instrument, words))
    facts = [
        (words.edition, words.local(edition.title or edition.name)),
        (words.instrument, f"{words.local(instrument.title)}; {tuned}"),
        (words.hand, _hand_text(content.hand, words)),
        (words.default_tempi, tempi),
        (words.paper, content.paper.upper() if content.paper in ("a4", "a5") else content.paper),
        (words.staff_size, f"{words.decimal(edition.staff_size_pt)} pt"),
        (words.fonts, _font_text(design.fonts, words)),
        (words.program, f"tunebook {content.program_version}, {content.engraver}"),
    ]
    return [(name, value) for name, value in facts if value]


def _hand_text(hand: Hand, words: FixedWords) -> str:
    """Size, spans, direction of crossed stops, barre."""
    spans = ", ".join(
        f"{lower}–{upper} {span.max_comfortable_mm:.0f}"
        for (lower, upper), span in zip(FINGER_PAIRS, hand.spans, strict=True)
    )
    parts = (
        words.local(hand.name),
        words.hand_spans.format(spans),
        words.hand_direction[int(hand.higher_finger_on_higher_string)],
        words.hand_barre[int(hand.allows_barre)],
    )
    return "; ".join(parts)


def _font_text(fonts: Fonts, words: FixedWords) -> str:
    """Fonts with their licences, as the packages state them."""
    has_own = not any(name.startswith(_FALLBACK_FONTS) for name in fonts.main_names)
    texts = [words.licences["text"].format(_TEXT_FONTS)] if has_own else []
    kind = "fallback" if has_own else "alone"
    texts.append(words.licences[kind].format(_FALLBACK_FONTS))
    return "; ".join((*texts, words.licences["music"]))
