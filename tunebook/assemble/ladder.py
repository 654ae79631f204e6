"""The difficulty ladder: the tunes from easy to hard, each with its reason."""

from __future__ import annotations

from tunebook.assemble.anchors import LADDER, tune_anchor
from tunebook.assemble.blocks import Entry, Flowed
from tunebook.assemble.content import BookContent, BookTune
from tunebook.assemble.design import Design
from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.flow import Page, Stream, column_width_pt, flow
from tunebook.assemble.fonts import SERIF
from tunebook.assemble.musical_text import note_name

LEAST_TUNES = 3
MOST_IN_ONE_COLUMN = 30
FIRST_POSITION_KEY = 7


def ladder_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the ladder; none for a book of fewer than LEAST_TUNES tunes."""
    if len(content.tunes) < LEAST_TUNES:
        return []
    words = design.words
    columns = 1 if len(content.tunes) <= MOST_IN_ONE_COLUMN else 2
    width = column_width_pt(design.page_format, columns)
    ranked = sorted(content.tunes, key=lambda tune: (tune.arrangement.difficulty, tune.identity))
    heading = (design.page_title(words.ladder_title, LADDER), design.body(words.ladder_text))
    items: list[Flowed] = []
    size = design.size(10.5 if columns == 1 else 9.5)
    for number, tune in enumerate(ranked):
        title = tune.arrangement.tune.title or tune.identity
        entry = Entry(
            f"{number + 1}.  {title}",
            tune_anchor(tune.identity),
            width,
            SERIF,
            size,
            size * 1.42,
            middle=f"{tune.arrangement.difficulty:.1f}",
        )
        reason = tune.difficulty_reason or facts_of(tune, words)
        items.append(Flowed(entry, design.size(5.0), keeps_with_next=True))
        items.append(Flowed(design.small(reason, width, indent_pt=design.size(18.0))))
    stream = Stream(tuple(items), columns, heading=heading)
    return flow([stream], design.page_format, words.ladder_title)


def facts_of(tune: BookTune, words: FixedWords) -> str:
    """Return what makes the tune easy or hard, in a few words."""
    notes = tune.arrangement.notes
    counts = {
        way: sum(way in one.ways for one in notes)
        for way in ("shift", "crossed", "row_jump", "barre")
    }
    facts = [
        text
        for text in (
            _counted(counts["shift"], words.reason_shifts),
            _counted(counts["crossed"], words.reason_crossed),
            _counted(counts["row_jump"], words.reason_jumps),
            words.reason_barre if counts["barre"] else "",
            _highest(tune, words),
            words.reason_held if any(one.stop.key for one in tune.arrangement.drone) else "",
        )
        if text
    ]
    return ", ".join(facts)


def _counted(count: int, forms: tuple[str, str]) -> str:
    return forms[0 if count == 1 else 1].format(count) if count else ""


def _highest(tune: BookTune, words: FixedWords) -> str:
    stops = [stop for one in tune.arrangement.notes for stop in one.stops]
    if not stops:
        return ""
    highest = max(stops, key=lambda stop: (stop.key, stop.string_index))
    if highest.key <= FIRST_POSITION_KEY:
        return words.reason_first
    string = tune.arrangement.instrument.string(highest.string_index)
    return words.reason_highest.format(highest.key, note_name(string.open_midi))
