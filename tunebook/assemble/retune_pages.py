"""The report of a retuning, as pages of the book."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.assemble.anchors import RETUNING, tune_anchor
from tunebook.assemble.blocks import Flowed
from tunebook.assemble.design import Design
from tunebook.assemble.flow import Page, Stream, flow
from tunebook.assemble.report_words import ReportWords, report_words
from tunebook.assemble.tables import table_rows
from tunebook.model.changes import RetuneFacts, StringChange, TuneChange

MOST_NAMED = 5


def retune_pages(facts: RetuneFacts, design: Design) -> list[Page]:
    """Return the report: the retuning card with its caution, gains and losses, tune by tune."""
    words = report_words(design.words.language)
    items = [
        design.page_title(words.retuning, RETUNING),
        design.body(words.from_to.format(facts.name_before, facts.name_after)),
    ]
    if facts.strings:
        items.append(design.heading(words.card))
        items += table_rows(
            words.card_columns, [_card_row(one) for one in facts.strings], (1, 3, 3, 2, 3), design
        )
        items.append(design.note(words.card_text, before_pt=5.0))
        items.append(design.body(words.caution, before_pt=6.0))
    items += _gains(words.easier, facts.easier(MOST_NAMED), words, design)
    items += _gains(words.harder, facts.harder(MOST_NAMED), words, design)
    items.append(design.heading(words.per_tune))
    items.append(design.note(words.tune_text))
    items += _tune_table(facts.tunes, words, design)
    return flow([Stream(tuple(items))], design.page_format, words.retuning)


def _card_row(one: StringChange) -> tuple[str, ...]:
    return (
        str(one.index),
        f"{one.pitch_before}  {one.hz_before:.1f} Hz",
        f"{one.pitch_after}  {one.hz_after:.1f} Hz",
        f"{one.cents:+.0f}" if one.cents else "0",
        (f"{one.tension_percent:+.0f} %" if one.cents else "0 %") + (" !" if one.is_risky else ""),
    )


def _gains(
    title: str, tunes: Sequence[TuneChange], words: ReportWords, design: Design
) -> list[Flowed]:
    lines = [
        f"{tune.title} ({tune.difficulty[0]:.1f} → {tune.difficulty[1]:.1f})" for tune in tunes
    ]
    return [design.heading(title), design.body(" · ".join(lines) if lines else words.none)]


def _tune_table(tunes: Sequence[TuneChange], words: ReportWords, design: Design) -> list[Flowed]:
    rows = [
        (
            tune.title,
            str(tune.moved_notes),
            str(tune.refingered_notes),
            _pair(tune.crossed_stops),
            _pair(tune.row_jumps),
            _pair(tune.shifts),
            str(tune.out_of_compass[1]),
            f"{tune.difficulty[0]:.1f} → {tune.difficulty[1]:.1f}",
        )
        for tune in tunes
    ]
    anchors = [tune_anchor(tune.identity) for tune in tunes]
    head, *body = table_rows(
        words.tune_columns, rows, (6, 2.6, 2.3, 2.3, 2.3, 2.3, 2.3, 3), design, anchors=anchors
    )
    made = [head]
    for row, tune in zip(body, tunes, strict=True):
        made.append(row)
        remark = _remark(tune, words)
        if remark:
            made[-1] = Flowed(row.block, row.before_pt, keeps_with_next=True)
            made.append(Flowed(design.small(remark, design.width_pt, indent_pt=10.0)))
    return made


def _remark(tune: TuneChange, words: ReportWords) -> str:
    lost = ", ".join((*tune.lost_drones, *tune.lost_chords))
    parts = [words.lost.format(lost)] if lost else []
    if tune.gained_drones:
        parts.append(words.gained.format(", ".join(tune.gained_drones)))
    return "; ".join(parts)


def _pair(pair: tuple[int, int]) -> str:
    return f"{pair[0]} → {pair[1]}" if pair[0] != pair[1] else str(pair[0])
