"""The colophon: the settings that made the book, so that it can be made again."""

from __future__ import annotations

from tunebook.assemble.anchors import COLOPHON
from tunebook.assemble.blocks import Beside, Flowed
from tunebook.assemble.content import BookContent
from tunebook.assemble.design import Design
from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.flow import Page, Stream, flow
from tunebook.assemble.fonts import Fonts
from tunebook.assemble.musical_text import meter_name, rhythm_name, tempo_text, tuning_text
from tunebook.model.hand import FINGER_PAIRS, Hand

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
        *content.settings,
        (words.fonts, _font_text(design.fonts, words)),
        (words.program, f"tunebook {content.program_version}, {content.engraver}"),
        (words.date, content.date),
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
