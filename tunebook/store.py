"""What is kept between runs: files in one folder, each found by its kind and a sum of its making.

A file appears by renaming, so that two runs may write at once, and may vanish at any time: what is
used for a while is linked into the run's own folder. Each carries the SHA-256 of its content, in
front of it or as its name; a damaged one, or one that cannot be read, is as good as none. The time
of a file is that of its last use. What the bytes mean is the affair of the stage that keeps them.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from tunebook.errors import OutputError
from tunebook.files import read_whole, remove_other_kinds, write_whole

Kind = Literal["pieces", "sheets", "scores", "tunes", "solved", "books", "fonts", "leaves"]

LIMIT_BYTES = 568_000_000
_FORMAT = 3
_SUM_BYTES = 32
_SHELF = "[0-9a-f][0-9a-f]"
# As they were kept before there were kinds: never read again, so they are the first to go.
_EARLIER = (f"{_SHELF}/*", "sheets/*", "*.font", ".tunebook-*")
_FOLDERS = (_SHELF, *(pattern for kind in get_args(Kind) for pattern in (f"{kind}/{_SHELF}", kind)))


def cache_folder() -> Path:
    """The user's folder for what may be made anew; an absolute XDG_CACHE_HOME goes before."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("tunebook", appauthor=False, opinion=False))


def key_of(*parts: object) -> str:
    """The sum of everything that decides a result, in hexadecimal; of what is not bytes, the text
    that ``repr`` gives."""
    digest = hashlib.sha256()
    for part in (_FORMAT, *parts):
        data = part if isinstance(part, bytes) else repr(part).encode("utf-8", "surrogatepass")
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class StoreSize:
    """How much is kept: files and bytes."""

    files: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Store:
    """What is kept under ``folder``; without one nothing is. A folder that cannot be read or
    written is as good as none."""

    folder: Path | None = None
    limit_bytes: int = LIMIT_BYTES

    def fetch(self, kind: Kind, key: str) -> bytes | None:
        """What was kept as ``key``; None when there is nothing, or it is damaged."""
        content = self._content(kind, key)
        data = content[_SUM_BYTES:]
        return data if content[:_SUM_BYTES] == hashlib.sha256(data).digest() else None

    def has(self, kind: Kind, key: str) -> bool:
        """Whether anything is kept as ``key``, whole or not."""
        return self.folder is not None and os.path.exists(self._path(kind, key))

    def keep(self, kind: Kind, key: str, data: bytes) -> None:
        """Keep ``data`` as ``key``; it is no error when that cannot be done."""
        self._write(kind, key, hashlib.sha256(data).digest() + data)

    def keep_file(self, kind: Kind, content: bytes) -> str:
        """Keep the content of a file for :meth:`link`; returns its name there, which is its sum."""
        name = hashlib.sha256(content).hexdigest()
        self._write(kind, name, content)
        return name

    def link(self, kind: Kind, name: str, target: Path) -> bool:
        """Make the kept file ``name`` appear as ``target``, where it stays when it is removed here;
        False when there is no such file, or it is damaged."""
        if hashlib.sha256(self._content(kind, name)).hexdigest() != name:
            return False
        source = self._path(kind, name)
        try:
            target.unlink(missing_ok=True)
            os.link(source, target)
        except OSError:
            shutil.copyfile(source, target)
        return True

    def trim(self) -> None:
        """Remove what was not used for the longest time, as far as there is more than the limit."""
        found = sorted(self._files())
        total = sum(size for _, size, _ in found)
        for _, size, path in found:
            if total <= self.limit_bytes:
                break
            with contextlib.suppress(OSError):
                path.unlink()
                total -= size

    def size(self, kind: Kind | None = None) -> StoreSize:
        """How much is kept now: all, or one kind of it."""
        sizes = [size for _, size, _ in self._files(kind)]
        return StoreSize(len(sizes), sum(sizes))

    def clear(self) -> StoreSize:
        """Remove all that is kept here, also where the folder is a link to another, but nothing
        else that lies there; returns how much was removed."""
        before = self.size()
        for _, _, path in self._files():
            with contextlib.suppress(OSError):
                path.unlink()
        if self.folder is not None:
            empty = [path for pattern in _FOLDERS for path in self.folder.glob(pattern)]
            for path in empty if self.folder.is_symlink() else [*empty, self.folder]:
                with contextlib.suppress(OSError):
                    path.rmdir()
        after = self.size()
        return StoreSize(before.files - after.files, before.size_bytes - after.size_bytes)

    def _path(self, kind: Kind, key: str) -> Path:
        return (self.folder or Path()) / kind / key[:2] / key

    def _content(self, kind: Kind, key: str) -> bytes:
        """The bytes of a file, which is used now; none where there is no such file."""
        content = b""
        if self.folder is not None:
            path = self._path(kind, key)
            with contextlib.suppress(OSError):
                content = read_whole(path)
                os.utime(path)
        return content

    def _write(self, kind: Kind, key: str, content: bytes) -> None:
        if self.folder is not None:
            path = self._path(kind, key)
            remove_other_kinds(path)
            with contextlib.suppress(OutputError):
                write_whole(path, content, is_for_the_user=False)

    def _files(self, kind: Kind | None = None) -> list[tuple[float, int, Path]]:
        """(time of last use, bytes, file) of what is kept, links and all else but folders too."""
        found = []
        patterns = [f"{one}/{_SHELF}/*" for one in ([kind] if kind else get_args(Kind))]
        for pattern in patterns if kind else (*patterns, *_EARLIER):
            with contextlib.suppress(OSError):
                for path in self.folder.glob(pattern) if self.folder else ():
                    facts = path.lstat()
                    if not stat.S_ISDIR(facts.st_mode):
                        found.append((facts.st_mtime, facts.st_size, path))
        return found


NO_STORE = Store()


def default_store(is_wanted: bool = True) -> Store:
    """The user's store, or one that keeps nothing."""
    return Store(cache_folder() / "engraved") if is_wanted else NO_STORE
