"""Write files whole or not at all."""

from __future__ import annotations

import os
import secrets
import tempfile
from collections.abc import Iterable
from pathlib import Path

from tunebook.errors import OutputError, SourcePlace


def write_whole(path: Path, content: bytes, *, may_overwrite: bool = True) -> None:
    """Write ``content`` to a temporary file beside ``path``, then rename it into place.

    Raises OutputError when that cannot be done; what stood there before is then untouched.
    """
    temporary: str | None = None
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = str(path.parent / f".tunebook-{os.getpid()}-{secrets.token_hex(6)}")
        # Not by tempfile, whose files nobody else may read.
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        if may_overwrite:
            os.replace(temporary, path)
        else:
            os.link(temporary, path)
            os.unlink(temporary)
    except OSError as error:
        _remove(temporary)
        reason = error.strerror or type(error).__name__
        raise OutputError(
            f"cannot be written ({reason})", "choose another place", SourcePlace(str(path))
        ) from None
    except BaseException:
        _remove(temporary)
        raise


def check_writable(path: Path) -> None:
    """Raise OutputError early when ``path`` is a folder or its folder cannot be written to."""
    where = SourcePlace(str(path))
    if path.is_dir():
        raise OutputError("is a folder", "name a file", where)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path.parent):
            pass
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise OutputError(f"cannot be written ({reason})", "choose another place", where) from None


def check_not_read(path: Path, read: Iterable[Path]) -> None:
    """Raise OutputError when ``path`` is one of the files that are read: tunes and settings are
    never written over."""
    target = path.resolve()
    if any(target == one.resolve() for one in read):
        raise OutputError(
            "is one of the files that are read here", "choose another place", SourcePlace(str(path))
        )


def _remove(temporary: str | None) -> None:
    if temporary is not None and os.path.exists(temporary):
        os.unlink(temporary)
