"""Engraved music that is kept: a file an entry, found by what was engraved, with what, and how.

The PDFs stand beside the entries, each once however many pieces share it, under its SHA-256.
Every file appears by renaming, so two runs may write at once; a damaged one is as good as none.
What is used is linked (or copied) into the run's own folder, so it may be removed here while
another run uses it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tunebook.errors import OutputError
from tunebook.files import read_whole, remove_other_kinds, write_whole
from tunebook.model.piece import EngravedFiles

FORMAT = 2
DEFAULT_LIMIT_BYTES = 256 * 1024 * 1024
_SHEETS = "sheets"
# What this and the other caches in the folder keep: pieces, their sheets, solved tunes and books,
# fonts, and what an ended run had just begun to write.
_KEPT = (
    "[0-9a-f][0-9a-f]/*",
    f"{_SHEETS}/*",
    "solved/[0-9a-f][0-9a-f]/*",
    "*.font",
    ".tunebook-*",
)
_KEPT_FOLDERS = ("[0-9a-f][0-9a-f]", _SHEETS, "solved/[0-9a-f][0-9a-f]", "solved")
_UNUSED_AFTER_S = 3600


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
    """How much is kept: files and bytes."""

    entries: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class EngravingCache:
    """Entries under ``folder``; the least recently used go when there are more than
    ``limit_bytes``. A cache that cannot be read or written is as good as none."""

    folder: Path
    limit_bytes: int = DEFAULT_LIMIT_BYTES
    _sums: dict[Path, str] = field(default_factory=dict, compare=False, repr=False)

    def fetch(self, key: str, into: Path) -> EngravedFiles | None:
        """Put the PDFs of entry ``key`` into ``into`` and return the piece; None when there is no
        such entry or it is damaged (it is then removed)."""
        entry = self._entry(key)
        try:
            found = _read(entry)
            opening = found["opening_pdf"]
            files = EngravedFiles(
                self._taken(found["pdf"], into),
                found["boxes"],
                self._taken(opening, into) if opening else None,
                found["opening_boxes"],
            )
            os.utime(entry)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError):
            with contextlib.suppress(OSError):
                entry.unlink()
            return None
        return files

    def keep(self, key: str, files: EngravedFiles) -> None:
        """Keep ``files`` as entry ``key``."""
        try:
            found = {
                "pdf": self._put(files.pdf),
                "boxes": files.boxes,
                "opening_pdf": self._put(files.opening_pdf) if files.opening_pdf else "",
                "opening_boxes": files.opening_boxes,
            }
            text = json.dumps(found, sort_keys=True)
            content = json.dumps([_sum(text.encode()), text])
            write_whole(self._entry(key), content.encode())
        except (OSError, OutputError):  # not writable, or full
            return

    def trim(self) -> None:
        """Remove the least recently used entries beyond the limit, and PDFs that none uses."""
        entries = self._entries()
        sheets = self._sheets()
        total = sum(size for _, size, _ in entries) + sum(size for _, size in sheets.values())
        if total <= self.limit_bytes:
            return
        uses = Counter(name for _, _, entry in entries for name in _sheets_of(entry))
        for name, (time_s, size) in sheets.items():
            # Another run may just be about to name a new one.
            if not uses[name] and time.time() - time_s > _UNUSED_AFTER_S:
                total -= self._drop_sheet(name, size)
        for _, size, entry in sorted(entries):
            if total <= self.limit_bytes:
                break
            names = _sheets_of(entry)
            with contextlib.suppress(OSError):
                entry.unlink()
            total -= size
            for name in names:
                uses[name] -= 1
                if not uses[name] and name in sheets:
                    total -= self._drop_sheet(name, sheets[name][1])

    def size(self) -> CacheSize:
        """What is kept now in the folder: pieces and their pages, and what others keep there."""
        sizes = []
        for pattern in _KEPT:
            for path in listed(self.folder, pattern):
                with contextlib.suppress(OSError):
                    sizes.append(path.lstat().st_size)
        return CacheSize(len(sizes), sum(sizes))

    def clear(self) -> CacheSize:
        """Remove everything that is kept here, also where the folder is a link to another, but
        nothing else that lies there; returns what was removed."""
        before = self.size()
        for pattern in _KEPT:
            for path in self.folder.glob(pattern):
                with contextlib.suppress(OSError):
                    path.unlink()
        for pattern in _KEPT_FOLDERS:
            for path in self.folder.glob(pattern):
                with contextlib.suppress(OSError):
                    path.rmdir()
        if not self.folder.is_symlink():
            with contextlib.suppress(OSError):
                self.folder.rmdir()
        after = self.size()
        return CacheSize(before.entries - after.entries, before.size_bytes - after.size_bytes)

    def _entry(self, key: str) -> Path:
        return self.folder / key[:2] / key

    def _sheet(self, name: str) -> Path:
        return self.folder / _SHEETS / f"{name}.pdf"

    def _put(self, pdf: Path) -> str:
        """Keep a PDF; its name is the sum of its bytes."""
        if pdf not in self._sums:
            data = pdf.read_bytes()
            name = _sum(data)
            write_whole(self._sheet(name), data)
            self._sums[pdf] = name
        return self._sums[pdf]

    def _taken(self, name: str, into: Path) -> Path:
        """A kept PDF in the folder ``into``; ValueError when it is missing or damaged."""
        target = into / f"{name}.pdf"
        if self._sums.get(target) != name:
            sheet = self._sheet(name)
            remove_other_kinds(sheet)
            if not sheet.is_file() or _sum(read_whole(sheet)) != name:
                raise ValueError("damaged")
            _link(sheet, target)
            self._sums[target] = name
        return target

    def _drop_sheet(self, name: str, size: int) -> int:
        self._sheet(name).unlink(missing_ok=True)
        return size

    def _entries(self) -> list[tuple[float, int, Path]]:
        """(time of last use, bytes, file) of each entry."""
        found: list[tuple[float, int, Path]] = []
        for entry in listed(self.folder, "??/*"):
            with contextlib.suppress(OSError):
                facts = entry.stat()
                found.append((facts.st_mtime, facts.st_size, entry))
        return found

    def _sheets(self) -> dict[str, tuple[float, int]]:
        """(time, bytes) of each PDF by its name."""
        found: dict[str, tuple[float, int]] = {}
        for sheet in listed(self.folder, f"{_SHEETS}/*.pdf"):
            with contextlib.suppress(OSError):
                facts = sheet.stat()
                found[sheet.stem] = (facts.st_mtime, facts.st_size)
        return found


def listed(folder: Path, pattern: str) -> list[Path]:
    """The files of a cache's folder; none when it may not be looked into."""
    try:
        return list(folder.glob(pattern))
    except OSError:
        return []


def _sum(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _read(entry: Path) -> dict[str, Any]:
    """What an entry says; ValueError, KeyError or TypeError when it is damaged."""
    expected, text = json.loads(read_whole(entry))
    if _sum(text.encode()) != expected:
        raise ValueError("damaged")
    return dict(json.loads(text))


def _sheets_of(entry: Path) -> list[str]:
    try:
        found = _read(entry)
        return [found[name] for name in ("pdf", "opening_pdf") if found[name]]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _link(source: Path, target: Path) -> None:
    if target.exists():
        target.unlink()
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)
