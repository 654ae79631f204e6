"""Source: the ABC tunes of music21's corpus, read from the installed package."""

from __future__ import annotations

import importlib.util
from pathlib import Path

FOLDERS = ("oneills1850", "ryansMammoth", "airdsAirs", "essenFolksong")


def corpus_folder(name: str) -> Path:
    """The folder ``name`` of the installed corpus, found without importing music21."""
    spec = importlib.util.find_spec("music21")
    assert spec is not None and spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "corpus" / name
