"""The stages that make a book: read, arrange, engrave, assemble.

What only a later stage needs is imported there, while the first pieces are engraved.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from tunebook.engrave.program import find_lilypond
from tunebook.errors import Message, SourcePlace
from tunebook.files import check_writable, write_whole
from tunebook.model.book import BuildReport
from tunebook.model.changes import RetuneFacts
from tunebook.model.piece import EngravedPiece
from tunebook.pipeline.engraving import Engraving
from tunebook.pipeline.kept_scores import with_kept_scores
from tunebook.pipeline.kept_tunes import reader_with
from tunebook.pipeline.load import (
    BuildOrder,
    Loaded,
    Progress,
    Setup,
    gather_messages,
    load,
    nothing_to_do,
)
from tunebook.pipeline.order import unique_identities
from tunebook.pipeline.outcomes import messages_of
from tunebook.pipeline.sources import TuneSource, kept_leaves, pieces_of, write_sources
from tunebook.pipeline.workers import count_of_jobs
from tunebook.store import Store

if TYPE_CHECKING:
    from tunebook.book.book import BookReport
    from tunebook.book.content import BookContent
    from tunebook.book.fonts.fonts import Fonts
    from tunebook.pipeline.pieces import Extras
    from tunebook.read.folder import AbcFile

Sources = tuple[TuneSource, ...]


@dataclass(kw_only=True)
class Making:
    """A book that is being made, whatever was made before; ``messages`` and the seconds of the
    stages come together meanwhile."""

    setup: Setup
    order: BuildOrder
    store: Store
    on_progress: Progress
    before: Setup | None
    messages: list[Message] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)

    def book(self, files: tuple[AbcFile | Message, ...], output: Path) -> BuildReport:
        """Make the book of ``files`` as ``output``."""
        find_lilypond()  # Without it nothing else is worth the wait.
        loaded = self._read(files)
        with (
            Engraving(self.store, count_of_jobs(self.order.jobs)) as engraving,
            ThreadPoolExecutor(1, thread_name_prefix="fonts") as beside,
        ):
            sources, extras = self._arranged(loaded, engraving)
            fonts = beside.submit(self._fonts)
            pieces = self._engraved(sources, extras, engraving)
            with self._stage("assembling"):
                from tunebook.pipeline.contents import contents_of

                contents = contents_of(self.setup, loaded.sections, sources, extras, pieces)
                contents = replace(contents, retuning=self._facts(sources))
                made = self._assembled(contents, fonts, output)
        return self._report(made, contents.retuning)

    def _read(self, files: tuple[AbcFile | Message, ...]) -> Loaded:
        with self._stage("reading"):
            as_abc = with_kept_scores(files, self.setup, self.store, self.order.jobs)
            loaded = load(self.setup, as_abc, reader=reader_with(self.store))
        self.messages += loaded.messages
        return loaded

    def _arranged(self, loaded: Loaded, engraving: Engraving) -> tuple[Sources, Extras]:
        """The tunes with their source, those that changed being engraved already."""
        names = unique_identities(loaded.tunes)
        with self._stage("arranging"), kept_leaves(self.store):
            sources = write_sources(
                loaded.tunes, names, self.setup, self.order, self.store, self.before,
                self.on_progress, on_changed=engraving.begin,
            )  # fmt: skip
            from tunebook.pipeline.pieces import make_extras

            extras = make_extras(sources, self.setup)
        self.messages += messages_of(one.outcome for one in sources)
        self._check_left_out()
        return sources, extras

    def _engraved(
        self, sources: Sources, extras: Extras, engraving: Engraving
    ) -> dict[str, EngravedPiece]:
        """All pieces by their names. Raises InputError when there is no tune among them."""
        from tunebook.book import book  # noqa: F401
        from tunebook.pipeline.contents import failure_messages

        with self._stage("engraving"):
            self._keep_sources(sources, extras)
            wanted = {**pieces_of(sources), **extras.pieces}
            pieces, failures = engraving.finish(wanted, self.on_progress)
        self.messages += failure_messages(failures, sources)
        self._check_left_out()
        if not any(one.identity in pieces for one in sources):
            raise nothing_to_do(self.setup, gather_messages(self.setup, self.messages))
        return pieces

    def _facts(self, sources: Sources) -> RetuneFacts | None:
        from tunebook.pipeline.contents import retune_facts

        return None if self.before is None else retune_facts(self.before, self.setup, sources)

    def _assembled(self, contents: BookContent, fonts: Future[Fonts], output: Path) -> BookReport:
        from tunebook.book.book import assemble_book
        from tunebook.pipeline.contents import code_messages
        from tunebook.pipeline.unpack import folder_files

        self.messages += code_messages(contents)
        attached = folder_files(self.setup) if self.setup.book.has_sources else ()
        contents = replace(contents, store=self.store, attached=attached)
        made = assemble_book(contents, output, fonts.result(), self.setup.read)
        self.messages += [Message(SourcePlace(str(output)), "text", line) for line in made.warnings]
        return made

    def _report(self, made: BookReport, facts: RetuneFacts | None) -> BuildReport:
        unique = gather_messages(self.setup, self.messages)
        return BuildReport(
            output=made.output,
            pages=made.pages,
            tune_count=made.tunes,
            left_out=tuple(message for message in unique if message.is_fatal),
            messages=unique,
            seconds=tuple(self.seconds.items()),
            sources=self.order.keep_source,
            booklet=made.booklet,
            retuning=facts,
        )

    @contextmanager
    def _stage(self, name: str) -> Iterator[None]:
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start

    def _check_left_out(self) -> None:
        if self.order.check_left_out is not None:
            unique = gather_messages(self.setup, self.messages)
            self.order.check_left_out([message for message in unique if message.is_fatal])

    def _keep_sources(self, sources: Sources, extras: Extras) -> None:
        """Write the source of every piece as --keep-source asks, before they are engraved, so that
        one can look at what cannot be."""
        from tunebook.pipeline.contents import kept_sources

        if self.order.keep_source is None:
            return
        files = kept_sources(sources, extras, self.order.keep_source)
        for path in files:
            check_writable(path, self.setup.read)
        for path, text in files.items():
            write_whole(path, text.encode("utf-8"), read=self.setup.read)

    def _fonts(self) -> Fonts:
        """What every book needs, loaded while the music is engraved."""
        from tunebook.book.book import get_ready

        return get_ready(self.store, self.setup.book.language)
