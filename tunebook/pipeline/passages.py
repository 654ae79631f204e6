"""Passages of a tune, each in several ways to finger it, engraved to be compared: what is the same
in all of them stands in grey."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tunebook.book.content import PracticePiece, PracticeSection
from tunebook.book.layout.flow import column_width_pt
from tunebook.book.layout.paper import page_format
from tunebook.book.pages.passages import LETTER_PT
from tunebook.model.arrangement import Stop
from tunebook.model.piece import Piece
from tunebook.model.spelling import with_signs
from tunebook.model.tune import Bar, Note, Tempo, Tune
from tunebook.model.words import words_for
from tunebook.pipeline.exercises import piece_of_exercise
from tunebook.pipeline.load import Setup
from tunebook.pipeline.questions import is_question
from tunebook.pipeline.workers import count_of_jobs
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.passages import Form
from tunebook.store import Store

NARROW = 22.0
"""Pages that are narrower than so many staffs are high have one column."""


@dataclass(frozen=True, slots=True)
class Compared:
    """A passage to show: its sheet, the indices of its first and last bar, its heading, and the
    ways by their labels."""

    sheet: Sheet
    bars: tuple[int, int]
    title: str
    ways: tuple[tuple[str, Form], ...]


def title_of(setup: Setup, tune: Tune, bars: tuple[int, int]) -> str:
    """The tune's title and the numbers of the bars, in the words of the book."""
    if is_question(tune):
        return tune.title  # which says it all
    words = words_for(setup.book, setup.instrument)
    first, last = (tune.bars[at].number for at in bars)
    if not last:
        return f"{tune.title}, {words.notes['upbeat']}"
    text = words.notes["bar"].format(last)
    if 0 < first < last:
        text = words.notes["bars"].format(f"{first}\N{EN DASH}{last}")
    return f"{tune.title}, {text if first else words.practice['with_upbeat'].format(text)}"


def columns_of(setup: Setup) -> int:
    """How many columns of passages stand on a page."""
    width_pt = page_format(setup.book.paper).text_width_pt
    return 2 if width_pt >= NARROW * setup.edition.staff_size_pt else 1


def engraved(
    passages: Sequence[Compared], setup: Setup, work: Path, store: Store, jobs: int | None
) -> list[PracticeSection]:
    """Each passage as a section whose pieces are its ways; a way that cannot be engraved is not
    there. Raises ProgramError when there is no program to engrave."""
    from tunebook.engrave.engrave import engrave

    book = page_format(setup.book.paper)
    width = column_width_pt(book, columns_of(setup)) - LETTER_PT
    pieces: dict[str, Piece] = {}
    for number, one in enumerate(passages):
        pale = _alike(one)
        for label, way in one.ways:
            tune = passage_of(one.sheet, one.bars, dict(way))
            piece = piece_of_exercise(tune, setup, width, pale=pale, is_dense=True)
            if piece is not None:
                pieces[f"passage:{number}:{label}"] = piece
    made, _ = engrave(pieces, jobs=count_of_jobs(jobs), store=store, work_folder=work)
    found = {piece.identity: piece for piece in made}
    return [
        PracticeSection(
            one.title,
            tuple(
                PracticePiece(label, found[name])
                for label, _ in one.ways
                if (name := f"passage:{number}:{label}") in found
            ),
        )
        for number, one in enumerate(passages)
    ]


def _alike(one: Compared) -> frozenset[tuple[int, int]]:
    """The notes (bar of the passage, note) that all ways finger alike."""
    ways = [dict(way) for _, way in one.ways]
    refs = {ref for ref in ways[0] if len({way.get(ref) for way in ways}) == 1}
    return frozenset((ref.bar - one.bars[0], ref.note) for ref in refs)


def passage_of(
    sheet: Sheet, bars: tuple[int, int], stops: Mapping[NoteRef, tuple[Stop, ...]]
) -> Tune:
    """The bars as a tune of its own, fingered in this way; a note without ``stops`` keeps its own
    marks."""
    chosen = [
        _alone(bar, tuple(_pinned(note, stops.get(NoteRef(bar.index, at)))
                          for at, note in enumerate(bar.notes)))
        for bar in sheet.tune.bars[bars[0] : bars[1] + 1]
    ]  # fmt: skip
    start = chosen[0].onset
    settled = [
        replace(
            bar,
            index=index,
            onset=bar.onset - start,
            notes=tuple(replace(note, onset=note.onset - start) for note in bar.notes),
        )
        for index, bar in enumerate(chosen)
    ]
    numbered = with_signs(settled)
    return replace(
        sheet.tune,
        meter=numbered[0].meter,
        key=numbered[0].key,
        tempo=Tempo(per_minute=round(240.0 * sheet.speed)),
        bars=numbered,
        played=tuple(range(len(numbered))),
        words=(),
        texts=(),
        closing_texts=(),
        part_order="",
        voices=(),
        messages=(),
    )


def _alone(bar: Bar, notes: tuple[Note, ...]) -> Bar:
    """The bar without what belongs to the bars around it."""
    return replace(
        bar, notes=notes, sign_before="", sign_after="|", ending=(), ends_ending=False,
        part="", tempo=None, decorations=(), annotations=(), breaks_line_after=False,
    )  # fmt: skip


def _pinned(note: Note, stops: tuple[Stop, ...] | None) -> Note:
    bare = replace(
        note, chord=None, later_chords=(), annotations=(), syllables=(), drone_pin=None,
        accent_pin=None, remark="",
    )  # fmt: skip
    if stops is None:
        return bare
    return replace(
        bare,
        finger_pins=tuple(stop.finger for stop in stops),
        string_pin=str(stops[0].string_index),
    )
