"""Engrave sources: LilyPond in as many processes as wanted, many pieces a process, results kept.

A piece that makes LilyPond fail, crash or hang is found and named, and the rest goes on.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from pathlib import Path

from tunebook.assemble.engrave_cache import EngravingCache, content_key, default_cache_folder
from tunebook.assemble.engraved import EngravedPiece, EngravingFailure
from tunebook.assemble.engraver_process import RunLimits, RunResult, StoppedError, run_engraver
from tunebook.assemble.engraving_settings import (
    BOXES_SUFFIX,
    SETTINGS,
    bar_counts_of,
    read_boxes,
)
from tunebook.assemble.lilypond_program import LilyPond, find_lilypond

__all__ = ["default_cache_folder", "engrave"]

DEFAULT_TIMEOUT_S = 60.0
# A process costs about a third of a second to start, so it is given many pieces; but not so many
# that the others wait for the last one at the end.
MOST_PIECES_A_PROCESS = 40
_SETTINGS_NAME = "settings.ily"

Progress = Callable[[str, int, int], None]


def engrave(
    pieces: Mapping[str, str],
    *,
    jobs: int = 1,
    timeout_s: float = DEFAULT_TIMEOUT_S,
    cache_folder: Path | None = None,
    work_folder: Path,
    on_progress: Progress | None = None,
) -> tuple[list[EngravedPiece], list[EngravingFailure]]:
    """Engrave the LilyPond sources ``pieces`` (identity to source) with ``jobs`` processes.

    ``timeout_s`` is the longest time for one piece; ``cache_folder`` None keeps nothing;
    ``work_folder`` must exist, and holds the PDFs that are returned, so it must outlive their
    use. ``on_progress`` is called with identity, number done and total, from this thread.
    Raises ProgramError when LilyPond is missing, too old or does not start.
    """
    if not pieces:
        return [], []
    program = find_lilypond()
    cache = EngravingCache(cache_folder) if cache_folder is not None else None
    work = _Work(pieces, program, cache, work_folder, on_progress)
    waiting = work.take_from_cache()
    if waiting:
        settings = work_folder / _SETTINGS_NAME
        settings.write_text(SETTINGS, "utf-8")
        _engrave_all(work, waiting, settings, max(1, jobs), RunLimits(timeout_s))
        if cache is not None:
            cache.trim()
    return work.pieces(), work.failures()


class _Work:
    """The pieces of one call: which share a source, what is done, what failed."""

    def __init__(
        self,
        pieces: Mapping[str, str],
        program: LilyPond,
        cache: EngravingCache | None,
        folder: Path,
        on_progress: Progress | None,
    ) -> None:
        self.sources = dict(pieces)
        self.program = program
        self.cache = cache
        self.folder = folder
        self.on_progress = on_progress
        self.stems: dict[str, str] = {}
        self.keys: dict[str, str] = {}
        self.failed: dict[str, str] = {}
        self.first_names: dict[str, str] = {}
        self.reported: set[str] = set()
        stem_by_key: dict[str, str] = {}
        for name, source in self.sources.items():
            key = content_key(source, SETTINGS, program.version_text)
            stem = stem_by_key.setdefault(key, f"p{len(stem_by_key):05d}")
            self.stems[name], self.keys[stem] = stem, key
            self.first_names.setdefault(stem, name)

    def take_from_cache(self) -> list[str]:
        """Fetch what is kept; write the other sources; return their stems."""
        waiting: list[str] = []
        for stem, name in self.first_names.items():
            if self._is_kept(stem):
                self.report(stem)
                continue
            (self.folder / f"{stem}.ly").write_text(self.sources[name], "utf-8")
            waiting.append(stem)
        return waiting

    def _is_kept(self, stem: str) -> bool:
        if self.cache is None or not self.cache.fetch(self.keys[stem], self.folder, stem):
            return False
        return self._is_readable(stem)

    def settle(self, result: RunResult) -> None:
        """Take over the outcome of a run."""
        for stem in result.done:
            if not self._is_readable(stem):
                self.failed[stem] = "LilyPond's result cannot be read"
            elif self.cache is not None:
                self.cache.keep(self.keys[stem], self._files(stem), stem)
            self.report(stem)
        for stem, reason in result.failed.items():
            self.fail(stem, reason)

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

    def pieces(self) -> list[EngravedPiece]:
        """The results, in the order of the request."""
        return [
            self._piece(name, stem) for name, stem in self.stems.items() if stem not in self.failed
        ]

    def failures(self) -> list[EngravingFailure]:
        """What failed, in the order of the request."""
        return [
            EngravingFailure(name, self.failed[stem])
            for name, stem in self.stems.items()
            if stem in self.failed
        ]

    def _files(self, stem: str) -> list[Path]:
        every = [self.folder / f"{stem}{end}" for end in (".pdf", BOXES_SUFFIX)]
        opening = [self.folder / f"{stem}-opening{end}" for end in (".pdf", BOXES_SUFFIX)]
        return every + [file for file in opening if file.exists()]

    def _is_readable(self, stem: str) -> bool:
        try:
            return bool(self._piece("", stem).systems)
        except (OSError, ValueError):
            return False

    def _piece(self, name: str, stem: str) -> EngravedPiece:
        counts = bar_counts_of(self.sources[name]) if name else ()
        systems = read_boxes(self.folder / (stem + BOXES_SUFFIX), counts)
        opening_pdf = self.folder / f"{stem}-opening.pdf"
        opening = None
        if opening_pdf.exists():
            boxes = read_boxes(self.folder / f"{stem}-opening{BOXES_SUFFIX}")
            opening = boxes[0] if boxes else None
        pdf = self.folder / f"{stem}.pdf"
        if not pdf.is_file():
            raise FileNotFoundError(pdf)
        return EngravedPiece(name, pdf, systems, opening_pdf if opening else None, opening)


def _engrave_all(
    work: _Work, waiting: list[str], settings: Path, jobs: int, limits: RunLimits
) -> None:
    stop = threading.Event()
    batches = deque(_batches(waiting, jobs, work))
    seen: deque[str] = deque()
    suspects: set[str] = set()
    running: dict[Future[RunResult], None] = {}
    with ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="engraver") as pool:
        try:
            while batches or running:
                while batches and len(running) < jobs:
                    batch = batches.popleft()
                    running[
                        pool.submit(
                            run_engraver, work.program, settings.resolve(), work.folder.resolve(),
                            batch, limits, stop, seen.append,
                        )
                    ] = None  # fmt: skip
                ended, _ = wait(running, timeout=0.1, return_when=FIRST_COMPLETED)
                while seen:
                    work.report(seen.popleft())
                for future in ended:
                    del running[future]
                    result = future.result()
                    work.settle(result)
                    batches.extend(_left_over(work, result, suspects))
        except BaseException:
            stop.set()
            for future in running:
                with contextlib.suppress(StoppedError, Exception):
                    future.result()
            raise


def _left_over(work: _Work, result: RunResult, suspects: set[str]) -> list[list[str]]:
    """New batches after a run that broke off: a piece is given up when it fails again alone, or
    at once when it took too long."""
    batches: list[list[str]] = []
    if result.left:
        batches.append(list(result.left))
    if result.culprit is not None:
        is_slow = "longer than" in result.reason
        if is_slow or result.culprit in suspects:
            work.fail(result.culprit, result.reason)
        else:
            suspects.add(result.culprit)
            batches.append([result.culprit])
    return batches


def _batches(stems: Sequence[str], jobs: int, work: _Work) -> list[list[str]]:
    """Batches of about equal length of source, as many as there are processes, or more."""
    sizes = {stem: len(work.sources[work.first_names[stem]]) for stem in stems}
    count = max(jobs, -(-len(stems) // MOST_PIECES_A_PROCESS))
    count = min(-(-count // jobs) * jobs, len(stems))
    batches: list[list[str]] = [[] for _ in range(count)]
    loads = [0] * count
    for stem in sorted(stems, key=lambda one: -sizes[one]):
        lightest = loads.index(min(loads))
        batches[lightest].append(stem)
        loads[lightest] += sizes[stem]
    return [sorted(batch) for batch in batches if batch]
