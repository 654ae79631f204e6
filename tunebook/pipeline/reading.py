"""Read the folder of a setup as its tunes.toml asks: voices and limits."""

from __future__ import annotations

from typing import Any

from tunebook.files import FilesRead
from tunebook.pipeline.setup import Setup
from tunebook.read.folder import FolderReading, read_folder
from tunebook.read.found_files import FolderFiles, look_through
from tunebook.read.limits import ReadingLimits


def files_of(setup: Setup) -> FolderFiles:
    """The files with the setup's tunes. Raises InputError when its folder is gone."""
    return look_through(setup.folder, may_leave=setup.may_leave_folder)


def files_read(setup: Setup, before: Setup | None = None) -> FilesRead:
    """The record of every file that a run on this setup reads, its tunes among them; with
    ``before``, of what that setup was made from too."""
    if before is not None:
        setup.read.add(before.read)
    for path in files_of(setup).files:
        setup.read.note(path)
    return setup.read


def read_tunes(setup: Setup) -> FolderReading:
    """Return the tunes and messages of the setup's folder. Raises InputError when it is gone."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    voice, second = wishes.pop("voice", None), wishes.pop("second_voice", None)
    wishes.pop("may_leave_folder", None)
    return read_folder(
        setup.folder,
        voice=voice,
        second_voice=second,
        limits=ReadingLimits(**wishes),
        may_leave=setup.may_leave_folder,
        read=setup.read,
    )
