"""The book made anew whenever something is saved that it is made of.

What counts is what the files hold: the folder is looked through again after every word of the
system that something in it changed, and once a second besides, since not every disk gives word.
So the book itself may lie in the folder, editors may save by renaming, and a file that is saved
without a change makes no work. A tune that cannot be used any more, or whose last bar is not yet
whole (one is typing it), keeps the last good book.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from tunebook.errors import InputError, Message, ProgramError, TunebookError
from tunebook.model.book import BuildReport
from tunebook.pipeline.build import build
from tunebook.pipeline.half_typed import half_typed
from tunebook.pipeline.kept import book_sum
from tunebook.pipeline.load import (
    BuildOrder,
    Progress,
    Setup,
    Wishes,
    no_progress,
    prepare,
    read_files,
)
from tunebook.pipeline.remembered import next_turn, remembering
from tunebook.read.folder import AbcFile, look_through

LOOK_EVERY_MS = 1000
SAVED_TOGETHER_MS = 60
"""Files saved within this time make one book."""

Facts = dict[str, tuple[int, int, int]]
"""By path: when a file was changed (ns), how long it is, and its number."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One time the book was made or was not. ``changed`` says what was saved ("a.abc", "a.abc
    removed"), ``tunes`` are the titles that were worked out anew. Without a ``report`` the book
    stays as it was, for what ``error`` says or for the tunes in ``messages``; with one these are
    what was not said before."""

    changed: tuple[str, ...] = ()
    tunes: tuple[str, ...] = ()
    report: BuildReport | None = None
    error: TunebookError | None = None
    messages: tuple[Message, ...] = ()
    seconds: float = 0.0


class _BrokenError(Exception):
    """Tunes would be left out that were in the book before."""

    def __init__(self, messages: Sequence[Message]) -> None:
        super().__init__()
        self.messages = tuple(messages)


def watch_book(
    folder: Path, wishes: Wishes, order: BuildOrder, on_progress: Progress = no_progress
) -> Iterator[Turn]:
    """Make the book, and again after each change; yield what became of it each time.

    Goes on until an interrupt. Raises what making the book raises the first time; later that is
    part of a Turn. ProgramError when the folder cannot be watched.
    """
    with remembering():
        view = _View(folder, wishes, order)
        yield view.first_turn(on_progress)
        for _ in _awaited(folder):
            turn = view.turn_if_changed()
            if turn is not None:
                yield turn


def _awaited(folder: Path) -> Iterator[None]:
    """One step for each word of a change, and one a second."""
    from watchfiles import watch

    # Of a single file the folder is watched: editors put another file in its place.
    place, is_deep = (folder, True) if folder.is_dir() else (folder.absolute().parent, False)
    try:
        for _ in watch(
            place,
            watch_filter=None,
            step=SAVED_TOGETHER_MS,
            rust_timeout=LOOK_EVERY_MS,
            yield_on_timeout=True,
            recursive=is_deep,
            ignore_permission_denied=True,
        ):
            yield
    except OSError as error:
        raise ProgramError(
            f"{folder} cannot be watched ({error.strerror or error})",
            "raise the system's limit of watched files, or build without --watch",
        ) from None


@dataclass
class _View:
    """What the book was last made of."""

    folder: Path
    wishes: Wishes
    order: BuildOrder
    setup: Setup | None = None
    facts: Facts = field(default_factory=dict)
    sums: dict[str, object] = field(default_factory=dict)
    left_out: frozenset[tuple[str, str]] = frozenset()
    said: frozenset[tuple[str, str]] = frozenset()

    def first_turn(self, on_progress: Progress) -> Turn:
        self.facts = self._facts()
        self.setup = prepare(self.folder, self.wishes)
        self.sums = _sums(self.setup, read_files(self.setup))
        report = build(self.setup, self.order, on_progress)
        self._accept(report)
        return Turn(report=report, messages=report.messages)

    def turn_if_changed(self) -> Turn | None:
        """Make the book when anything was saved that it is made of."""
        facts = self._facts()
        if facts == self.facts:
            return None
        touched = sorted(
            os.path.basename(path)
            for path in facts.keys() | self.facts.keys()
            if facts.get(path) != self.facts.get(path)
        )
        self.facts = facts
        begun = time.perf_counter()
        try:
            setup = prepare(self.folder, self.wishes)
            files = read_files(setup)
            sums = _sums(setup, files)
        except TunebookError as error:
            self.sums = {**self.sums, "": error.what}
            return Turn(tuple(touched), error=error)
        changed = _changed(self.sums, sums, touched)
        self.setup, self.sums = setup, sums
        if not changed:
            return None
        next_turn()
        begun_tunes = [one for one in half_typed(files, setup) if _known_as(one) not in self.said]
        if begun_tunes:
            return Turn(changed, messages=tuple(begun_tunes))
        return self._made(setup, changed, begun)

    def _made(self, setup: Setup, changed: tuple[str, ...], begun: float) -> Turn:
        titles: list[str] = []

        def hear(stage: str, name: str, _done: int, _total: int) -> None:
            if stage == "arranging":
                titles.append(name)

        try:
            report = build(setup, replace(self.order, check_left_out=self._refuse_new), hear)
        except _BrokenError as broken:
            return Turn(changed, messages=broken.messages)
        except TunebookError as error:
            return Turn(changed, error=error)
        new = tuple(one for one in report.messages if _known_as(one) not in self.said)
        self._accept(report)
        spent = time.perf_counter() - begun
        return Turn(changed, tuple(titles), report, messages=new, seconds=spent)

    def _accept(self, report: BuildReport) -> None:
        self.left_out = frozenset(map(_known_as, report.left_out))
        self.said = frozenset(map(_known_as, report.messages))

    def _refuse_new(self, left_out: Sequence[Message]) -> None:
        """Raise _BrokenError for what the last good book did not leave out."""
        new = [one for one in left_out if _known_as(one) not in self.left_out]
        if new:
            raise _BrokenError(new)

    def _facts(self) -> Facts:
        """The facts of all files that count, as cheaply as can be."""
        paths = set(self.setup.read.paths() if self.setup else ())
        paths.add(self.wishes.settings_file or _home(self.folder) / "tunes.toml")
        may_leave = self.setup is not None and self.setup.may_leave_folder
        with suppress(InputError):  # that the folder is gone is told by preparing
            paths.update(look_through(self.folder, may_leave=may_leave).files)
        found: Facts = {}
        for path in paths:
            try:
                facts = os.stat(path)
            except OSError:
                continue
            found[str(path)] = (facts.st_mtime_ns, facts.st_size, facts.st_ino)
        return found


def _home(folder: Path) -> Path:
    return folder if folder.is_dir() else folder.parent


def _sums(setup: Setup, files: Sequence[AbcFile | Message]) -> dict[str, object]:
    """What decides the book: by the name of a file its bytes, what is said of one, and under no
    name the settings."""
    found: dict[str, object] = {"": (book_sum(setup, None, Path(), ()), setup.messages)}
    for one in files:
        if isinstance(one, Message):
            found[one.place.path] = one.what
        else:
            found[one.name] = one.data
    return found


def _changed(
    before: dict[str, object], now: dict[str, object], touched: Sequence[str]
) -> tuple[str, ...]:
    """What differs, in words; the files ``touched`` tell which of the settings' files it was."""
    words = []
    for name in sorted(before.keys() | now.keys()):
        if before.get(name) == now.get(name):
            continue
        if not name:
            words += [one for one in touched if one.endswith(".toml")] or ["settings"]
            continue
        verb = "" if name in before and name in now else "added" if name in now else "removed"
        words.append(f"{name} {verb}".strip())
    return tuple(words)


def _known_as(message: Message) -> tuple[str, str]:
    """What makes two messages the same though lines were added above."""
    return message.place.path, message.what
