"""Read the folder of a setup as its tunes.toml asks: voices and limits."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tunebook.pipeline.setup import Setup
from tunebook.read.folder import FolderReading, find_files, read_folder
from tunebook.read.limits import ReadingLimits


def files_read(setup: Setup) -> list[Path]:
    """Every file that a run on this setup reads; none of them is ever written over."""
    files = list(find_files(setup.folder))
    if setup.book.place is not None:
        files.append(Path(setup.book.place.path))
    return files


def read_tunes(setup: Setup) -> FolderReading:
    """Return the tunes and messages of the setup's folder. Raises InputError when it is gone."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    voice, second = wishes.pop("voice", None), wishes.pop("second_voice", None)
    limits = ReadingLimits(**wishes)
    return read_folder(setup.folder, voice=voice, second_voice=second, limits=limits)
