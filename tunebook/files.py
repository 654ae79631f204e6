"""Read files without waiting, remember which were read, and write files whole or not at all.

Only regular files are read and only regular files are replaced: a pipe could keep the program
waiting for ever, and a device is no place for a book. What a run has read it never writes over;
:class:`FilesRead` is the one record of that, kept by reading and asked by writing.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import re
import secrets
import stat
import sys
import tempfile
import time
import unicodedata
from pathlib import Path

from tunebook.errors import OutputError, SourcePlace

_TEMPORARY = re.compile(r"\.tunebook-(\d+)-[0-9a-f]{12}")
_LEFT_BEHIND_AFTER_S = 600.0
_FORGOTTEN_AFTER_S = 24 * 3600.0
FILE = "a file"
FOLDER = "a folder"
_KINDS = (
    (stat.S_ISREG, FILE),
    (stat.S_ISDIR, FOLDER),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


class FilesRead:
    """The files that a run has read or is about to read; none of them is ever written over."""

    def __init__(self) -> None:
        self._names: set[str] = set()
        self._numbers: set[tuple[int, int]] = set()
        self._paths: dict[Path, None] = {}

    def note(self, path: Path) -> None:
        """Note that ``path`` is read, by its name and, for other names of it, by its number."""
        self._paths[path] = None
        self._names.add(_folded(path))
        number = _number(path)
        if number is not None:
            self._numbers.add(number)

    def add(self, other: FilesRead) -> None:
        """Note all that ``other`` has noted."""
        self._paths |= other._paths
        self._names |= other._names
        self._numbers |= other._numbers

    def paths(self) -> tuple[Path, ...]:
        """The files by the paths under which they are read."""
        return tuple(self._paths)

    def holds(self, path: Path) -> bool:
        """Whether ``path`` is one of the files, whatever links lead to it; a name that differs
        only in capitals is the same file on many machines, and so on all."""
        return _folded(path) in self._names or _number(path) in self._numbers

    def check(self, path: Path) -> None:
        """Raise OutputError when ``path`` is one of the files."""
        if self.holds(path):
            place = SourcePlace(str(path))
            raise OutputError(
                "is one of the files that are read here", "choose another place", place
            )

    def __reduce__(self) -> tuple[type[FilesRead], tuple[()]]:
        # Workers write nothing, so the record stays with the process that does.
        return FilesRead, ()


def _folded(path: Path) -> str:
    return unicodedata.normalize("NFC", os.path.realpath(path)).casefold()


def _number(path: Path) -> tuple[int, int] | None:
    """Device and number of the file at ``path``; None where there is none, or it has none."""
    try:
        facts = os.stat(path)
    except (OSError, ValueError):
        return None
    return (facts.st_dev, facts.st_ino) if facts.st_ino else None


def kind_of(path: Path) -> str:
    """What stands at ``path``: FILE, FOLDER, another kind in words; empty for nothing at all.

    Links are followed. Raises OSError when that cannot be found out."""
    try:
        mode = os.stat(path).st_mode
    except (FileNotFoundError, NotADirectoryError):
        return "a link that leads nowhere" if os.path.islink(path) else ""
    except OSError as error:
        if error.errno == errno.ELOOP:
            return "a link that leads in a circle"
        raise
    return next((name for is_kind, name in _KINDS if is_kind(mode)), "no file")


def read_whole(path: Path, read: FilesRead | None = None) -> bytes:
    """Return the bytes of the regular file at ``path``, noted in ``read``.

    Raises OSError, whose ``strerror`` says in words when something else stands there; that is
    not opened at all."""
    kind = kind_of(path)
    if kind not in ("", FILE):
        raise _other_kind(kind)
    with open(path, "rb", opener=_open_at_once) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise _other_kind("no file any more")
        if read is not None:
            read.note(path)
        return file.read()


def read_text(path: Path, read: FilesRead | None = None) -> str:
    """Return the text of a file in UTF-8, line ends made newlines. Raises as read_whole does, and
    UnicodeDecodeError."""
    return io.StringIO(read_whole(path, read).decode("utf-8-sig"), newline=None).read()


def remove_other_kinds(path: Path) -> None:
    """Remove a pipe, a device or a link to one where a file of our own is wanted; files and
    folders stay."""
    with contextlib.suppress(OSError):
        if kind_of(path) not in ("", FILE, FOLDER):
            path.unlink()


def _open_at_once(path: str, flags: int) -> int:
    """Open without waiting, should a pipe have taken the file's place a moment ago."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0))


def _other_kind(kind: str) -> OSError:
    return OSError(errno.EINVAL, f"it is {kind}")


_written: list[Path] = []


def files_written() -> int:
    """How many files this process has written; what it keeps for itself does not count."""
    return len(_written)


def write_whole(
    path: Path,
    content: bytes,
    *,
    may_overwrite: bool = True,
    read: FilesRead | None = None,
    is_for_the_user: bool = True,
) -> None:
    """Write ``content`` to a temporary file beside ``path``, then rename it into place.

    A link that leads to a file stays, and that file is replaced. Raises OutputError when it
    cannot be done, when something else than a file stands there, or when ``path`` was read; what
    stood there before is then untouched.
    """
    if read is not None:
        read.check(path)
    temporary: str | None = None
    try:
        target = _replaceable(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        temporary = str(target.parent / f".tunebook-{os.getpid()}-{secrets.token_hex(6)}")
        # Not by tempfile, whose files nobody else may read.
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        if may_overwrite:
            _replace(temporary, target)
        else:
            _place_new(temporary, target, content)
        if is_for_the_user:
            _written.append(target)
    except OSError as error:
        _remove(temporary)
        raise _not_writable(error, SourcePlace(str(path))) from None
    except BaseException:
        _remove(temporary)
        raise


def _replace(temporary: str, target: Path) -> None:
    """Rename ``temporary`` over ``target``. Windows refuses it while another program holds the
    file open."""
    try:
        os.replace(temporary, target)
    except PermissionError as error:
        if not target.exists():
            raise
        raise OutputError(
            f"cannot be replaced ({error.strerror})",
            "close it where it is open, as in a PDF viewer, or choose another place",
            SourcePlace(str(target)),
        ) from None


def _place_new(temporary: str, target: Path, content: bytes) -> None:
    """Give ``temporary`` the name ``target`` unless there is such a file; disks without links
    (FAT, exFAT) get the content itself."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise
    except OSError:
        with open(target, "xb") as file:
            try:
                file.write(content)
                file.flush()
            except BaseException:
                os.unlink(target)
                raise
    os.unlink(temporary)


def _replaceable(path: Path) -> Path:
    """The file that is replaced when ``path`` is written; OSError when it is no regular file."""
    kind = kind_of(path)
    if kind not in ("", FILE):
        raise _other_kind(kind)
    return Path(os.path.realpath(path)) if kind and path.is_symlink() else path


def check_writable(path: Path, read: FilesRead | None = None) -> None:
    """Raise OutputError early when ``path`` is no regular file, was read, or when its folder
    cannot be written to."""
    _check_kind(path, FILE)
    if read is not None:
        read.check(path)
    target = Path(os.path.realpath(path)) if path.is_symlink() else path
    _check_room(target.parent, path)


def check_writable_folder(path: Path) -> None:
    """Raise OutputError early when ``path`` is no folder, or nothing can be written into it."""
    _check_kind(path, FOLDER)
    _check_room(path, path)


def _check_kind(path: Path, wanted: str) -> None:
    where = SourcePlace(str(path))
    try:
        kind = kind_of(path)
    except OSError as error:
        raise _not_writable(error, where) from None
    if kind not in ("", wanted):
        raise OutputError(f"is {kind}", f"name {wanted}", where)


def _check_room(folder: Path, path: Path) -> None:
    _remove_left_behind(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise _not_writable(error, SourcePlace(str(path))) from None


def _remove_left_behind(folder: Path) -> None:
    """Remove what runs that were killed in the middle of writing left in ``folder``."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            match = _TEMPORARY.fullmatch(entry.name)
            with contextlib.suppress(OSError):
                if match and _is_left_behind(entry.stat(follow_symlinks=False), int(match[1])):
                    os.unlink(entry.path)


def _is_left_behind(facts: os.stat_result, process: int) -> bool:
    """Whether a half-written file is this user's and nobody writes it any more: it is older than
    any writing takes, and its process is gone, or it is very old (the process may have been another
    machine's, or another has its number now)."""
    if not stat.S_ISREG(facts.st_mode):
        return False
    if hasattr(os, "geteuid") and facts.st_uid != os.geteuid():
        return False
    age_s = time.time() - facts.st_mtime
    if age_s > _FORGOTTEN_AFTER_S or sys.platform == "win32":
        return age_s > _FORGOTTEN_AFTER_S
    return age_s > _LEFT_BEHIND_AFTER_S and not _is_running(process)


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def _not_writable(error: OSError, where: SourcePlace) -> OutputError:
    reason = error.strerror or type(error).__name__
    return OutputError(f"cannot be written ({reason})", "choose another place", where)


def _remove(temporary: str | None) -> None:
    if temporary is not None and os.path.exists(temporary):
        os.unlink(temporary)
