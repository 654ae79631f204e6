"""Solved tunes and finished books kept by content.

A tune's key is made of its text, the file header above it, everything that the run works with
(instrument, hand, edition, choices) and the program's own files. Where the tune stands in its file,
and its choices in tunes.toml, does not count: the places in messages are moved to where both are
now. The store is the user's own cache; what is in it is trusted as the program's files are.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from importlib import metadata
from pathlib import Path
from typing import Any

from tunebook.errors import Message, SourcePlace, TunebookError
from tunebook.model.book import Book
from tunebook.model.tune import Tune
from tunebook.pipeline.load import Setup
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.packed import pack, unpack
from tunebook.pipeline.remembered import recalled, remember
from tunebook.read.folder import AbcFile
from tunebook.store import Kind, Store, key_of

_MAKERS = ("abjad", "fonttools", "lilypond", "music21", "pikepdf", "reportlab")
_REMEMBERED: tuple[Kind, ...] = ("scores", "solved")


@functools.cache
def program_sum() -> str:
    """A sum over the program's own files, so that another version works everything out anew."""
    home = Path(__file__).resolve().parents[1]
    found = hashlib.sha256()
    for path in sorted(home.rglob("*")):
        if path.suffix in (".py", ".toml", ".json", ".npz"):
            facts = path.stat()
            found.update(f"{path.relative_to(home)} {facts.st_size} {facts.st_mtime_ns}\n".encode())
    return found.hexdigest()


def content_sum(*parts: object) -> str:
    """A sum over ``parts`` and the program; equal values have equal texts (frozen dataclasses)."""
    return key_of(program_sum(), *parts)


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
                one.players,
                choices,
                one.book.language,
                one.tunings,
                one.tunes_have_tunings,
                one.book.note_names,
                one.book.paper,
                one.book.reading,
            ]
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
    if setup.book.has_sources:
        from tunebook.pipeline.unpack import folder_files

        parts += folder_files(setup)
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


def fetch(store: Store, kind: Kind, key: str, known: Sequence[object] = ()) -> Any | None:
    """Return what is kept under ``key``, or None; ``known`` is what it points to without being
    kept with it."""
    found = recalled((kind, key))
    if found is not None:
        return found
    data = store.fetch(kind, key)
    try:
        found = None if data is None else unpack(data, known)
    except Exception:  # made by other versions of the packages
        return None
    if kind in _REMEMBERED and found is not None:
        remember((kind, key), found)
    return found


def is_kept(store: Store, kind: Kind, key: str) -> bool:
    """Whether :func:`fetch` is likely to find something."""
    return recalled((kind, key)) is not None or store.has(kind, key)


def keep(store: Store, kind: Kind, key: str, value: object, known: Sequence[object] = ()) -> None:
    """Keep ``value`` under ``key``, all but what is ``known``."""
    if kind in _REMEMBERED:
        remember((kind, key), value)
    if store.folder is not None:
        store.keep(kind, key, pack(value, known))


def parts_of(tune: Tune) -> list[object]:
    """What an arrangement of ``tune`` points to: the tune, its bars and notes, and its voices."""
    parts: list[object] = [tune, *tune.voices]
    for bars in (tune.bars, *(voice.bars for voice in tune.voices)):
        for bar in bars:
            parts += [bar, *bar.notes]
    return parts


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """What messages about a solved tune point to: where the tune begins, and where the settings
    choose something for it."""

    tune: SourcePlace
    choice: SourcePlace | None = None


def whereabouts(tune: Tune, book: Book) -> Whereabouts:
    """Where a tune and what the book's settings choose for it stand now."""
    choice = book.choice(tune_identity(tune))
    here = SourcePlace(tune.file, tune.first_line)
    return Whereabouts(here, None if choice is None else choice.place)


def moved(
    messages: Iterable[Message], before: Whereabouts, now: Whereabouts
) -> tuple[Message, ...]:
    """Return messages about a tune that stood at ``before``, with places where it is ``now``."""
    if before == now:
        return tuple(messages)
    return tuple(replace(one, place=_moved_place(one.place, before, now)) for one in messages)


def _moved_place(place: SourcePlace, before: Whereabouts, now: Whereabouts) -> SourcePlace:
    if place == before.choice:
        return now.choice or now.tune
    if place.path != before.tune.path:
        return place
    line = place.line + now.tune.line - before.tune.line if place.line else 0
    return replace(place, path=now.tune.path, line=line)
