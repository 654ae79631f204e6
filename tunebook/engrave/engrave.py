"""Engrave pieces: LilyPond in as many processes as wanted, many pieces a process, results kept.

A piece that makes LilyPond fail, crash or hang is found and named, and the rest goes on.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from tunebook.engrave.batches import Orders, engrave_batches
from tunebook.engrave.kept_pieces import KeptPieces
from tunebook.engrave.process import Bench, RunLimits
from tunebook.engrave.program import find_lilypond
from tunebook.engrave.settings import SETTINGS, SETTINGS_FILE, read_boxes
from tunebook.model.piece import EngravedFiles, EngravedPiece, EngravingFailure, Piece
from tunebook.store import NO_STORE, Store, key_of

DEFAULT_TIMEOUT_S = 60.0

Progress = Callable[[str, int, int], None]


def engrave(
    pieces: Mapping[str, Piece],
    *,
    jobs: int = 1,
    timeout_s: float = DEFAULT_TIMEOUT_S,
    store: Store = NO_STORE,
    work_folder: Path,
    on_progress: Progress | None = None,
    stop: threading.Event | None = None,
) -> tuple[list[EngravedPiece], list[EngravingFailure]]:
    """Engrave ``pieces``, given by identity, with ``jobs`` processes.

    ``timeout_s`` is the longest time for one piece; results are kept in ``store``;
    ``work_folder`` must exist, and holds the PDFs that are returned, so it must outlive their
    use. ``on_progress`` is called with identity, number done and total, from this thread.
    Raises ProgramError when LilyPond is missing, too old or does not start, StoppedError when
    ``stop`` is set from another thread.
    """
    if not pieces:
        return [], []
    program = find_lilypond()
    kept = KeptPieces(store, work_folder)
    work = _Work(pieces, program.version_text, kept, on_progress)
    waiting = work.take_kept()
    if waiting:
        (work_folder / SETTINGS_FILE).write_text(SETTINGS, "utf-8")
        limits = RunLimits(timeout_s)
        bench = Bench(program, work_folder.resolve(), limits, stop or threading.Event())
        orders = Orders(waiting, work.report, work.settle, work.fail)
        engrave_batches(bench, orders, max(1, jobs))
    return work.engraved(), work.failures()


class _Work:
    """The pieces of one call: which are alike, what is done, what failed."""

    def __init__(
        self,
        pieces: Mapping[str, Piece],
        version: str,
        kept: KeptPieces,
        on_progress: Progress | None,
    ) -> None:
        self.pieces = dict(pieces)
        self.kept = kept
        self.on_progress = on_progress
        self.stems: dict[str, str] = {}
        self.keys: dict[str, str] = {}
        self.done: dict[str, EngravedFiles] = {}
        self.failed: dict[str, str] = {}
        self.first_names: dict[str, str] = {}
        self.reported: set[str] = set()
        stem_by_key: dict[str, str] = {}
        for name, piece in self.pieces.items():
            key = key_of(piece.text, SETTINGS, version)
            stem = stem_by_key.setdefault(key, f"p{len(stem_by_key):05d}")
            self.stems[name], self.keys[stem] = stem, key
            self.first_names.setdefault(stem, name)

    def take_kept(self) -> dict[str, Piece]:
        """Fetch what is kept; return the other pieces by their stems."""
        waiting: dict[str, Piece] = {}
        for stem, name in self.first_names.items():
            files = self.kept.fetch(self.keys[stem])
            if files is not None and _is_readable(files):
                self.done[stem] = files
                self.report(stem)
            else:
                waiting[stem] = self.pieces[name]
        return waiting

    def settle(self, stem: str, files: EngravedFiles) -> None:
        """Take over a piece."""
        if not _is_readable(files):
            self.fail(stem, "LilyPond's result cannot be read")
            return
        self.done[stem] = files
        self.kept.keep(self.keys[stem], files)
        self.report(stem)

    def fail(self, stem: str, reason: str) -> None:
        """Give up a piece."""
        self.failed[stem] = reason
        self.report(stem)

    def report(self, stem: str) -> None:
        """Tell of progress, once a piece."""
        if stem in self.reported:
            return
        self.reported.add(stem)
        if self.on_progress is not None:
            self.on_progress(self.first_names[stem], len(self.reported), len(self.first_names))

    def engraved(self) -> list[EngravedPiece]:
        """The results, in the order of the request."""
        return [
            _measured(name, self.done[stem], self.pieces[name].bars_per_line)
            for name, stem in self.stems.items()
            if stem in self.done
        ]

    def failures(self) -> list[EngravingFailure]:
        """What failed, in the order of the request."""
        return [
            EngravingFailure(name, self.failed[stem])
            for name, stem in self.stems.items()
            if stem in self.failed
        ]


def _is_readable(files: EngravedFiles) -> bool:
    try:
        return bool(_measured("", files).systems)
    except (ValueError, IndexError):
        return False


def _measured(
    name: str, files: EngravedFiles, bars_per_line: tuple[int, ...] = ()
) -> EngravedPiece:
    systems = read_boxes(files.boxes, bars_per_line)
    opening = read_boxes(files.opening_boxes) if files.opening_boxes else ()
    return EngravedPiece(
        name,
        files.pdf,
        systems,
        files.opening_pdf if opening else None,
        opening[0] if opening else None,
    )
