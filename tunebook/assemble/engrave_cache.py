"""Engraved music that is kept: a folder an entry, found by what was engraved, with what, and how.

An entry appears by the renaming of a finished folder, so two runs may write at once. Each holds
the SHA-256 of its files and is made anew when they do not agree. What is used is linked (or
copied) into the run's own folder, so an entry may be removed while another run uses it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

FORMAT = 1
DEFAULT_LIMIT_BYTES = 256 * 1024 * 1024
_INDEX = "entry.json"
_UNFINISHED = "unfinished-"
_UNFINISHED_AFTER_S = 24 * 3600


def default_cache_folder() -> Path:
    """The platform's folder for caches: XDG_CACHE_HOME, ~/Library/Caches or LOCALAPPDATA."""
    named = os.environ.get("XDG_CACHE_HOME", "")
    if named and Path(named).is_absolute():
        base = Path(named)
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    elif sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    else:
        base = Path.home() / ".cache"
    return base / "tunebook" / "engraved"


def content_key(*parts: str) -> str:
    """The name of an entry: SHA-256 of everything that decides the result."""
    digest = hashlib.sha256()
    for part in (str(FORMAT), *parts):
        data = part.encode("utf-8", "surrogatepass")
        digest.update(f"{len(data)}:".encode() + data)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class CacheSize:
    """How much is kept: entries and bytes."""

    entries: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class EngravingCache:
    """Entries under ``folder``; the least recently used go when there are more than
    ``limit_bytes``. A cache that cannot be read or written is as good as none."""

    folder: Path
    limit_bytes: int = DEFAULT_LIMIT_BYTES

    def fetch(self, key: str, into: Path, stem: str) -> bool:
        """Put the files of entry ``key`` into ``into`` under the stem ``stem``; False when there
        is no such entry or it is damaged (it is then removed)."""
        entry = self._entry(key)
        try:
            index = json.loads((entry / _INDEX).read_text("utf-8"))
            files = dict(index["files"])
            if not files or not all(_is_whole(entry / name, files[name]) for name in files):
                raise ValueError("damaged")
            for name in files:
                _link(entry / name, into / name.replace("piece", stem, 1))
            os.utime(entry)
        except FileNotFoundError:
            if entry.is_dir():
                shutil.rmtree(entry, ignore_errors=True)
            return False
        except (OSError, ValueError, KeyError, TypeError):
            shutil.rmtree(entry, ignore_errors=True)
            return False
        return True

    def keep(self, key: str, files: Sequence[Path], stem: str) -> None:
        """Keep ``files`` (whose names begin with ``stem``) as entry ``key``."""
        entry = self._entry(key)
        temporary: str | None = None
        try:
            entry.parent.mkdir(parents=True, exist_ok=True)
            temporary = tempfile.mkdtemp(prefix=_UNFINISHED, dir=self.folder)
            sums = {}
            for file in files:
                name = file.name.replace(stem, "piece", 1)
                shutil.copyfile(file, Path(temporary) / name)
                sums[name] = _sum(file)
            index = json.dumps({"files": sums}, sort_keys=True)
            (Path(temporary) / _INDEX).write_text(index, "utf-8")
            os.rename(temporary, entry)
        except OSError:  # not writable, full, or another run was first
            if temporary is not None:
                shutil.rmtree(temporary, ignore_errors=True)

    def trim(self) -> None:
        """Remove the least recently used entries beyond the limit, and old unfinished ones."""
        entries = self._entries()
        total = sum(size for _, size, _ in entries)
        for _, size, entry in sorted(entries):
            if total <= self.limit_bytes:
                break
            shutil.rmtree(entry, ignore_errors=True)
            total -= size
        with contextlib.suppress(OSError):
            for left in self.folder.glob(_UNFINISHED + "*"):
                if time.time() - left.stat().st_mtime > _UNFINISHED_AFTER_S:
                    shutil.rmtree(left, ignore_errors=True)

    def size(self) -> CacheSize:
        """What is kept now."""
        entries = self._entries()
        return CacheSize(len(entries), sum(size for _, size, _ in entries))

    def clear(self) -> CacheSize:
        """Remove everything; returns what there was."""
        before = self.size()
        shutil.rmtree(self.folder, ignore_errors=True)
        return before

    def _entry(self, key: str) -> Path:
        return self.folder / key[:2] / key

    def _entries(self) -> list[tuple[float, int, Path]]:
        """(time of last use, bytes, folder) of each entry."""
        found: list[tuple[float, int, Path]] = []
        for entry in self.folder.glob("??/*"):
            with contextlib.suppress(OSError):
                size = sum(file.stat().st_size for file in entry.iterdir())
                found.append((entry.stat().st_mtime, size, entry))
        return found


def _sum(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def _is_whole(file: Path, expected: str) -> bool:
    return file.parent.joinpath(file.name) == file and _sum(file) == expected


def _link(source: Path, target: Path) -> None:
    if target.exists():
        target.unlink()
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)
