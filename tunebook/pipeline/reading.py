"""Read the folder of a setup as its tunes.toml asks: voices and limits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

from tunebook.errors import Message
from tunebook.files import FilesRead
from tunebook.model.tune import Tune
from tunebook.pipeline.setup import Setup
from tunebook.read.abc_tune import read_tune
from tunebook.read.folder import (
    FolderReading,
    TuneText,
    iterate_tunes,
    read_data,
    read_folder,
)
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
    return read_folder(setup.folder, **_wishes(setup))


def each_tune(setup: Setup) -> Iterator[tuple[TuneText, Tune] | Message]:
    """What :func:`read_tunes` gathers, one after the other, each tune with its text."""
    return iterate_tunes(setup.folder, **_wishes(setup))


def read_again(text: TuneText, setup: Setup) -> Tune:
    """Read one tune of :func:`each_tune` once more."""
    voice, second = voices(setup)
    return read_tune(text, voice=voice, second_voice=second, limits=reading_limits(setup))


def _wishes(setup: Setup) -> dict[str, Any]:
    voice, second = voices(setup)
    return {
        "voice": voice,
        "second_voice": second,
        "limits": reading_limits(setup),
        "may_leave": setup.may_leave_folder,
        "read": setup.read,
    }


def voices(setup: Setup) -> tuple[str | None, str | None]:
    """The voice that is the melody and the second one, None where the settings name none."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    return wishes.get("voice"), wishes.get("second_voice")


def reading_limits(setup: Setup) -> ReadingLimits:
    """The limits of reading and solving, as the settings have them."""
    names = {one.name for one in fields(ReadingLimits)}
    wishes: dict[str, Any] = dict(setup.book.reading)
    return ReadingLimits(**{name: most for name, most in wishes.items() if name in names})


def read_tunes_in(data: bytes, name: str, setup: Setup) -> tuple[Tune, ...]:
    """Return the tunes in the bytes of a file called ``name``, read as the setup's own are."""
    voice, second = voices(setup)
    limits = reading_limits(setup)
    return read_data(data, name, voice=voice, second_voice=second, limits=limits).tunes
