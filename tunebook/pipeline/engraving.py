"""The music of a book engraved: what is known to be new at once, in the time in which the rest is
fetched and got ready."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from tunebook.engrave.engrave import engrave
from tunebook.model.piece import EngravedPiece, EngravingFailure, Piece
from tunebook.pipeline.load import Progress
from tunebook.store import Store
from tunebook.work_folder import work_folder

Engraved = tuple[list[EngravedPiece], list[EngravingFailure]]


class Engraving:
    """Engraves with ``jobs`` processes, in a ``with`` block; leaving it ends what is still being
    engraved, and removes the PDFs."""

    def __init__(self, store: Store, jobs: int) -> None:
        self._store = store
        self._jobs = jobs
        self._stop = threading.Event()
        self._begun: dict[str, Piece] = {}
        self._future: Future[Engraved] | None = None
        self._work: Path | None = None
        self._opened = ExitStack()

    def __enter__(self) -> Engraving:
        return self

    def __exit__(self, *why: Any) -> bool | None:
        self._stop.set()
        return self._opened.__exit__(*why)

    def _folder(self) -> Path:
        """The folder for the run, which is made when it is first wanted."""
        if self._work is None:
            self._work = self._opened.enter_context(work_folder())
        return self._work

    def begin(self, pieces: Mapping[str, Piece]) -> None:
        """Engrave ``pieces`` beside what goes on here; once."""
        folder = self._folder() / "begun"
        folder.mkdir()
        self._begun = dict(pieces)
        pool = self._opened.enter_context(ThreadPoolExecutor(1, thread_name_prefix="engraving"))
        self._future = pool.submit(
            engrave,
            self._begun,
            jobs=self._jobs,
            store=self._store,
            work_folder=folder,
            stop=self._stop,
        )

    def finish(
        self, pieces: Mapping[str, Piece], on_progress: Progress
    ) -> tuple[dict[str, EngravedPiece], list[EngravingFailure]]:
        """Engrave those of ``pieces`` that are not begun, and return all. Raises as
        :func:`tunebook.engrave.engrave.engrave` does."""
        begun = self._begun.keys() & pieces.keys()
        others = {name: piece for name, piece in pieces.items() if name not in begun}
        made, failures = engrave(
            others,
            jobs=self._jobs,
            store=self._store,
            work_folder=self._folder(),
            on_progress=lambda name, done, total: on_progress(
                "engraving", name, done, total + len(begun)
            ),
        )
        if self._future is not None:
            first, failed = self._future.result()
            made = [*first, *made]
            order = list(pieces)
            failures = sorted([*failed, *failures], key=lambda one: order.index(one.identity))
            on_progress("engraving", "", len(pieces), len(pieces))
        return {one.identity: one for one in made}, failures
