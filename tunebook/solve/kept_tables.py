"""Cost tables kept in a file, so that another run need not make them anew.

Kept are the postures and the costs between holds; the tables laid out from them are quickly made.
What is read back is the same to the last bit. A file carries its sum: a damaged one, one of another
version, or one for another instrument or hand is as good as none. The folder is the user's own
cache; its files are trusted as the program's own are.
"""

from __future__ import annotations

import hashlib
import pickle
from pathlib import Path

from tunebook.errors import OutputError
from tunebook.files import write_whole
from tunebook.solve.cost_tables import CostTables

MOST_KEPT_BYTES = 16_000_000
"""Room for the costs between holds in a file; those used last are kept. Postures come on top."""

MOST_FILES = 4
"""The oldest files beyond so many are removed."""

_SUM_BYTES = 32


def keep_tables(folder: Path | None, version: str, tables: CostTables) -> None:
    """Write what ``tables`` hold into ``folder``; a folder that cannot be written is no error.

    ``version`` is any text that changes with the program.
    """
    if folder is None:
        return
    path = _path(folder, version, tables)
    data = pickle.dumps(tables.contents(MOST_KEPT_BYTES), protocol=pickle.HIGHEST_PROTOCOL)
    try:
        write_whole(path, hashlib.sha256(data).digest() + data)
        files = sorted(path.parent.iterdir(), key=lambda file: file.stat().st_mtime_ns)
        for file in files[:-MOST_FILES]:
            file.unlink(missing_ok=True)
    except (OutputError, OSError):
        return


def fetch_tables(folder: Path | None, version: str, tables: CostTables) -> bool:
    """Fill ``tables``, which must not have been used yet, from ``folder``; False when there is
    nothing for them."""
    if folder is None or not tables.is_empty:
        return False
    try:
        content = _path(folder, version, tables).read_bytes()
        data = memoryview(content)[_SUM_BYTES:]
        if content[:_SUM_BYTES] != hashlib.sha256(data).digest():
            return False
        tables.fill(pickle.loads(data))
    except Exception:  # missing, damaged, or made by other versions of the packages
        return False
    return True


def _path(folder: Path, version: str, tables: CostTables) -> Path:
    text = f"{version} {tables.serves!r}"
    return folder / "tables" / hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
