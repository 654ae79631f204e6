"""From a folder to its tunes: finds ABC files and scores, reads each once, and every tune in them.

One rule holds for all that is found in a folder: nothing is read from outside it. A link to a file
or a folder that leads out is passed over, unless tunes.toml allows it (``may_leave_folder``). A
link to a folder within is not followed either: what it leads to is read at its own place. So no
circle of links is ever walked.

The steps are :func:`look_through`, :func:`iterate_files` and :func:`iterate_tunes`, each of which
hands on what it cannot use as a message; :func:`read_folder` takes all three.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.files import FILE, FOLDER, FilesRead, kind_of, read_whole
from tunebook.model.tune import Tune
from tunebook.read.abc.text import decode
from tunebook.read.abc.tune import (
    Reading,
    TuneText,
    cut_into_tunes,
    fatal_message,
    read_tune,
)
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.spots import SCORE_SUFFIXES, Spots, is_score

_ABC_SUFFIX = ".abc"
FILE_SUFFIXES = (_ABC_SUFFIX, *SCORE_SUFFIXES)
"""Endings of files with tunes."""
_ALLOW = "or set may_leave_folder = true under [reading] in tunes.toml"


@dataclass(frozen=True, slots=True)
class FolderFiles:
    """The files with tunes of a folder in order of their paths, and what was passed over."""

    files: tuple[Path, ...]
    messages: tuple[Message, ...]


def look_through(folder: Path, *, may_leave: bool = False) -> FolderFiles:
    """Find the files with tunes of a folder and its subfolders; or the one file.

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
            elif path.suffix.lower() in FILE_SUFFIXES:
                self.take(path, entry.is_file(follow_symlinks=False))

    def take(self, path: Path, is_file: bool) -> None:
        """Take a file; say what else bears the name of one."""
        if is_file:
            self.files.append(path)
        elif kind := kind_of(path):
            self.say(path, f"it is {kind}", "put a file with tunes there")

    def follow(self, path: Path) -> None:
        """Take what a link leads to, or say why it is passed over."""
        is_named = path.suffix.lower() in FILE_SUFFIXES
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


_CONTROL_CODES = bytes(code for code in range(32) if code not in b"\t\n\r\f\v\x1a\x1b")
_TEXT_BYTES_A_CONTROL = 100


@dataclass(frozen=True, slots=True)
class AbcFile:
    """The bytes of an ABC file or a score, and the name under which places in it are told. Where
    ``data`` is ABC that was made of a score, ``spots`` and ``messages`` are those of ScoreText."""

    name: str
    data: bytes
    spots: Spots | None = None
    messages: tuple[Message, ...] = ()


def read_folder(
    folder: Path | str,
    *,
    voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
    may_leave: bool = False,
    read: FilesRead | None = None,
) -> Reading:
    """Read every tune of a folder and its subfolders, or of one file.

    A tune that cannot be used is left out with a fatal message, whatever goes wrong in reading
    it; an interrupt ends the reading. ``may_leave`` follows links that lead out of the folder; the
    files are noted in ``read``. Raises InputError when the folder is not there.
    """
    files = iterate_files(Path(folder), limits=limits, may_leave=may_leave, read=read)
    tunes: list[Tune] = []
    messages: list[Message] = []
    for one in iterate_tunes(files, voice=voice, limits=limits):
        if isinstance(one, Message):
            messages.append(one)
        else:
            tunes.append(one[1])
            messages.extend(one[1].messages)
    return Reading(tuple(tunes), tuple(messages))


def iterate_files(
    folder: Path,
    *,
    limits: ReadingLimits = DEFAULT_LIMITS,
    may_leave: bool = False,
    read: FilesRead | None = None,
) -> Iterator[AbcFile | Message]:
    """The files with tunes of a folder, or the one file, each read when it is its turn; and
    messages on those that are not read. Arguments and errors as those of :func:`read_folder`."""
    found = look_through(folder, may_leave=may_leave)
    root = folder if folder.is_dir() else folder.parent
    if read is not None:
        for path in found.files:
            read.note(path)
    yield from found.messages
    for path in found.files:
        yield _file_at(path, _relative(path, root), limits)


def iterate_tunes(
    files: Iterable[AbcFile | Message],
    *,
    voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
    reader: Callable[..., Tune] = read_tune,
) -> Iterator[tuple[TuneText, Tune] | Message]:
    """Each tune of ``files`` with its text, and the messages about files and about tunes that are
    left out; what a tune has to say of itself is among its own messages. ``reader`` answers as
    :func:`read_tune` does."""
    for piece in iterate_tune_texts(files, limits=limits):
        if isinstance(piece, Message):
            yield piece
            continue
        try:
            tune = reader(piece, voice=voice, limits=limits)
        except InputError as error:
            yield fatal_message(error, piece)
        except Exception as error:  # a fault of ours costs this tune and no other
            yield _fault(error, piece.place, "tune")
        else:
            yield piece, tune


def iterate_tune_texts(
    files: Iterable[AbcFile | Message], *, limits: ReadingLimits = DEFAULT_LIMITS
) -> Iterator[TuneText | Message]:
    """The texts of the tunes in ``files``, one after the other."""
    for file in with_scores_as_abc(files, limits):
        if isinstance(file, Message):
            yield file
            continue
        if not is_text(file.data):
            what = "the file is not text"
            yield Message(SourcePlace(file.name), "file", what, "is it an ABC file?", is_fatal=True)
            continue
        pieces = _pieces_of(file, limits)
        if not pieces and file.data.strip():
            what = "no tune was found in the file"
            yield Message(SourcePlace(file.name), "file", what, "a tune begins with X:")
        yield from pieces


def with_scores_as_abc(
    files: Iterable[AbcFile | Message], limits: ReadingLimits = DEFAULT_LIMITS
) -> Iterator[AbcFile | Message]:
    """The files, those that are scores as ABC; a message for each that cannot be read."""
    for file in files:
        if isinstance(file, AbcFile) and is_raw_score(file):
            yield score_as_abc_file(file, limits)
        else:
            yield file


def is_raw_score(file: AbcFile) -> bool:
    """Whether a file is a score of which no ABC was made yet."""
    return file.spots is None and is_score(file.name)


def score_as_abc_file(file: AbcFile, limits: ReadingLimits) -> AbcFile | Message:
    """A score as ABC; a message of kind "score" where it cannot be used, and of kind "file" where
    the program is at fault."""
    from tunebook.read.scores.score import score_as_abc

    try:
        found = score_as_abc(file.data, file.name, limits)
    except InputError as error:
        place = error.place or SourcePlace(file.name)
        return Message(place, "score", error.what, f"left out; {error.remedy}", is_fatal=True)
    except Exception as error:  # a fault of ours costs this file and no other
        return _fault(error, SourcePlace(file.name), "file")
    return AbcFile(file.name, found.text.encode("utf-8"), found.spots, found.messages)


def _file_at(path: Path, name: str, limits: ReadingLimits) -> AbcFile | Message:
    """The file, or a message when it is too large or cannot be read."""
    place = SourcePlace(name)
    try:
        if path.stat().st_size > limits.file_bytes:
            what = f"the file is larger than {limits.file_bytes} bytes"
            remedy = "split it, or raise file_bytes under [reading]"
            return Message(place, "limit", what, remedy, is_fatal=True)
        return AbcFile(name, read_whole(path))
    except OSError as error:
        what = f"the file cannot be read ({error.strerror})"
        return Message(place, "file", what, "check its rights", is_fatal=True)


def _pieces_of(file: AbcFile, limits: ReadingLimits) -> list[TuneText | Message]:
    """The tunes of a file's bytes; those before the place where anything goes wrong."""
    pieces: list[TuneText | Message] = []
    try:
        found = cut_into_tunes(decode(file.data)[0], file.name, limits)
        pieces.extend(found if file.spots is None else _of_score(found, file))
    except Exception as error:  # a fault of ours costs this file and no other
        pieces.append(_fault(error, SourcePlace(file.name), "file"))
    return pieces


def _of_score(pieces: Iterable[TuneText | Message], file: AbcFile) -> Iterator[TuneText | Message]:
    """The tunes of a score, with what is to be known of it; the first one has its messages."""
    messages = file.messages
    for piece in pieces:
        place = replace(piece.place, spot="")
        if isinstance(piece, TuneText):
            yield replace(piece, place=place, spots=file.spots, messages=messages)
            messages = ()
        else:
            yield replace(piece, place=place, excerpt="")


def _fault(error: Exception, place: SourcePlace, kind: str) -> Message:
    """The last resort: what was left out because reading it failed in a way nobody foresaw."""
    if isinstance(error, MemoryError):
        what, remedy = f"there is not enough memory to read this {kind}", "left out; split it"
    else:
        reason = f"{type(error).__name__}: {error}".replace("\n", " ")[:200]
        what = f"this {kind} could not be read ({reason})"
        remedy = "left out; please send the file to those who make tunebook"
    return Message(place, kind, what, remedy, is_fatal=True)


def is_text(data: bytes) -> bool:
    """True unless the bytes hold what no text does: NUL (but in UTF-16) or many control codes."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    controls = len(data) - len(data.translate(None, _CONTROL_CODES))
    return b"\0" not in data and controls * _TEXT_BYTES_A_CONTROL <= len(data)


def _relative(path: Path, root: Path) -> str:
    try:
        return path.relative_to(root).as_posix()
    except ValueError:
        return path.as_posix()
