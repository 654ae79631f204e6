"""The heading of a set: its title, its tunes in order with their keys, the changes between."""

from __future__ import annotations

from tunebook.book.content import BookSection, BookTune, tune_anchor
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF
from tunebook.book.layout.blocks import Block, Drawing, Rule, Space, Stack, paragraph, shortened
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import further_voices, key_name, retune_text, rhythm_name, stop_text
from tunebook.model.arrangement import FingeredNote
from tunebook.model.words import FixedWords

# What stands beside title and facts of a tune: number, gaps, page.
_BESIDE_PT = 88.0


def set_heading(section: BookSection, design: Design, is_short: bool = False) -> Block:
    """The block that opens a set; a short one is without the changes between the tunes."""
    size = design.size(22.0)
    width = design.width_pt
    blocks: list[Block] = [
        paragraph(
            section.title,
            design.fonts,
            width,
            role=BOLD,
            size_pt=size,
            leading_pt=size * 1.2,
            align="centre",
            kind="H",
        ),
        Space(design.size(4.0)),
        Rule(width, 0.0, 2.0, 1.2),
        Rule(width, 0.0, design.size(6.0)),
    ]
    if section.note:
        text = paragraph(
            section.note, design.fonts, width, role=ITALIC, size_pt=design.reading(10.0)
        )
        blocks += [text, Space(design.size(6.0))]
    size = min((_line_size(tune, design) for tune in section.tunes), default=design.size(10.5))
    for index, tune in enumerate(section.tunes):
        retuning = retune_text(tune.retuning, design.words)
        if retuning:
            blocks.append(_between(retuning, design, BOLD))
        blocks.append(_tune_line(index + 1, tune, size, design))
        if index + 1 < len(section.tunes) and not is_short:
            blocks.append(_change_line(section, index, design))
    blocks.append(Space(design.size(6.0)))
    return Stack(tuple(blocks))


def _facts(tune: BookTune, words: FixedWords) -> str:
    piece = tune.arrangement.tune
    facts = (
        rhythm_name(piece),
        key_name(piece.key, words),
        further_voices(piece, words),
        tune.tuning_note,
    )
    return " · ".join(fact for fact in facts if fact)


def _line_size(tune: BookTune, design: Design) -> float:
    """The largest size in which the tune's line has room."""
    text = f"{tune.title} {_facts(tune, design.words)}"
    return design.fitting(text, BOLD, 10.5, design.reading(_BESIDE_PT))


def _tune_line(number: int, tune: BookTune, size: float, design: Design) -> Block:
    text = _facts(tune, design.words)
    taken = design.reading(_BESIDE_PT) + design.fonts.width(text, SERIF, size * 0.92)
    title = shortened(tune.title, design.fonts, BOLD, size, design.width_pt - taken)

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        base = top_pt + size * 1.05
        start = left_pt + design.size(20.0)
        anchor = tune_anchor(tune.identity)
        right = left_pt + design.width_pt
        label = f"{design.words.page} {sheet.label_of(anchor)}"
        box = (left_pt, top_pt, design.width_pt, size * 1.4)
        with sheet.tagged("P"), sheet.linked(anchor, *box, tune.title):
            sheet.text(
                left_pt + design.size(12.0),
                base,
                str(number),
                BOLD,
                size,
                align="right",
                goes_on=True,
            )
            start += sheet.text(start, base, title, BOLD, size, goes_on=True)
            sheet.text(start + design.size(10.0), base, text, SERIF, size * 0.92, goes_on=True)
            sheet.text(right, base, label, SERIF, size * 0.92, align="right", grey=GREY)

    return Drawing(size * 1.45, paint)


def _change_line(section: BookSection, index: int, design: Design) -> Block:
    text = change_text(section.tunes[index], section.tunes[index + 1], design)
    return _between(f"→ {text}", design, ITALIC)


def _between(text: str, design: Design, role: str) -> Block:
    """A line between two tunes of the set."""
    size = design.reading(9.0)
    return paragraph(
        text,
        design.fonts,
        design.width_pt,
        role=role,
        size_pt=size,
        leading_pt=size * 1.45,
        grey=GREY if role == ITALIC else 0.0,
        indent_pt=design.size(20.0),
    )


def change_text(before: BookTune, after: BookTune, design: Design) -> str:
    """What the hands find between two tunes: keys, last and first note, drones."""
    words = design.words
    first, second = before.arrangement.tune.key, after.arrangement.tune.key
    parts = []
    if first == second:
        parts.append(words.same_key)
    elif key_name(first, words) and key_name(second, words):
        parts.append(words.key_change.format(key_name(first, words), key_name(second, words)))
    last, next_note = _last_note(before), _first_note(after)
    if last is not None and next_note is not None:
        parts.append(_place_text(last, before, words.ends_on, design))
        parts.append(_place_text(next_note, after, words.begins_on, design))
    return "; ".join(parts)


def _place_text(note: FingeredNote, tune: BookTune, sentence: str, design: Design) -> str:
    stop = note.stops[-1]
    return sentence.format(stop_text(stop, tune.arrangement.instrument, design.words))


def _last_note(tune: BookTune) -> FingeredNote | None:
    """The last note as the tune is played: that of the last bar played that has one."""
    for bar_index in reversed(tune.arrangement.tune.played):
        notes = [n for n in _printed_notes(tune) if n.bar_index == bar_index and n.stops]
        if notes:
            return notes[-1]
    return None


def _first_note(tune: BookTune) -> FingeredNote | None:
    return next((n for n in _printed_notes(tune) if n.stops and not n.note.is_grace), None)


def _printed_notes(tune: BookTune) -> tuple[FingeredNote, ...]:
    """The melody's notes; those of the accompaniment where the melody is but a cue."""
    return tune.arrangement.accompaniment or tune.arrangement.notes
