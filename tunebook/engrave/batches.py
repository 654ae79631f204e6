"""Which pieces go to which process of the engraver, and what is done when one breaks off.

Many pieces engraved as one: their sources joined in one file, the result told apart again.

Each file that the engraver is given costs it time beyond the music itself, and each PDF that it
makes holds fonts of its own. Pieces whose sources begin alike are therefore set one after the
other in one file; the settings for the engraver tell which system belongs to which piece.

Which pieces go to which process of the engraver, and what is done when one breaks off.

Pieces that begin alike go into one file. When anything goes wrong with such a file, its pieces are
engraved once more as files of their own, which tells the piece that is at fault.
"""

from __future__ import annotations

import contextlib
import itertools
import threading
from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from pathlib import Path

from tunebook.engrave.process import RunLimits, RunResult, StoppedError, run_engraver, run_gathered
from tunebook.engrave.program import LilyPond
from tunebook.engrave.settings import BARS_COMMENT, BOXES_SUFFIX
from tunebook.model.piece import EngravedFiles

_SCORE = "\\score {"
_BOOK = "\\book {"
_INNER_SCORE = "  \\score {"
_END = "}"
_LAYOUT = "\\layout {"


@dataclass(frozen=True, slots=True)
class SourceParts:
    """A source taken apart: what stands before the music, the score, and for the opening what
    stands before its score and the score itself (both empty where there is none)."""

    preamble: str
    score: str
    opening_head: str = ""
    opening_score: str = ""


def take_apart(source: str) -> SourceParts | None:
    """The parts of a source that holds settings, one score, and perhaps a book with the opening;
    None for any other source, which is engraved by itself.

    No text from a tune can look like one of these lines: strings hold no line breaks.
    """
    lines = source.rstrip("\n").split("\n")
    try:
        score_at = lines.index(_SCORE)
        score_end = lines.index(_END, score_at)
    except ValueError:
        return None
    score = lines[score_at : score_end + 1]
    rest = lines[score_end + 1 :]
    preamble = [line for line in lines[:score_at] if not line.startswith(BARS_COMMENT)]
    if not _has_layout(score) or any("\\midi" in line for line in score):
        return None
    if not rest:
        return SourceParts("\n".join(preamble), "\n".join(score))
    if rest[0] != _BOOK or rest.index(_END) != len(rest) - 1 or _INNER_SCORE not in rest:
        return None
    at = rest.index(_INNER_SCORE)
    opening = rest[at:-1]
    if not _has_layout(opening):
        return None
    return SourceParts("\n".join(preamble), "\n".join(score), "\n".join(rest[:at]),
                       "\n".join(opening))  # fmt: skip


def _has_layout(score: Sequence[str]) -> bool:
    return _LAYOUT in score[-2]


def alike(parts: Mapping[str, SourceParts]) -> list[list[str]]:
    """The names in groups that can be set in one file, each in the order given."""
    heads: dict[str, str] = {}
    for one in parts.values():
        heads[one.preamble] = heads.get(one.preamble) or one.opening_head
    groups: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, one in parts.items():
        groups[one.preamble, one.opening_head or heads[one.preamble]].append(name)
    return list(groups.values())


def joined(parts: Sequence[SourceParts]) -> str:
    """One source for pieces that begin alike; their numbers are their places in ``parts``."""
    text = [parts[0].preamble, "\n"]
    text += [_numbered(one.score, number) + "\n" for number, one in enumerate(parts)]
    openings = [(number, one) for number, one in enumerate(parts) if one.opening_score]
    if openings:
        text += [openings[0][1].opening_head, "\n"]
        text += [_numbered(one.opening_score, number) + "\n" for number, one in openings]
        text += [_END, "\n"]
    return "".join(text)


def _numbered(score: str, number: int) -> str:
    """The layout block is the last thing in a score."""
    before, after = score.rsplit(_LAYOUT, 1)
    return f"{before}{_LAYOUT} piece = {number}{after}"


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


# A process costs about a sixth of a second to start, so it is given many pieces; but not so many
# that the others wait for the last one at the end, nor that it needs much memory.
MOST_PIECES_A_PROCESS = 30
# The last batches are small, so that all processes end at about the same time.
LAST_SHARE = 0.2

OnEngraved = Callable[[str, EngravedFiles], None]
OnFailed = Callable[[str, str], None]


@dataclass(frozen=True, slots=True)
class Orders:
    """What is to be engraved, with the file ``settings`` of ``folder``, and whom to tell:
    ``on_begun`` hears that a piece is under way, ``on_engraved`` and ``on_failed`` what became of
    it. All are called from one thread."""

    program: LilyPond
    settings: str
    folder: Path
    limits: RunLimits
    sources: Mapping[str, str]
    on_begun: Callable[[str], None]
    on_engraved: OnEngraved
    on_failed: OnFailed


@dataclass(slots=True)
class _State:
    orders: Orders
    parts: dict[str, SourceParts]
    stop: threading.Event = field(default_factory=threading.Event)
    begun: deque[str] = field(default_factory=deque)
    suspects: set[str] = field(default_factory=set)
    files: int = 0


@dataclass(frozen=True, slots=True)
class _Batch:
    """Stems for one process; ``files`` are the files that hold them together, each with its stem
    and those of its pieces; without them each piece is a file of its own."""

    stems: tuple[str, ...]
    files: tuple[tuple[str, tuple[str, ...]], ...] = ()


def engrave_batches(orders: Orders, jobs: int) -> None:
    """Engrave every source of ``orders`` with ``jobs`` processes.

    Raises ProgramError when the program does not start."""
    parts = {stem: take_apart(source) for stem, source in orders.sources.items()}
    state = _State(orders, {stem: one for stem, one in parts.items() if one is not None})
    batches = deque(_batches(state, jobs))
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
            state.stop.set()
            for future in running:
                with contextlib.suppress(StoppedError, Exception):
                    future.result()
            raise


def _run(state: _State, batch: _Batch) -> RunResult:
    """Engrave a batch. Runs in a thread of its own."""
    orders = state.orders
    where = (orders.program, orders.settings, orders.folder.resolve())
    if not batch.files:
        for stem in batch.stems:
            (orders.folder / f"{stem}.ly").write_text(orders.sources[stem], "utf-8")
        return run_engraver(*where, batch.stems, orders.limits, state.stop, state.begun.append)
    for name, stems in batch.files:
        text = joined([state.parts[stem] for stem in stems])
        (orders.folder / f"{name}.ly").write_text(text, "utf-8")

    def begun(count: int) -> None:
        state.begun.extend(batch.stems[:count])

    names = [name for name, _ in batch.files]
    is_well = run_gathered(*where, names, orders.limits, state.stop, begun)
    return RunResult(batch.stems if is_well else (), {}, () if is_well else batch.stems)


def _settled(state: _State, batch: _Batch, result: RunResult) -> list[_Batch]:
    """Tell what became of a batch; return what is to be engraved once more."""
    orders = state.orders
    if batch.files:
        found = _gathered_files(state, batch) if result.done else None
        if found is None:
            return [_Batch(batch.stems)]
        for stem, files in found.items():
            orders.on_engraved(stem, files)
        return []
    for stem in result.done:
        try:
            orders.on_engraved(stem, _own_files(orders.folder, stem))
        except (OSError, ValueError, KeyError):
            orders.on_failed(stem, "LilyPond's result cannot be read")
    for stem, reason in result.failed.items():
        orders.on_failed(stem, reason)
    return _left_over(state, result)


def _left_over(state: _State, result: RunResult) -> list[_Batch]:
    """New batches after a run that broke off: a piece is given up when it fails again alone, or
    at once when it took too long."""
    batches: list[_Batch] = []
    if result.left:
        batches.append(_Batch(result.left))
    if result.culprit is not None:
        is_slow = "longer than" in result.reason
        if is_slow or result.culprit in state.suspects:
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
    folder = state.orders.folder
    pdf, opening_pdf = folder / f"{name}.pdf", folder / f"{name}-opening.pdf"
    has_opening = any(state.parts[stem].opening_score for stem in stems)
    if not pdf.is_file() or (has_opening and not opening_pdf.is_file()):
        raise FileNotFoundError(pdf)
    music = told_apart(_boxes(folder, name))
    openings = told_apart(_boxes(folder, f"{name}-opening")) if has_opening else {}
    found = {}
    for number, stem in enumerate(stems):
        opening = openings[number] if state.parts[stem].opening_score else ""
        found[stem] = EngravedFiles(pdf, music[number], opening_pdf if opening else None, opening)
    return found


def _own_files(folder: Path, stem: str) -> EngravedFiles:
    """What a piece became that was engraved as a file of its own."""
    pdf, opening_pdf = folder / f"{stem}.pdf", folder / f"{stem}-opening.pdf"
    if not pdf.is_file():
        raise FileNotFoundError(pdf)
    boxes = told_apart(_boxes(folder, stem))[0]
    if not opening_pdf.is_file():
        return EngravedFiles(pdf, boxes)
    opening = told_apart(_boxes(folder, f"{stem}-opening"))[0]
    return EngravedFiles(pdf, boxes, opening_pdf, opening)


def _boxes(folder: Path, stem: str) -> str:
    return (folder / (stem + BOXES_SUFFIX)).read_text("ascii")


def _batches(state: _State, jobs: int) -> list[_Batch]:
    """The batches in the order in which they are begun: neighbours together (they are likely to be
    wanted together again), pieces that can share a file side by side."""
    sizes = {stem: len(source) for stem, source in state.orders.sources.items()}
    groups = sorted(alike(state.parts), key=lambda group: -len(group))
    number_of = {stem: number for number, group in enumerate(groups) for stem in group}
    batches = []
    for stems in _shared_out(list(number_of), sizes, jobs):
        files = []
        for _, alike_ones in itertools.groupby(stems, key=number_of.__getitem__):
            state.files += 1
            files.append((f"g{state.files:05d}", tuple(alike_ones)))
        batches.append(_Batch(tuple(stems), tuple(files)))
    alone = [stem for stem in sizes if stem not in state.parts]
    return batches + [_Batch(tuple(stems)) for stems in _shared_out(alone, sizes, jobs)]


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
