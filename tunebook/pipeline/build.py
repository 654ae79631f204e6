"""Make the book, or fetch the one made of the same things before; make it anew after a retuning.

Make the book, or fetch the one that was made of the same things before.

Make the book anew after a retuning and show what changed.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tunebook.book.book import booklet_path
from tunebook.errors import SettingError
from tunebook.files import check_writable, check_writable_folder, write_whole
from tunebook.model.book import BuildReport
from tunebook.pipeline.kept import book_sum, fetch, keep
from tunebook.pipeline.load import BuildOrder, Progress, Setup, files_read, no_progress
from tunebook.store import default_cache_folder
from tunebook.write.file_names import safe_name

if TYPE_CHECKING:
    from tunebook.pipeline.load import Progress


def build_book(
    setup: Setup,
    order: BuildOrder,
    on_progress: Progress | None = None,
    before: Setup | None = None,
) -> BuildReport:
    """Build one edition and return the report. With ``before``, an earlier tuning, instrument or
    hand, the book marks and reports what changed since.

    Raises InputError when nothing could be built, OutputError when a file cannot be written or is
    one of those that are read, ProgramError when LilyPond is missing or too old.
    """
    output = order.output or default_output(setup)
    read = files_read(setup, before)
    check_writable(output, read)
    if setup.book.is_booklet and setup.edition.paper == "a5":
        check_writable(booklet_path(output), read)
    if order.keep_source is not None:
        check_writable_folder(order.keep_source)
    start = time.perf_counter()
    # Files beside the book are only made by a real build.
    may_keep = order.uses_cache and order.keep_source is None and not setup.book.is_booklet
    folder = default_cache_folder() if may_keep else None
    key = book_sum(setup, before, output) if may_keep else ""
    kept = fetch(folder, key) if key else None
    if kept is not None:
        report, data = kept
        write_whole(output, data, read=read)
        return replace(report, seconds=(("kept", time.perf_counter() - start),))
    # All that a book needs is only imported when one is made.
    from tunebook.pipeline.making import make_book

    report = make_book(setup, order, output, on_progress, before)
    # A file that changed meanwhile would leave another book under this key.
    if key and key == book_sum(setup, before, output):
        keep(folder, key, (report, output.read_bytes()))
    return report


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
    return build_book(after, order, on_progress, before=before)
