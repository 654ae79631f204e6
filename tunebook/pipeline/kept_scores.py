"""Scores as ABC, kept between runs by their bytes: what did not change asks nothing of music21.

Of a score neither its folder nor its ending counts, as long as its name without them, which may be
the title of its music, stays; the places in its messages bear the name that it has now.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator
from dataclasses import replace
from importlib import metadata
from pathlib import PurePosixPath

from tunebook.errors import Message
from tunebook.pipeline.kept import content_sum, fetch, keep
from tunebook.pipeline.load import Setup, reading_limits
from tunebook.pipeline.workers import Work, count_of_jobs, map_on_cores
from tunebook.read.folder import AbcFile, is_raw_score, score_as_abc_file
from tunebook.read.limits import ReadingLimits
from tunebook.store import Store

MOST_FILES_AT_ONCE = 100
MOST_BYTES_AT_ONCE = 20_000_000


def with_kept_scores(
    files: Iterable[AbcFile | Message], setup: Setup, store: Store, jobs: int | None
) -> Iterator[AbcFile | Message]:
    """The files in order, those that are scores as ABC (a message for each that cannot be read):
    fetched from ``store`` where they can be, else made by ``jobs`` processes and kept there. Only
    so many files are held at once."""
    group: list[AbcFile | Message] = []
    size = 0
    for file in files:
        group.append(file)
        size += len(file.data) if isinstance(file, AbcFile) else 0
        if len(group) >= MOST_FILES_AT_ONCE or size >= MOST_BYTES_AT_ONCE:
            yield from _converted(group, setup, store, jobs)
            group, size = [], 0
    yield from _converted(group, setup, store, jobs)


def _converted(
    files: list[AbcFile | Message], setup: Setup, store: Store, jobs: int | None
) -> list[AbcFile | Message]:
    limits = reading_limits(setup)
    found = list(files)
    new: dict[int, str] = {}
    for at, file in enumerate(files):
        if isinstance(file, AbcFile) and is_raw_score(file):
            key = _key(file, limits)
            kept = fetch(store, "scores", key)
            if kept is None:
                new[at] = key
            else:
                found[at] = _named(kept, file.name)
    made = _made([(files[at], limits) for at in new], count_of_jobs(jobs))
    for (at, key), one in zip(new.items(), made, strict=True):
        found[at] = one
        if isinstance(one, AbcFile) or one.kind == "score":  # no fault of the program's own
            keep(store, "scores", key, one)
    return found


def _made(work: Work, jobs: int) -> Iterator[AbcFile | Message]:
    """Each score of ``work`` as ABC. The first is made here, so that workers are forked with
    music21 imported: that takes as long as many scores do."""
    for arguments in work[:1]:
        yield score_as_abc_file(*arguments)
    yield from map_on_cores(score_as_abc_file, work[1:], jobs=jobs)


def _key(file: AbcFile, limits: ReadingLimits) -> str:
    """The sum of all that the ABC of a score depends on."""
    most = limits.file_bytes, limits.score_notes
    stem = PurePosixPath(file.name).stem
    return content_sum("score", _reader_version(), stem, file.data, *most)


@functools.cache
def _reader_version() -> str:
    """The version of music21; "" where that cannot be said."""
    try:
        return metadata.version("music21")
    except metadata.PackageNotFoundError:
        return ""


def _named(kept: AbcFile | Message, name: str) -> AbcFile | Message:
    """What was kept, with the score's name as it is now."""
    if isinstance(kept, Message):
        return replace(kept, place=replace(kept.place, path=name))
    messages = tuple(replace(one, place=replace(one.place, path=name)) for one in kept.messages)
    return replace(kept, name=name, messages=messages)
