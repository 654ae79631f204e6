"""Ask a player: passages in two or three ways, as pages to read and as ABC to mark, which learning
reads back.

In the ABC each question is a short tune. Its head holds the ways as remarks, ``r:way A 3:2 4:0``
(string and finger of each note), and the remark ``r:answer``, after which she writes a letter;
fingers over the notes count instead where she writes some.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tunebook.engrave.program import find_lilypond
from tunebook.errors import InputError, Message, OutputError, SourcePlace
from tunebook.files import check_writable, write_whole
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.model.words import words_for
from tunebook.pipeline.load import Progress, Setup, no_progress
from tunebook.pipeline.passages import Compared, columns_of, engraved, title_of
from tunebook.pipeline.questions import answered_way, struck_notes
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.ask import Question, questions
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Mark
from tunebook.solve.learning.study import World
from tunebook.store import default_store
from tunebook.work_folder import work_folder
from tunebook.write.passage_abc import passage_as_abc

LETTERS = "ABC"
_ANSWERED = re.compile(r"^r:\s*answer[^\S\n]*\S|![0-5]!", re.M | re.I)


@dataclass(frozen=True, slots=True)
class AskReport:
    """How many passages are asked about, of how many that were wanted, and where the pages and the
    ABC are."""

    count: int
    wanted: int
    pages: Path
    music: Path


def ask(
    setup: Setup,
    world: World,
    sheets: list[Sheet],
    count: int,
    output: Path,
    jobs: int | None = None,
    on_progress: Progress = no_progress,
) -> AskReport:
    """Write ``count`` questions to the PDF ``output`` and to an ABC file beside it.

    Raises InputError when there is nothing to ask, OutputError for what cannot be written,
    ProgramError when there is no program to engrave.
    """
    music = output.with_suffix(".abc")
    if output.suffix.lower() != ".pdf":
        place = SourcePlace(str(output))
        raise OutputError("is no name of pages of questions", "give one that ends in .pdf", place)
    for path in (output, music):
        check_writable(path, setup.read)
    _check_unanswered(music)
    find_lilypond()  # or it is missed when all is solved
    on_progress("asking", "", 0, 2)
    found = questions(world, sheets, count)
    on_progress("asking", "", 1, 2)
    if not found:
        what = "there is no passage of which a fingering would say more"
        raise InputError(what, "add tunes", SourcePlace(str(setup.folder)))
    by_name = {sheet.name: sheet for sheet in sheets}
    asked = [(by_name[one.name], one) for one in found]
    _write_pages(setup, asked, output, jobs)
    write_whole(music, _as_abc(setup, asked).encode(), read=setup.read)
    on_progress("asking", "", 2, 2)
    return AskReport(len(found), count, output, music)


def _check_unanswered(music: Path) -> None:
    """Raise OutputError where answers would be written over."""
    with suppress(FileNotFoundError):
        if _ANSWERED.search(music.read_text("utf-8", errors="replace")):
            remedy = "put it among your tunes, or give another name"
            raise OutputError("it holds answers", remedy, SourcePlace(str(music)))


def _title(setup: Setup, number: int, sheet: Sheet, one: Question) -> str:
    text = words_for(setup.book, setup.instrument).learning.question
    return text.format(number, title_of(setup, sheet.tune, (one.first, one.last)))


def _write_pages(
    setup: Setup, asked: list[tuple[Sheet, Question]], output: Path, jobs: int | None
) -> None:
    from tunebook.book.pages.questions import write_questions

    passages = [
        Compared(
            sheet=sheet,
            bars=(one.first, one.last),
            title=_title(setup, number, sheet, one),
            ways=tuple(zip(LETTERS, one.ways, strict=False)),
        )
        for number, (sheet, one) in enumerate(asked, start=1)
    ]
    store = default_store()
    with work_folder() as work:
        sections = engraved(passages, setup, work, store, jobs)
        write_questions(sections, columns_of(setup), setup.book, output, store, setup.read)


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


def answered_marks(tune: Tune, instrument: Instrument) -> tuple[tuple[Mark, ...], list[Message]]:
    """The marks that an answer in the tune's head stands for, and what is said of one that cannot
    be read; none where the tune is no question, or not yet answered."""
    way, message = answered_way(tune)
    marks = []
    for ref, stop in zip(struck_notes(tune), way, strict=bool(way)):
        string, finger = (int(part) for part in stop.split(":"))
        if 1 <= string <= len(instrument.strings):
            marks.append(Mark(NoteRef(*ref), (finger,), string))
    return tuple(marks), [] if message is None else [message]
