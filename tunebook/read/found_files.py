"""The ABC files of a folder, and what is passed over in looking for them.

One rule holds for all that is found in a folder: nothing is read from outside it. A link to a file
or a folder that leads out is passed over, unless tunes.toml allows it (``may_leave_folder``). A
link to a folder within is not followed either: what it leads to is read at its own place. So no
circle of links is ever walked.
"""

from __future__ import annotations

import os
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.files import FILE, FOLDER, kind_of

_SUFFIX = ".abc"
_ALLOW = "or set may_leave_folder = true under [reading] in tunes.toml"


@dataclass(frozen=True, slots=True)
class FolderFiles:
    """The ABC files of a folder in order of their paths, and messages on what was passed over."""

    files: tuple[Path, ...]
    messages: tuple[Message, ...]


def look_through(folder: Path, *, may_leave: bool = False) -> FolderFiles:
    """Find the ABC files of a folder and its subfolders; or the one file.

    ``may_leave`` follows links that lead out of the folder. Raises InputError when ``folder`` is
    neither a folder nor a file, or cannot be looked at.
    """
    try:
        kind = kind_of(folder)
    except OSError as error:
        what = f"cannot be read ({error.strerror})"
        raise InputError(what, "check its rights", SourcePlace(str(folder))) from None
    if kind == FILE:
        return FolderFiles((folder,), ())
    if kind != FOLDER:
        what = f"{folder} is {kind or 'not there'}"
        raise InputError(what, "give a folder or file with ABC tunes")
    look = _Look(folder, os.path.realpath(folder), may_leave)
    while look.waiting or look.linked:
        look.enter(look.waiting.popleft() if look.waiting else look.linked.popleft())
    return FolderFiles(tuple(sorted(look.files)), tuple(sorted(look.messages)))


def leads_out(path: Path, folder: Path) -> bool:
    """Whether ``path``, its links followed, lies outside of ``folder``."""
    return not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))


@dataclass(slots=True)
class _Look:
    """A look through ``root``. Folders behind links come last: they may be found without one."""

    root: Path
    real_root: str
    may_leave: bool
    files: list[Path] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)
    waiting: deque[Path] = field(default_factory=deque)
    linked: deque[Path] = field(default_factory=deque)
    entered: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.waiting.append(self.root)

    def enter(self, folder: Path) -> None:
        """Sort what lies in ``folder``."""
        if self.may_leave:
            real = os.path.realpath(folder)
            if real in self.entered:
                return
            self.entered.add(real)
        try:
            with os.scandir(folder) as found:
                entries = list(found)
        except OSError as error:
            what = f"the folder cannot be read ({error.strerror})"
            self.say(folder, what, "check its rights")
            return
        for entry in entries:
            path = folder / entry.name
            if entry.is_symlink():
                self.follow(path)
            elif entry.is_dir(follow_symlinks=False):
                self.waiting.append(path)
            elif path.suffix.lower() == _SUFFIX:
                self.take(path, entry.is_file(follow_symlinks=False))

    def take(self, path: Path, is_file: bool) -> None:
        """Take a file; say what else bears the name of one."""
        if is_file:
            self.files.append(path)
        elif kind := kind_of(path):
            self.say(path, f"it is {kind}", "put a file with tunes there")

    def follow(self, path: Path) -> None:
        """Take what a link leads to, or say why it is passed over."""
        is_named = path.suffix.lower() == _SUFFIX
        try:
            kind = kind_of(path)
        except OSError as error:
            if is_named:
                self.say(
                    path, f"the link cannot be followed ({error.strerror})", "check its rights"
                )
            return
        if kind == FOLDER or (kind == FILE and is_named):
            is_outside = leads_out(path, Path(self.real_root))
            if is_outside and not self.may_leave:
                self.say(path, f"the link leads out of the folder, to {kind}", f"copy it, {_ALLOW}")
            elif kind == FILE:
                self.files.append(path)
            elif is_outside:
                self.linked.append(path)
        elif is_named:
            self.say(path, f"it is {kind}", "mend or remove it")

    def say(self, path: Path, what: str, remedy: str) -> None:
        """Note that ``path`` is left out."""
        name = path.relative_to(self.root).as_posix()
        place = SourcePlace(name if name != "." else str(self.root))
        self.messages.append(Message(place, "file", what, f"left out; {remedy}", is_fatal=True))
