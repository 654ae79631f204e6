"""Ask a player: passages in two or three ways, as pages to read and as ABC to mark, which learning
reads back.

In the ABC each question is a short tune. Its head holds the ways as remarks, ``r:way A 3:2 4:0``
(string and finger of each note), and the remark ``r:answer``, after which she writes a letter;
fingers over the notes count instead where she writes some.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from tunebook.book.content import PracticePiece, PracticeSection
from tunebook.errors import InputError, Message, OutputError, SourcePlace
from tunebook.files import check_writable, write_whole
from tunebook.model.arrangement import Stop
from tunebook.model.instrument import Instrument
from tunebook.model.piece import Piece
from tunebook.model.spelling import with_signs
from tunebook.model.tune import Bar, Note, Tempo, Tune
from tunebook.model.words import words_for
from tunebook.pipeline.exercises import piece_of_exercise
from tunebook.pipeline.load import Progress, Setup, no_progress
from tunebook.pipeline.sources import line_width_pt
from tunebook.pipeline.workers import count_of_jobs
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.ask import Form, Question, questions
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Mark
from tunebook.solve.learning.study import World
from tunebook.store import default_store
from tunebook.work_folder import work_folder
from tunebook.write.passage_abc import passage_as_abc

LETTERS = "ABC"
_WAY = re.compile(r"way\s+([A-C])((?:\s+\d:[0-4])+)\s*", re.ASCII)
_ANSWER = re.compile(r"answer\b\s*(.*)", re.I)


@dataclass(frozen=True, slots=True)
class AskReport:
    """How many passages are asked about, and where the pages and the ABC are."""

    count: int
    pages: Path
    music: Path


def ask(
    setup: Setup,
    world: World,
    sheets: list[Sheet],
    count: int,
    output: Path,
    on_progress: Progress = no_progress,
) -> AskReport:
    """Write ``count`` questions to the PDF ``output`` and to an ABC file beside it.

    Raises InputError when there is nothing to ask, OutputError for what cannot be written.
    """
    music = output.with_suffix(".abc")
    if music == output:
        place = SourcePlace(str(output))
        raise OutputError("is the name of the pages", "give a name that ends in .pdf", place)
    for path in (output, music):
        check_writable(path, setup.read)
    on_progress("asking", "", 0, 2)
    found = questions(world, sheets, count)
    on_progress("asking", "", 1, 2)
    if not found:
        what = "there is no passage of which a fingering would say more"
        raise InputError(what, "add tunes", SourcePlace(str(setup.folder)))
    by_name = {sheet.name: sheet for sheet in sheets}
    asked = [(by_name[one.name], one) for one in found]
    _write_pages(setup, asked, output)
    write_whole(music, _as_abc(setup, asked).encode(), read=setup.read)
    on_progress("asking", "", 2, 2)
    return AskReport(len(found), output, music)


def _title(setup: Setup, number: int, sheet: Sheet, one: Question) -> str:
    words = words_for(setup.book, setup.instrument)
    bars = [sheet.tune.bars[at].number for at in (one.first, one.last)]
    text = words.notes["bars"].format(f"{bars[0]}\N{EN DASH}{bars[1]}")
    if bars[0] == bars[1] or not bars[0]:
        text = words.notes["bar"].format(bars[1])
    return words.learning.question.format(number, sheet.tune.title, text)


def _write_pages(setup: Setup, asked: list[tuple[Sheet, Question]], output: Path) -> None:
    from tunebook.book.pages.questions import write_questions
    from tunebook.engrave.engrave import engrave

    pieces: dict[str, Piece] = {}
    for number, (sheet, one) in enumerate(asked):
        for letter, way in zip(LETTERS, one.ways, strict=False):
            tune = _passage(sheet, one, way)
            piece = piece_of_exercise(tune, setup, line_width_pt(setup))
            if piece is not None:
                pieces[f"question:{number}:{letter}"] = piece
    store = default_store()
    with work_folder() as work:
        made, _ = engrave(pieces, jobs=count_of_jobs(None), store=store, work_folder=work)
        engraved = {piece.identity: piece for piece in made}
        sections = [
            PracticeSection(
                _title(setup, number + 1, sheet, one),
                tuple(
                    PracticePiece(letter, engraved[name])
                    for letter in LETTERS
                    if (name := f"question:{number}:{letter}") in engraved
                ),
            )
            for number, (sheet, one) in enumerate(asked)
        ]
        write_questions(sections, setup.book, output, store, setup.read)


def _passage(sheet: Sheet, one: Question, way: Form) -> Tune:
    """The passage as a tune of its own, fingered in this way."""
    stops = dict(way)
    bars = [
        _alone(bar, tuple(_pinned(note, stops.get(NoteRef(bar.index, at)))
                          for at, note in enumerate(bar.notes)))
        for bar in sheet.tune.bars[one.first : one.last + 1]
    ]  # fmt: skip
    start = bars[0].onset
    settled = [
        replace(
            bar,
            index=index,
            onset=bar.onset - start,
            notes=tuple(replace(note, onset=note.onset - start) for note in bar.notes),
        )
        for index, bar in enumerate(bars)
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
        finger_pins=(), string_pin=None,
    )  # fmt: skip
    if stops is None:
        return bare
    return replace(
        bare,
        finger_pins=tuple(stop.finger for stop in stops),
        string_pin=str(stops[0].string_index),
    )


def _as_abc(setup: Setup, asked: list[tuple[Sheet, Question]]) -> str:
    words = words_for(setup.book, setup.instrument).learning
    tunes = [
        passage_as_abc(
            number,
            _title(setup, number, sheet, one),
            sheet.tune.bars[one.first : one.last + 1],
            240.0 * sheet.speed,
            [*_ways(one), "answer "],
        )
        for number, (sheet, one) in enumerate(asked, start=1)
    ]
    head = "\n".join(f"% {line}" for line in re.findall(r".{1,90}(?:\s|$)", words.ask_text))
    return "\n".join(["%abc-2.1", head, "", *tunes])


def _ways(one: Question) -> Iterator[str]:
    for letter, way in zip(LETTERS, one.ways, strict=False):
        stops = (stops[0] for _, stops in way)
        yield f"way {letter} " + " ".join(f"{stop.string_index}:{stop.finger}" for stop in stops)


def is_question(tune: Tune) -> bool:
    """Whether the tune was written by :func:`ask`."""
    return any(_WAY.fullmatch(text.strip()) for text in tune.field("r"))


def answered_marks(tune: Tune, instrument: Instrument) -> tuple[tuple[Mark, ...], list[Message]]:
    """The marks that an answer in the tune's head stands for, and what is said of one that cannot
    be read; none where the tune is no question, or not yet answered."""
    remarks = [text.strip() for text in tune.field("r")]
    ways = {match[1]: match[2].split() for text in remarks if (match := _WAY.fullmatch(text))}
    answers = [match[1].strip() for text in remarks if (match := _ANSWER.fullmatch(text))]
    answer = answers[0].upper() if answers and ways else ""
    if not answer:
        return (), []
    refs = [
        NoteRef(bar.index, at)
        for bar in tune.bars
        for at, note in enumerate(bar.notes)
        if not (
            note.is_rest
            or note.is_grace
            or (note.is_tied_from_before and all(note.is_tied_from_before))
        )
    ]
    if len(ways.get(answer, ())) != len(refs):
        what = f"answer {answer!r} to {tune.title!r} is none of its ways"
        remedy = f"write one of {', '.join(ways)} after r:answer"
        return (), [Message(tune.place, "answer", what, remedy)]
    marks = []
    for ref, way in zip(refs, ways[answer], strict=True):
        string, finger = (int(part) for part in way.split(":"))
        if 1 <= string <= len(instrument.strings):
            marks.append(Mark(ref, (finger,), string))
    return tuple(marks), []
