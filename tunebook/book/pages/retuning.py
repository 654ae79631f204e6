"""The report of a retuning, as pages of the book."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.book.content import RETUNING, tune_anchor
from tunebook.book.design import Design
from tunebook.book.layout.blocks import Flowed, Space
from tunebook.book.layout.flow import Page, Stream, flow_in_fewest
from tunebook.book.layout.tables import table_rows
from tunebook.book.musical_text import chord_text, key_name, local_names
from tunebook.model.changes import RetuneFacts, StringChange, TuneChange
from tunebook.model.words import FixedWords, ReportWords

MOST_NAMED = 5


def retune_pages(facts: RetuneFacts, design: Design) -> list[Page]:
    """Return the report: the retuning card with its caution, gains and losses, tune by tune."""
    words = design.words.report

    def streams(ease: float) -> list[Stream]:
        return [Stream(tuple(_report(facts, words, design, ease)))]

    eases = (1.0, 0.94, 0.88, 0.82)
    return flow_in_fewest(streams, design.page_format, words.retuning, eases)


def _report(facts: RetuneFacts, words: ReportWords, design: Design, ease: float) -> list[Flowed]:
    items = [
        design.page_title(words.retuning, RETUNING),
        design.body(words.from_to.format(facts.name_before, facts.name_after)),
    ]
    if facts.strings:
        items.append(design.heading(words.card))
        items += table_rows(
            words.card_columns,
            [_card_row(one, design.words) for one in facts.strings],
            (1, 3, 3, 2, 3),
            design,
            ease=ease,
        )
        items.append(design.note(words.card_text, before_pt=5.0))
        has_risk = any(one.is_risky for one in facts.strings)
        caution = f"{words.risk} {words.caution}" if has_risk else words.caution
        items.append(design.body(caution, before_pt=6.0))
    items += _gains(words.easier, facts.easier(MOST_NAMED), words, design)
    items += _gains(words.harder, facts.harder(MOST_NAMED), words, design)
    items.append(design.heading(words.per_tune))
    items += [design.note(words.tune_text), Flowed(Space(design.size(4.0)))]
    return items + _tune_table(facts.tunes, words, design, ease)


def _card_row(one: StringChange, words: FixedWords) -> tuple[str, ...]:
    return (
        str(one.index),
        f"{local_names(one.pitch_before, words)}  {words.decimal(one.hz_before)} Hz",
        f"{local_names(one.pitch_after, words)}  {words.decimal(one.hz_after)} Hz",
        _signed(one.cents) if one.cents else "0",
        (f"{_signed(one.tension_percent)} %" if one.cents else "0 %")
        + (" !" if one.is_risky else ""),
    )


def _signed(value: float) -> str:
    return f"{value:+.0f}".replace("-", "\u2212")


def _gains(
    title: str, tunes: Sequence[TuneChange], words: ReportWords, design: Design
) -> list[Flowed]:
    lines = [f"{tune.title} ({_difficulties(tune, design)})" for tune in tunes]
    return [design.heading(title), design.body(" · ".join(lines) if lines else words.none)]


def _difficulties(tune: TuneChange, design: Design) -> str:
    before, after = tune.difficulty
    return f"{design.words.decimal(before)}→{design.words.decimal(after)}"


def _tune_table(
    tunes: Sequence[TuneChange], words: ReportWords, design: Design, ease: float
) -> list[Flowed]:
    rows = [
        (
            tune.title,
            str(tune.moved_notes),
            str(tune.refingered_notes),
            _pair(tune.crossed_stops),
            _pair(tune.row_jumps),
            _pair(tune.shifts),
            str(tune.out_of_compass[1]),
            _difficulties(tune, design),
        )
        for tune in tunes
    ]
    return table_rows(
        words.tune_columns,
        rows,
        (6, 2.6, 2.3, 2.3, 2.3, 2.3, 2.3, 3),
        design,
        anchors=[tune_anchor(tune.identity) for tune in tunes],
        remarks=[_remark(tune, words, design.words) for tune in tunes],
        ease=ease,
    )


def _remark(tune: TuneChange, words: ReportWords, texts: FixedWords) -> str:
    keys = [key_name(key, texts) or local_names(key.tonic_name, texts) for key in tune.keys or ()]
    moved = [words.other_key.format(*reversed(keys))] if keys else []
    said = (
        (words.lost, [local_names(name, texts) for name in tune.lost_drones]),
        (words.gained, [local_names(name, texts) for name in tune.gained_drones]),
        (words.lost_chords, [chord_text(name, texts) for name in tune.lost_chords]),
    )
    rest = [text.format(", ".join(names)) for text, names in said if names]
    return "; ".join([*moved, *rest])


def _pair(pair: tuple[int, int]) -> str:
    return f"{pair[0]} → {pair[1]}" if pair[0] != pair[1] else str(pair[0])
