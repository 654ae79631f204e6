"""The difficulty ladder: the tunes from easy to hard, each with its reason."""

from __future__ import annotations

from tunebook.assemble.anchors import LADDER, tune_anchor
from tunebook.assemble.blocks import Beside, Entry, Flowed, Lines, Space, Stack
from tunebook.assemble.content import BookContent, BookTune
from tunebook.assemble.design import Design
from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.flow import Page, Stream, column_width_pt, flow_in_fewest
from tunebook.assemble.fonts import SERIF
from tunebook.assemble.musical_text import note_name, pitch_name, tempo_text

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
    heading = (
        design.page_title(words.ladder_title, LADDER),
        design.body(words.ladder_text),
        Flowed(Space(design.size(6.0))),
    )
    size = design.size(10.5 if columns == 1 else 9.5)
    numbers_pt = design.fonts.width(f"{len(ranked)}.", SERIF, size)
    rungs = [
        _rung(f"{number}.", tune, design, width, size, numbers_pt)
        for number, tune in enumerate(ranked, 1)
    ]

    def streams(ease: float) -> list[Stream]:
        items = tuple(Flowed(rung, design.size(6.0) * ease) for rung in rungs)
        return [Stream(items, columns, heading=heading)]

    return flow_in_fewest(streams, design.page_format, words.ladder_title, (1.0, 0.8, 0.6, 0.4))


def _rung(
    number: str, tune: BookTune, design: Design, width: float, size: float, numbers_pt: float
) -> Stack:
    """Number, title, difficulty and page of one tune, the reason below."""
    indent = numbers_pt + design.size(5.0)
    entry = Entry(
        tune.arrangement.tune.title or tune.identity,
        tune_anchor(tune.identity),
        width,
        SERIF,
        size,
        size * 1.42,
        indent_pt=indent,
        middle=design.words.decimal(tune.arrangement.difficulty),
    )
    place = Lines((number,), SERIF, size, size * 1.42, numbers_pt, "right")
    reason = tune.difficulty_reason or facts_of(tune, design.words)
    return Stack(
        (Beside((place, entry), (0.0, 0.0)), design.small(reason, width, indent_pt=indent))
    )


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
            tempo_text(tune.arrangement),
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
    is_keyed = tune.arrangement.instrument.kind == "keyed"
    place = str(highest.key) if is_keyed else pitch_name(highest.midi, words)
    return words.reason_highest.format(place, note_name(string.open_midi, words))
