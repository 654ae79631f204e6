"""The folder of what is kept from earlier runs: music, tunes, books, fonts."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from tunebook.assemble.engrave_cache import CacheSize, EngravingCache, default_cache_folder, listed
from tunebook.errors import OutputError, SourcePlace
from tunebook.pipeline.kept import LIMIT_BYTES


def fault_folder() -> Path:
    """Where traces of faults of the program are kept until somebody has sent them."""
    return default_cache_folder().parent / "faults"


def describe_cache() -> str:
    """Return one line: where the cache is and how much it holds. Raises OutputError when it may
    not be looked into."""
    cache = EngravingCache(default_cache_folder())
    _check_rights(cache.folder)
    most_mb = (cache.limit_bytes + LIMIT_BYTES) / 1e6
    return f"{cache.folder}: {_said(cache.size())} of at most {most_mb:.0f} MB{_faults_said()}"


def clear_cache() -> str:
    """Remove everything kept and return one line about it. Raises OutputError as describe_cache
    does."""
    cache = EngravingCache(default_cache_folder())
    _check_rights(cache.folder)
    faults = _faults_said()
    gone = cache.clear()
    shutil.rmtree(fault_folder(), ignore_errors=True)
    return f"{cache.folder}: {_said(gone)}{faults} removed"


def _said(size: CacheSize) -> str:
    what = "files of engraved music, solved tunes, books and fonts"
    return f"{size.entries} {what}, {size.size_bytes / 1e6:.1f} MB"


def _faults_said() -> str:
    """How many traces of faults lie beside it, if there are any."""
    count = len(listed(fault_folder(), "*.txt"))
    return f", reports of faults: {count}" if count else ""


def _check_rights(folder: Path) -> None:
    try:
        os.listdir(folder)
    except FileNotFoundError:
        return
    except OSError as error:
        place = SourcePlace(str(folder))
        raise OutputError(f"cannot be read ({error.strerror})", "check its rights", place) from None
