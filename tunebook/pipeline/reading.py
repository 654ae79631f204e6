"""Read the folder of a setup as its book.toml asks: voices and limits."""

from __future__ import annotations

from typing import Any

from tunebook.pipeline.setup import Setup
from tunebook.read.folder import FolderReading, read_folder
from tunebook.read.limits import ReadingLimits


def read_tunes(setup: Setup) -> FolderReading:
    """Return the tunes and messages of the setup's folder. Raises InputError when it is gone."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    voice, second = wishes.pop("voice", None), wishes.pop("second_voice", None)
    limits = ReadingLimits(**wishes)
    return read_folder(setup.folder, voice=voice, second_voice=second, limits=limits)
