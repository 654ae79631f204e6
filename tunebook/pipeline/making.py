"""Make the book: read, order, solve and write, engrave, assemble. Keeps going past a bad tune.

The files in which --keep-source keeps what was engraved: each piece's name says what it is.

``polskor-1.ly`` is a tune, ``polskor-1-opening.ly`` its opening, ``polskor-1-bars-5-6.ly`` an
exercise, ``polskor-1-chord-changes.ly`` its drill of chords, ``warm-up-held-drone-A.ly`` a warm-up
and ``sign-finger.ly`` an example of the page of signs.

Make the book: read, order, solve and write, engrave, assemble. Keeps going past a bad tune.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

from tunebook import __version__
from tunebook.book.book import assemble_book, get_ready
from tunebook.book.content import BookContent, BookSection, BookTune
from tunebook.book.musical_text import local_names
from tunebook.engrave.engrave import engrave
from tunebook.engrave.program import find_lilypond
from tunebook.errors import Message, SourcePlace
from tunebook.files import check_writable, write_whole
from tunebook.model.arrangement import Arrangement
from tunebook.model.book import BuildReport
from tunebook.model.changes import RetuneFacts
from tunebook.model.piece import EngravedPiece, EngravingFailure
from tunebook.model.tune import Tune
from tunebook.model.words import FixedWords, words_for
from tunebook.pipeline.cores import count_of_jobs
from tunebook.pipeline.load import (
    BuildOrder,
    Progress,
    Section,
    Setup,
    no_progress,
    order_tunes,
    read_tunes,
    unique_identities,
)
from tunebook.pipeline.messages import gather_messages, messages_of, nothing_to_do
from tunebook.pipeline.pieces import IDENTITY, Extras, make_extras, place_extras
from tunebook.pipeline.sources import TuneSource, write_sources
from tunebook.solve.retuning import find_string_changes
from tunebook.store import default_cache_folder
from tunebook.work_folder import work_folder
from tunebook.write.file_names import distinct_names, safe_stem, tune_file_names
from tunebook.write.lilypond.leaves import check_abjad
from tunebook.write.lilypond.source import split_opening

_ENDING = ".ly"


def kept_sources(sources: tuple[TuneSource, ...], extras: Extras, folder: Path) -> dict[Path, str]:
    """Return the source of every piece by its file. Tunes are named first, as export names them."""
    made: list[tuple[str, Tune, str]] = [
        (one.identity, one.outcome.tune, one.text)
        for one in sources
        if one.text and one.outcome.tune
    ]
    names = tune_file_names([tune for _, tune, _ in made], _ENDING.removeprefix("."))
    stems = {
        identity: name.removesuffix(_ENDING)
        for name, (identity, _, _) in zip(names, made, strict=True)
    }
    texts: list[tuple[str, str]] = []
    openings: list[tuple[str, str]] = []
    for identity, _, text in made:
        tune_text, opening = split_opening(text)
        texts.append((stems[identity], tune_text))
        if opening:
            openings.append((f"{stems[identity]}-opening", opening))
    texts += openings
    for one in extras.exercises:
        before = f"{stems[one.tune_identity]}-" if one.tune_identity in stems else ""
        texts.append((before + safe_stem(one.kind), one.source))
    texts += [
        (f"sign-{safe_stem(name.removeprefix(IDENTITY))}", text)
        for name, text in extras.sources.items()
        if name.startswith(IDENTITY)
    ]
    paths = distinct_names(stem + _ENDING for stem, _ in texts)
    return {folder / path: text for path, (_, text) in zip(paths, texts, strict=True)}


@dataclass
class _Clock:
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start


def make_book(
    setup: Setup,
    order: BuildOrder,
    output: Path,
    on_progress: Progress | None = None,
    before: Setup | None = None,
) -> BuildReport:
    """Make the book, whatever was made before. Raises as build_book does."""
    on_progress = on_progress or no_progress
    find_lilypond()  # Without it nothing else is worth the wait.
    check_abjad()
    clock = _Clock()
    with clock.stage("reading"):
        reading = read_tunes(setup)
        sections, ordering = order_tunes(
            reading.tunes, setup.book, setup.edition, is_part=setup.folder.is_file()
        )
        tunes = tuple(tune for section in sections for tune in section.tunes)
        names = unique_identities(tunes)
    messages = [*reading.messages, *ordering]
    if not tunes:
        raise nothing_to_do(setup, gather_messages(setup, messages))
    with clock.stage("arranging"):
        sources = write_sources(tunes, names, setup, order, before, on_progress)
    messages += messages_of(one.outcome for one in sources)
    with (
        work_folder() as work,
        ThreadPoolExecutor(1, thread_name_prefix="fonts") as beside,
    ):
        fonts = beside.submit(get_ready, _cache_folder(order), setup.book.language)
        with clock.stage("engraving"):
            extras = make_extras(sources, setup)
            if order.keep_source is not None:
                # Before they are engraved, so that one can look at what cannot be.
                _keep(kept_sources(sources, extras, order.keep_source), setup)
            pieces, failures = _engrave(sources, extras, order, work, on_progress)
        messages += _failure_messages(failures, sources)
        if not any(one.identity in pieces for one in sources):
            raise nothing_to_do(setup, gather_messages(setup, messages))
        with clock.stage("assembling"):
            content = _content(setup, sections, sources, extras, pieces, _cache_folder(order))
            facts = None if before is None else _facts(before, setup, sources)
            content = replace(content, retuning=facts)
            report = assemble_book(content, output, fonts.result(), setup.read)
    messages += [Message(SourcePlace(str(output)), "text", line) for line in report.warnings]
    unique = gather_messages(setup, messages)
    return BuildReport(
        output=output,
        pages=report.pages,
        tune_count=report.tunes,
        left_out=tuple(message for message in unique if message.is_fatal),
        messages=unique,
        seconds=tuple(clock.seconds.items()),
        sources=order.keep_source,
        booklet=report.booklet,
        retuning=facts,
    )


def _cache_folder(order: BuildOrder) -> Path | None:
    return default_cache_folder() if order.uses_cache else None


def _facts(before: Setup, after: Setup, sources: tuple[TuneSource, ...]) -> RetuneFacts:
    words = words_for(after.book, after.instrument)
    names = _what_differs(before, after, words)
    return RetuneFacts(
        name_before=names[0],
        name_after=names[1],
        tunes=tuple(one.change for one in sources if one.change is not None),
        strings=find_string_changes(before.instrument, after.instrument),
    )


def _what_differs(before: Setup, after: Setup, words: FixedWords) -> list[str]:
    """What the two setups are called where they differ: instrument, tuning, hand."""
    pairs = list(zip(_names(before, words), _names(after, words), strict=True))
    differing = [pair for pair in pairs if pair[0] != pair[1]] or pairs
    return [", ".join(pair[side] for pair in differing) for side in (0, 1)]


def _names(setup: Setup, words: FixedWords) -> tuple[str, str, str]:
    hand = f"{words.hand.lower()}: {words.local(setup.hand.name)}"
    return (
        words.local(setup.instrument.title),
        local_names(setup.instrument.tuning_name, words),
        hand,
    )


def _engrave(
    sources: tuple[TuneSource, ...],
    extras: Extras,
    order: BuildOrder,
    work: Path,
    on_progress: Progress,
) -> tuple[dict[str, EngravedPiece], list[EngravingFailure]]:
    texts = {one.identity: one.text for one in sources if one.text}
    texts.update(extras.sources)
    pieces, failures = engrave(
        texts,
        jobs=count_of_jobs(order.jobs),
        cache_folder=_cache_folder(order),
        work_folder=work,
        on_progress=lambda name, done, total: on_progress("engraving", name, done, total),
    )
    return {piece.identity: piece for piece in pieces}, failures


def _failure_messages(
    failures: list[EngravingFailure], sources: tuple[TuneSource, ...]
) -> list[Message]:
    places = {one.identity: one.outcome.tune.place for one in sources if one.outcome.tune}
    return [
        Message(
            places.get(failure.identity, SourcePlace(failure.identity)),
            "engraving",
            f"LilyPond could not engrave it ({failure.reason})",
            "left out; --keep-source keeps the source to look at",
            is_fatal=failure.identity in places,
        )
        for failure in failures
    ]


def _keep(files: dict[Path, str], setup: Setup) -> None:
    for path in files:
        check_writable(path, setup.read)
    for path, text in files.items():
        write_whole(path, text.encode("utf-8"), read=setup.read)


def _content(
    setup: Setup,
    sections: tuple[Section, ...],
    sources: tuple[TuneSource, ...],
    extras: Extras,
    pieces: dict[str, EngravedPiece],
    font_cache: Path | None,
) -> BookContent:
    book_sections = []
    waiting = iter(sources)  # in the order of the sections' tunes
    for section in sections:
        chosen = list(islice(waiting, len(section.tunes)))
        tunes = tuple(
            _book_tune(one, one.outcome.arrangement, pieces[one.identity])
            for one in chosen
            if one.outcome.arrangement is not None and one.identity in pieces
        )
        if tunes:
            book_sections.append(
                BookSection(section.title, tunes, section.note, section.is_kept_together)
            )
    return place_extras(
        BookContent(
            book=setup.book,
            edition=setup.edition,
            instrument=setup.instrument,
            hand=setup.hand,
            sections=tuple(book_sections),
            engraver=f"LilyPond {find_lilypond().version_text}",
            program_version=__version__,
            font_cache=font_cache,
        ),
        extras,
        pieces,
    )


def _book_tune(source: TuneSource, arrangement: Arrangement, piece: EngravedPiece) -> BookTune:
    return BookTune(
        identity=source.identity,
        arrangement=arrangement,
        piece=piece,
        limit_note=source.limit_note,
        choice_notes=source.choice_notes,
    )
