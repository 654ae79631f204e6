"""Make the book anew after a retuning and show what changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tunebook.errors import SettingError
from tunebook.pipeline.arranging import Progress, no_progress
from tunebook.pipeline.build import build_book, default_output
from tunebook.pipeline.build_report import BuildReport
from tunebook.pipeline.setup import BuildOrder, Setup


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
