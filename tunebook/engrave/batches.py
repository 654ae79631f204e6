"""Which pieces go to which process of the engraver, and what is done when one breaks off.

Each file that the engraver is given costs it time beyond the music itself, and each PDF that it
makes holds fonts of its own. Pieces that begin alike are therefore set one after the other in one
file; the settings for the engraver tell which system belongs to which piece. When anything goes
wrong with such a file, its pieces are engraved once more as files of their own, which tells the
piece that is at fault.
"""

from __future__ import annotations

import contextlib
import errno
import itertools
import os
import shutil
from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from pathlib import Path

from tunebook.engrave.process import Bench, RunResult, StoppedError, run_engraver, run_gathered
from tunebook.engrave.settings import BOXES_SUFFIX
from tunebook.model.piece import OPENING, EngravedFiles, Piece

# A process costs about a sixth of a second to start, so it is given many pieces; but not so many
# that the others wait for the last one at the end, nor that it needs much memory.
MOST_PIECES_A_PROCESS = 30
# The last batches are small, so that all processes end at about the same time.
LAST_SHARE = 0.2
# With less than this the PDF of a few pieces, which holds its fonts, does not fit.
LEAST_ROOM_BYTES = 256_000


@dataclass(frozen=True, slots=True)
class Orders:
    """What is to be engraved, by stem, and whom to tell: ``on_begun`` hears that a piece is under
    way, ``on_engraved`` and ``on_failed`` what became of it. All are called from one thread."""

    pieces: Mapping[str, Piece]
    on_begun: Callable[[str], None]
    on_engraved: Callable[[str, EngravedFiles], None]
    on_failed: Callable[[str, str], None]


@dataclass(slots=True)
class _State:
    bench: Bench
    orders: Orders
    begun: deque[str] = field(default_factory=deque)
    suspects: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class _Batch:
    """Stems for one process; ``files`` are the files that hold them together, each with its stem
    and those of its pieces; without them each piece is a file of its own."""

    stems: tuple[str, ...]
    files: tuple[tuple[str, tuple[str, ...]], ...] = ()


def engrave_batches(bench: Bench, orders: Orders, jobs: int) -> None:
    """Engrave every piece of ``orders`` with ``jobs`` processes.

    Raises ProgramError when the program does not start."""
    state = _State(bench, orders)
    batches = deque(_batches(orders.pieces, jobs))
    running: dict[Future[RunResult], _Batch] = {}
    with ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="engraver") as pool:
        try:
            while batches or running:
                while batches and len(running) < jobs:
                    batch = batches.popleft()
                    running[pool.submit(_run, state, batch)] = batch
                ended, _ = wait(running, timeout=0.1, return_when=FIRST_COMPLETED)
                while state.begun:
                    orders.on_begun(state.begun.popleft())
                for future in ended:
                    batch = running.pop(future)
                    batches.extend(_settled(state, batch, future.result()))
        except BaseException:
            bench.stop.set()
            for future in running:
                with contextlib.suppress(StoppedError, Exception):
                    future.result()
            raise


def _run(state: _State, batch: _Batch) -> RunResult:
    """Engrave a batch. Runs in a thread of its own."""
    bench, pieces = state.bench, state.orders.pieces
    if not batch.files:
        for stem in batch.stems:
            (bench.folder / f"{stem}.ly").write_text(pieces[stem].text, "utf-8")
        return run_engraver(bench, batch.stems, state.begun.append)
    for name, stems in batch.files:
        text = joined([pieces[stem] for stem in stems])
        (bench.folder / f"{name}.ly").write_text(text, "utf-8")

    def begun(count: int) -> None:
        state.begun.extend(batch.stems[:count])

    is_well = run_gathered(bench, [name for name, _ in batch.files], begun)
    return RunResult(batch.stems if is_well else (), {}, () if is_well else batch.stems)


def _settled(state: _State, batch: _Batch, result: RunResult) -> list[_Batch]:
    """Tell what became of a batch; return what is to be engraved once more."""
    orders = state.orders
    if len(result.done) < len(batch.stems):
        _check_room(state.bench.folder)
    if batch.files:
        found = _gathered_files(state, batch) if result.done else None
        if found is None:
            return [_Batch(batch.stems)]
        for stem, files in found.items():
            orders.on_engraved(stem, files)
        return []
    for stem in result.done:
        try:
            orders.on_engraved(stem, _pieces_of(state, stem, [stem])[stem])
        except (OSError, ValueError, KeyError):
            orders.on_failed(stem, "LilyPond's result cannot be read")
    for stem, reason in result.failed.items():
        orders.on_failed(stem, reason)
    return _left_over(state, result)


def _check_room(folder: Path) -> None:
    """Raise OSError when the disk is full: every piece would be tried twice more, and in vain."""
    if shutil.disk_usage(folder).free < LEAST_ROOM_BYTES:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))


def _left_over(state: _State, result: RunResult) -> list[_Batch]:
    """New batches after a run that broke off: a piece is given up when it fails again alone, or
    at once when it took too long."""
    batches: list[_Batch] = []
    if result.left:
        batches.append(_Batch(result.left))
    if result.culprit is not None:
        if result.is_late or result.culprit in state.suspects:
            state.orders.on_failed(result.culprit, result.reason)
        else:
            state.suspects.add(result.culprit)
            batches.append(_Batch((result.culprit,)))
    return batches


def _gathered_files(state: _State, batch: _Batch) -> dict[str, EngravedFiles] | None:
    """What the files of a batch became, piece by piece; None when any piece is missing."""
    found: dict[str, EngravedFiles] = {}
    try:
        for name, stems in batch.files:
            found |= _pieces_of(state, name, stems)
    except (OSError, ValueError, KeyError, IndexError):
        return None
    return found


def _pieces_of(state: _State, name: str, stems: Sequence[str]) -> dict[str, EngravedFiles]:
    folder, pieces = state.bench.folder, state.orders.pieces
    pdf, music = _sheet(folder, name)
    with_opening = [stem for stem in stems if pieces[stem].opening is not None]
    opening_pdf, openings = _sheet(folder, f"{name}-{OPENING}") if with_opening else (None, {})
    found = {}
    for number, stem in enumerate(stems):
        own = (opening_pdf, openings[number]) if stem in with_opening else (None, "")
        found[stem] = EngravedFiles(pdf, music[number], *own)
    return found


def _sheet(folder: Path, name: str) -> tuple[Path, dict[int, str]]:
    """A PDF and its boxes by the numbers of its pieces. Raises FileNotFoundError, or as told_apart
    does."""
    pdf = folder / f"{name}.pdf"
    if not pdf.is_file():
        raise FileNotFoundError(pdf)
    return pdf, told_apart((folder / (name + BOXES_SUFFIX)).read_text("ascii"))


def alike(pieces: Mapping[str, Piece]) -> list[list[str]]:
    """The names in groups that can be set in one file, each in the order given."""
    heads: dict[str, str] = {}
    for one in pieces.values():
        heads[one.preamble] = heads.get(one.preamble) or _opening_head(one)
    groups: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, one in pieces.items():
        groups[one.preamble, _opening_head(one) or heads[one.preamble]].append(name)
    return list(groups.values())


def _opening_head(piece: Piece) -> str:
    return piece.opening.head if piece.opening is not None else ""


def joined(pieces: Sequence[Piece]) -> str:
    """One file for pieces that begin alike; their numbers are their places in ``pieces``."""
    text = [pieces[0].preamble]
    text += [one.score.text(_number(number)) for number, one in enumerate(pieces)]
    openings = [(number, one.opening) for number, one in enumerate(pieces) if one.opening]
    if openings:
        scores = [one.score.text(_number(number)) for number, one in openings]
        text.append(openings[0][1].book(*scores))
    return "".join(text)


def _number(number: int) -> str:
    return f" piece = {number}"


def told_apart(boxes: str) -> dict[int, str]:
    """The boxes of each piece by its number, from those of a whole file: its lines, each with the
    number of its page added. Raises ValueError when they are not whole."""
    lines = boxes.splitlines()
    if not lines or not lines[0].startswith("page "):
        raise ValueError("no page size")
    found: dict[int, list[str]] = defaultdict(lambda: [lines[0]])
    for page, line in enumerate(lines[1:]):
        words = line.split()
        found[int(words[6])].append(" ".join([*words[:6], str(page)]))
    return {number: "\n".join([*rows, ""]) for number, rows in found.items()}


def _batches(pieces: Mapping[str, Piece], jobs: int) -> list[_Batch]:
    """The batches in the order in which they are begun: neighbours together (they are likely to be
    wanted together again), pieces that can share a file side by side."""
    groups = sorted(alike(pieces), key=lambda group: -len(group))
    number_of = {stem: number for number, group in enumerate(groups) for stem in group}
    sizes = {stem: len(pieces[stem].text) for stem in number_of}
    numbers = itertools.count(1)
    batches = []
    for stems in _shared_out(list(number_of), sizes, jobs):
        files = [
            (f"g{next(numbers):05d}", tuple(alike_ones))
            for _, alike_ones in itertools.groupby(stems, key=number_of.__getitem__)
        ]
        batches.append(_Batch(tuple(stems), tuple(files)))
    return batches


def _shared_out(stems: Sequence[str], sizes: Mapping[str, int], jobs: int) -> list[list[str]]:
    """``stems`` in batches: two rounds for each process, the second short, or as many as are
    needed when there are very many."""
    if not stems:
        return []
    if len(stems) < 4 * jobs:
        return _evenly(stems, sizes, min(jobs, len(stems)))
    rounds = -(-len(stems) // (jobs * MOST_PIECES_A_PROCESS))
    first = len(stems) - round(len(stems) * LAST_SHARE / rounds)
    return _evenly(stems[:first], sizes, jobs * rounds) + _evenly(stems[first:], sizes, jobs)


def _evenly(stems: Sequence[str], sizes: Mapping[str, int], count: int) -> list[list[str]]:
    """``count`` runs of ``stems`` of about equal length of source."""
    total = sum(sizes[stem] for stem in stems)
    batches: list[list[str]] = [[] for _ in range(count)]
    passed = 0
    for stem in stems:
        # A piece belongs to the batch in which its middle falls.
        middle = passed + sizes[stem] / 2
        batches[min(count - 1, int(middle * count / total))].append(stem)
        passed += sizes[stem]
    return [batch for batch in batches if batch]
