"""A folder for what is only wanted during a run; those of killed runs are removed by the next."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tunebook.errors import NO_ROOM, OutputError

_NAME = re.compile(r"tunebook-\d+-\w+")
_LOCK = "in use"
_UNLOCKED_AFTER_S = 24 * 3600.0


@contextmanager
def work_folder() -> Iterator[Path]:
    """A new folder in the system's temporary one, removed with all that is in it.

    Raises OutputError when there is none, or when there is no room for what is written there.
    """
    lock: int | None = None
    try:
        _remove_left_behind()
        prefix = f"tunebook-{os.getpid()}-"
        with tempfile.TemporaryDirectory(prefix=prefix, ignore_cleanup_errors=True) as folder:
            try:
                lock = _locked(Path(folder))
                yield Path(folder)
            finally:
                if lock is not None:
                    os.close(lock)
    except OSError as error:
        is_ours = str(error.filename or "").startswith(tempfile.gettempdir())
        # What is written bit by bit fails without a name.
        is_full = error.errno in NO_ROOM and (is_ours or error.filename is None)
        if lock is None or is_full:
            raise _no_room(error) from None
        raise


def _no_room(error: OSError) -> OutputError:
    reason = error.strerror or type(error).__name__
    return OutputError(
        f"the temporary folder cannot be written ({reason})",
        "make room there, or set TMPDIR to another folder",
    )


def _locked(folder: Path) -> int:
    """Take the folder's lock, which the system lets go of when this process ends, however that
    comes about. It appears only when it is taken."""
    new = folder / f"{_LOCK}.new"
    handle = os.open(new, os.O_RDWR | os.O_CREAT, 0o600)
    if sys.platform != "win32":
        import fcntl

        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            os.rename(new, folder / _LOCK)
    return handle


def _remove_left_behind() -> None:
    """Remove folders of ours whose process was killed."""
    with suppress(OSError), os.scandir(tempfile.gettempdir()) as entries:
        for entry in entries:
            with suppress(OSError):
                if _NAME.fullmatch(entry.name) and _is_left_behind(entry):
                    shutil.rmtree(entry.path, ignore_errors=True)


def _is_left_behind(entry: os.DirEntry[str]) -> bool:
    """Whether nobody uses the folder any more: it is this user's, and its lock is free, or it has
    none (as on Windows) and is old."""
    if not entry.is_dir(follow_symlinks=False):
        return False
    facts = entry.stat(follow_symlinks=False)
    if hasattr(os, "geteuid") and facts.st_uid != os.geteuid():
        return False
    lock = os.path.join(entry.path, _LOCK)
    if sys.platform == "win32" or not os.path.exists(lock):
        return time.time() - facts.st_mtime > _UNLOCKED_AFTER_S
    import fcntl

    handle = os.open(lock, os.O_RDWR | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True
