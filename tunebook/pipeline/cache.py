"""The folder of engraved music kept from earlier runs."""

from __future__ import annotations

from pathlib import Path

from tunebook.assemble.engrave_cache import EngravingCache, default_cache_folder


def fault_folder() -> Path:
    """Where traces of faults of the program are kept until somebody has sent them."""
    return default_cache_folder().parent / "faults"


def describe_cache() -> str:
    """Return one line: where the cache is and how much it holds."""
    cache = EngravingCache(default_cache_folder())
    held = cache.size()
    return (
        f"{cache.folder}: {held.entries} pieces, {held.size_bytes / 1e6:.1f} MB "
        f"of at most {cache.limit_bytes / 1e6:.0f} MB"
    )


def clear_cache() -> str:
    """Remove everything kept and return one line about it."""
    cache = EngravingCache(default_cache_folder())
    gone = cache.clear()
    return f"{cache.folder}: {gone.entries} pieces, {gone.size_bytes / 1e6:.1f} MB removed"
