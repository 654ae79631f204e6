"""What ``tunebook cache`` tells and removes: what is kept between runs, and reports of faults."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from tunebook.errors import OutputError, SourcePlace
from tunebook.store import Store, StoreSize, cache_folder, default_store


def fault_folder() -> Path:
    """Where traces of faults of the program are kept until somebody has sent them."""
    return cache_folder() / "faults"


def describe_cache() -> str:
    """Return one line: where the cache is and how much it holds. Raises OutputError when it may
    not be looked into."""
    store = _readable_store()
    most_mb = store.limit_bytes / 1e6
    return f"{store.folder}: {_said(store.size())} of at most {most_mb:.0f} MB{_faults_said()}"


def clear_cache() -> str:
    """Remove everything kept and return one line about it. Raises OutputError as describe_cache
    does."""
    store = _readable_store()
    faults = _faults_said()
    gone = store.clear()
    shutil.rmtree(fault_folder(), ignore_errors=True)
    return f"{store.folder}: {_said(gone)}{faults} removed"


def _said(size: StoreSize) -> str:
    what = "files of engraved music, solved tunes, books and fonts"
    return f"{size.files} {what}, {size.size_bytes / 1e6:.1f} MB"


def _faults_said() -> str:
    """How many traces of faults lie beside it, if there are any."""
    count = len(list(fault_folder().glob("*.txt")))
    return f", reports of faults: {count}" if count else ""


def _readable_store() -> Store:
    store = default_store()
    try:
        os.listdir(store.folder)
    except FileNotFoundError:
        return store
    except OSError as error:
        place = SourcePlace(str(store.folder))
        raise OutputError(f"cannot be read ({error.strerror})", "check its rights", place) from None
    return store
