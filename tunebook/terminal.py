"""What the command prints: progress, tables, messages, the closing summary. No music.

Tables and progress go by rich; where the output is no terminal, plain lines are written, so that
scripts and logs stay readable.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from tunebook.errors import Message

MOST_MESSAGES_SHOWN = 60


def print_messages(messages: Sequence[Message], all_by: str = "--json lists all") -> None:
    """Write messages to standard error, each with its source line and the offence underlined;
    ``all_by`` says what lists those that are too many."""
    for message in messages[:MOST_MESSAGES_SHOWN]:
        print(printable(message.with_excerpt()), file=sys.stderr)
    if len(messages) > MOST_MESSAGES_SHOWN:
        rest = len(messages) - MOST_MESSAGES_SHOWN
        print(f"... and {rest} more; {all_by}", file=sys.stderr)


def print_table(
    columns: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[int] = ()
) -> None:
    """Write a table to standard output; columns whose index is in ``numeric`` stand right."""
    widths = [
        max([len(column), *(len(printable(row[at])) for row in rows)])
        for at, column in enumerate(columns)
    ]

    def line(cells: Sequence[str]) -> str:
        return "  ".join(
            printable(cell).rjust(width) if at in numeric else printable(cell).ljust(width)
            for at, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()

    print(line(columns))
    print("  ".join("-" * width for width in widths))
    for row in rows:
        print(line(row))


def printable(text: str) -> str:
    """Take out control characters, so that a title cannot steer the terminal."""
    return "".join(
        letter if letter.isprintable() or letter in "\n\t" else "\N{REPLACEMENT CHARACTER}"
        for letter in text
    )


class ProgressLine:
    """A progress bar with tune names and time left on a terminal, plain lines otherwise.

    Used as a context manager; called with (stage, name, done, total) for each step.
    """

    def __init__(self, is_quiet: bool = False) -> None:
        self._is_quiet = is_quiet
        self._bar: Any = None
        self._tasks: dict[str, Any] = {}
        self._said: set[str] = set()

    def __enter__(self) -> ProgressLine:
        if not self._is_quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

            self._bar = Progress(
                TextColumn("{task.fields[stage]:<10}"),
                BarColumn(bar_width=24),
                TextColumn("{task.completed}/{task.total}"),
                TimeRemainingColumn(),
                TextColumn("{task.fields[name]}", markup=False),
                console=Console(stderr=True),
                transient=True,
            )
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, stage: str, name: str, done: int, total: int) -> None:
        if self._is_quiet:
            return
        if self._bar is None:
            if stage not in self._said or done == total:
                self._said.add(stage)
                print(f"{stage}: {done} of {total}", file=sys.stderr)
            return
        name = printable(name)[:40]
        if stage not in self._tasks:
            self._tasks[stage] = self._bar.add_task("", total=total, stage=stage, name=name)
        self._bar.update(self._tasks[stage], completed=done, name=name)


def print_as_json(report: object) -> None:
    """Write any report of frozen dataclasses as JSON."""
    import json
    from dataclasses import asdict

    print(json.dumps(asdict(report), ensure_ascii=False, indent=1, default=str))  # type: ignore


def counted(count: int, word: str, plural: str = "s") -> str:
    """Return "1 tune" or "3 tunes"."""
    return f"{count} {word}{plural if count != 1 else ''}"
