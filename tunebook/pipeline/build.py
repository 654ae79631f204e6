"""A book from a folder of tunes: fetched when it was made of the same things before, else made.

Keeps going past a bad tune. A retuned book is made of two setups and shows what changed.

All that only the making needs is imported when a book is made: an unchanged one comes at once.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tunebook.errors import Message, SettingError
from tunebook.files import FilesRead, check_writable, check_writable_folder, write_whole
from tunebook.model.book import BuildReport
from tunebook.pipeline.kept import book_sum, fetch, keep
from tunebook.pipeline.load import (
    BuildOrder,
    Progress,
    Setup,
    Wishes,
    no_progress,
    prepare,
    read_book,
    read_files,
)
from tunebook.read.settings.tunes_file import read_settings
from tunebook.store import default_store
from tunebook.write.file_names import safe_name

if TYPE_CHECKING:
    from tunebook.read.folder import AbcFile


def build_book(
    folder: Path | str,
    output: Path | str | None = None,
    *,
    edition: str | None = None,
    settings: Path | str | None = None,
    instrument: str | None = None,
    tuning: str | None = None,
    hand: str | None = None,
    keep_source: Path | str | None = None,
    jobs: int | None = None,
    uses_cache: bool = True,
    on_progress: Progress = no_progress,
) -> BuildReport:
    """Make the book of a folder of tunes, or of one file, as the PDF ``output`` (where you are,
    under the folder's name, if left out) and return what became of it.

    What is None is as the folder's tunes.toml says, or ``settings`` in its place. ``keep_source``
    is a folder for the LilyPond source, ``jobs`` the number of processes, one a core if left out.
    ``on_progress`` is called with the stage, the tune's title, how many are done, and of how many.

    Raises InputError when the folder is not there or nothing could be built, SettingError for a
    setting that cannot be used, OutputError when a file cannot be written or is one of those that
    are read, ProgramError when LilyPond is missing, too old, or failed.
    """
    wishes = Wishes(_path(settings), instrument, tuning, hand, edition)
    order = BuildOrder(_path(output), _path(keep_source), jobs, uses_cache)
    return build(prepare(Path(folder), wishes), order, on_progress)


def editions(folder: Path | str | None = None) -> tuple[str, ...]:
    """Return the names of the editions that a folder knows by its tunes.toml, or without a folder
    of those that every folder knows.

    Raises InputError when the folder is not there, SettingError when its settings cannot be used.
    """
    book, _ = read_settings(None) if folder is None else read_book(Path(folder), None, FilesRead())
    return tuple(one.name for one in book.editions)


def _path(name: Path | str | None) -> Path | None:
    return None if name is None else Path(name)


def build(
    setup: Setup,
    order: BuildOrder,
    on_progress: Progress = no_progress,
    before: Setup | None = None,
) -> BuildReport:
    """Build one edition and return the report. With ``before``, an earlier tuning, instrument or
    hand, the book marks and reports what changed since.

    Raises InputError when nothing could be built, OutputError when a file cannot be written or is
    one of those that are read, ProgramError when LilyPond is missing or too old.
    """
    files = _read(setup, before)
    output = _checked_output(setup, order)
    start = time.perf_counter()
    key = book_sum(setup, before, output, files) if _may_keep(setup, order) else ""
    store = default_store(order.uses_cache)
    kept = fetch(store, "books", key) if key else None
    if kept is not None:
        report, data = kept
        if order.check_left_out is not None:
            order.check_left_out(list(report.left_out))
        write_whole(output, data, read=setup.read)
        return replace(report, seconds=(("kept", time.perf_counter() - start),))
    from tunebook.pipeline.making import Making

    making = Making(setup=setup, order=order, store=store, on_progress=on_progress, before=before)
    report = making.book(files, output)
    if key:
        keep(store, "books", key, (report, output.read_bytes()))
    store.trim()
    return report


def _read(setup: Setup, before: Setup | None) -> tuple[AbcFile | Message, ...]:
    """The files with the tunes; ``setup.read`` then holds what both setups were made of."""
    if before is not None:
        setup.read.add(before.read)
    return read_files(setup)


def _checked_output(setup: Setup, order: BuildOrder) -> Path:
    output = order.output or default_output(setup)
    check_writable(output, setup.read)
    if setup.book.is_booklet and setup.edition.paper == "a5":
        from tunebook.book.booklet import booklet_path

        check_writable(booklet_path(output), setup.read)
    if order.keep_source is not None:
        check_writable_folder(order.keep_source)
    return output


def _may_keep(setup: Setup, order: BuildOrder) -> bool:
    """Files beside the book are only made by a real build."""
    return order.uses_cache and order.keep_source is None and not setup.book.is_booklet


def default_output(setup: Setup) -> Path:
    """Return the PDF's name where none is asked for: the folder's, and the edition's."""
    stem = setup.folder.resolve().stem
    edition = setup.edition.name
    return Path(safe_name(f"{stem}.pdf" if edition == "player" else f"{stem}-{edition}.pdf"))


def retune_book(
    before: Setup, after: Setup, order: BuildOrder, on_progress: Progress = no_progress
) -> BuildReport:
    """Build the book for ``after``; the report's ``retuning`` says what changed since ``before``.

    Raises SettingError when nothing differs between the two.
    """
    if (before.instrument, before.hand) == (after.instrument, after.hand):
        raise SettingError(
            f"{before.instrument.tuning_name} is what the book has already",
            "name another tuning with --to, or --to-instrument or --to-hand",
        )
    if order.output is None:
        stem = default_output(after).stem
        name = f"{stem}-{after.instrument.tuning_name}.pdf"
        order = replace(order, output=Path(name))
    return build(after, order, on_progress, before=before)
