"""Solved tunes and finished books kept by content, and what the cache holds in all.

Solved tunes and finished books kept by content, so that nothing is worked out twice.

A tune's key is made of its text, the file header above it, everything that the run works with
(instrument, hand, edition, choices) and the program's own files; where in its file the tune stands
does not count, and the places in messages are moved to where it stands now. Every entry carries
its sum: a damaged or half-written one is as good as none. The folder is the user's own cache; its
entries are trusted as the program's files are.

The folder of what is kept from earlier runs: music, tunes, books, fonts.
"""

from __future__ import annotations

import functools
import hashlib
import os
import pickle
import shutil
from collections.abc import Iterable
from dataclasses import replace
from importlib import metadata
from pathlib import Path
from typing import Any

from tunebook.errors import Message, OutputError, SourcePlace, TunebookError
from tunebook.files import read_whole, remove_other_kinds, write_whole
from tunebook.model.tune import Tune
from tunebook.pipeline.load import Setup
from tunebook.read.folder import AbcFile
from tunebook.store import CacheSize, EngravingCache, default_cache_folder, listed

_MAKERS = ("abjad", "fonttools", "lilypond", "pikepdf", "reportlab")
_SUM_BYTES = 32
LIMIT_BYTES = 300_000_000


@functools.cache
def program_sum() -> str:
    """A sum over the program's own files, so that another version works everything out anew."""
    home = Path(__file__).resolve().parents[1]
    found = hashlib.sha256()
    for path in sorted(home.rglob("*")):
        if path.suffix in (".py", ".toml", ".json"):
            facts = path.stat()
            found.update(f"{path.relative_to(home)} {facts.st_size} {facts.st_mtime_ns}\n".encode())
    return found.hexdigest()


def content_sum(*parts: object) -> str:
    """A sum over the texts of ``parts``; equal values have equal texts (frozen dataclasses)."""
    found = hashlib.sha256(program_sum().encode())
    for part in parts:
        text = part if isinstance(part, bytes) else repr(part).encode("utf-8", "surrogatepass")
        found.update(len(text).to_bytes(8, "big") + text)
    return found.hexdigest()


def setup_sum(setup: Setup, before: Setup | None = None) -> str:
    """A sum over what a run works with, messages and places in tunes.toml apart."""
    parts: list[object] = []
    for one in (setup, before):
        if one is not None:
            choices = tuple(replace(choice, place=None) for choice in one.book.choices)
            parts += [
                one.instrument,
                one.hand,
                one.edition,
                choices,
                one.book.language,
                one.book.note_names,
            ]
            parts += [one.book.paper, one.book.reading]
    return content_sum(*parts)


def book_sum(
    setup: Setup, before: Setup | None, output: Path, files: tuple[AbcFile | Message, ...]
) -> str:
    """A sum over everything that a finished book depends on: the files as they were read, the
    settings, and the versions of the packages that make it; empty when that cannot be said."""
    try:
        versions = [(name, _version(name)) for name in _MAKERS]
    except (OSError, TunebookError, metadata.PackageNotFoundError):
        return ""
    parts = [setup_sum(setup, before), setup.book, setup.messages, versions]
    for one in files:
        parts += [one] if isinstance(one, Message) else [one.name, one.data]
    return content_sum(*parts, str(setup.folder), str(output))


def _version(maker: str) -> str:
    """The version of a package; LilyPond may be the system's own instead."""
    try:
        return metadata.version(maker)
    except metadata.PackageNotFoundError:
        if maker != "lilypond":
            raise
    from tunebook.engrave.program import find_lilypond

    program = find_lilypond()
    return f"{program.path} {program.version_text}"


def fetch(folder: Path | None, key: str) -> Any | None:
    """Return what is kept under ``key``, or None."""
    if folder is None:
        return None
    path = _path(folder, key)
    try:
        content = read_whole(path)
        data = content[_SUM_BYTES:]
        if content[:_SUM_BYTES] != hashlib.sha256(data).digest():
            return None
        os.utime(path)
        return pickle.loads(data)
    except Exception:  # missing, damaged, or made by other versions of the packages
        remove_other_kinds(path)
        return None


def keep(folder: Path | None, key: str, value: object) -> None:
    """Keep ``value`` under ``key``; a cache that cannot be written is no error."""
    if folder is None:
        return
    data = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    try:
        write_whole(_path(folder, key), hashlib.sha256(data).digest() + data)
    except OutputError:
        return


def trim(folder: Path | None, limit_bytes: int = LIMIT_BYTES) -> None:
    """Remove the least recently used entries beyond the limit."""
    if folder is None:
        return
    entries = []
    for path in listed(folder, "solved/??/*"):
        try:
            facts = path.stat()
        except OSError:
            continue
        entries.append((facts.st_mtime, facts.st_size, path))
    total = sum(size for _, size, _ in entries)
    for _, size, path in sorted(entries):
        if total <= limit_bytes:
            break
        path.unlink(missing_ok=True)
        total -= size


def moved(messages: Iterable[Message], tune: Tune, lines: int) -> tuple[Message, ...]:
    """Return messages about ``tune`` moved down by ``lines``, to where the tune stands now."""
    return tuple(
        replace(one, place=replace(one.place, line=one.place.line + lines))
        if lines and one.place.path == tune.file and one.place.line
        else one
        for one in messages
    )


def _path(folder: Path, key: str) -> Path:
    return folder / "solved" / key[:2] / key


def fault_folder() -> Path:
    """Where traces of faults of the program are kept until somebody has sent them."""
    return default_cache_folder().parent / "faults"


def describe_cache() -> str:
    """Return one line: where the cache is and how much it holds. Raises OutputError when it may
    not be looked into."""
    cache = EngravingCache(default_cache_folder())
    _check_rights(cache.folder)
    most_mb = (cache.limit_bytes + LIMIT_BYTES) / 1e6
    return f"{cache.folder}: {_said(cache.size())} of at most {most_mb:.0f} MB{_faults_said()}"


def clear_cache() -> str:
    """Remove everything kept and return one line about it. Raises OutputError as describe_cache
    does."""
    cache = EngravingCache(default_cache_folder())
    _check_rights(cache.folder)
    faults = _faults_said()
    gone = cache.clear()
    shutil.rmtree(fault_folder(), ignore_errors=True)
    return f"{cache.folder}: {_said(gone)}{faults} removed"


def _said(size: CacheSize) -> str:
    what = "files of engraved music, solved tunes, books and fonts"
    return f"{size.entries} {what}, {size.size_bytes / 1e6:.1f} MB"


def _faults_said() -> str:
    """How many traces of faults lie beside it, if there are any."""
    count = len(listed(fault_folder(), "*.txt"))
    return f", reports of faults: {count}" if count else ""


def _check_rights(folder: Path) -> None:
    try:
        os.listdir(folder)
    except FileNotFoundError:
        return
    except OSError as error:
        place = SourcePlace(str(folder))
        raise OutputError(f"cannot be read ({error.strerror})", "check its rights", place) from None
