"""What the command prints: progress, tables, messages, the closing summary. No music.

Tables and progress go by rich; where the output is no terminal, plain lines are written, so that
scripts and logs stay readable.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from tunebook.errors import Message, OutputError

MOST_MESSAGES_SHOWN = 60
MOST_LETTERS = 2000
MOST_LETTERS_A_CELL = 600
_LETTERS_AT_THE_END = 400
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


class NobodyReadsError(Exception):
    """Who reads standard output has gone, as ``head`` does: no fault, and nothing to say."""


def shown(text: str, *, most: int | None = MOST_LETTERS) -> str:
    """``text`` as one line that cannot steer a terminal: all that is no printable letter stands
    as an escape that TOML and JSON know too, and what is longer than ``most`` letters lacks its
    middle. All text from files, and their names, goes through here on its way out."""
    if most is not None and len(text) > most:
        left_out = len(text) - most
        head = text[: most - _LETTERS_AT_THE_END]
        text = f"{head} [... {left_out} letters ...] {text[-_LETTERS_AT_THE_END:]}"
    if text.isprintable():
        return text
    return "".join([letter if letter.isprintable() else _escape(letter) for letter in text])


def _escape(letter: str) -> str:
    if letter.isspace() and letter not in "\x1c\x1d\x1e\x1f\x85\u2028\u2029\v\f":
        return _SHORT.get(letter, " ")
    return f"\\u{ord(letter):04x}" if ord(letter) < 0x10000 else f"\\U{ord(letter):08x}"


def say(text: str = "", *, most: int | None = MOST_LETTERS) -> None:
    """Write one line to standard output. Raises OutputError when that cannot be done."""
    _write_out(shown(text, most=most))


def warn(text: str) -> None:
    """Write one line to standard error; where that cannot be done, nobody wants to read it."""
    _write_error(shown(text))


def unwritable_output(error: Exception) -> OutputError:
    """The error for a standard output that is full or went wrong."""
    reason = getattr(error, "strerror", None) or type(error).__name__
    return OutputError(f"the output cannot be written ({reason})", "send it to another place")


def _write_out(text: str) -> None:
    try:
        print(text)
    except BrokenPipeError:
        raise NobodyReadsError from None
    except OSError as error:
        raise unwritable_output(error) from None


def _write_error(text: str) -> None:
    if sys.stderr is not None:
        with suppress(OSError, ValueError):
            print(text, file=sys.stderr, flush=True)


def print_messages(messages: Sequence[Message], all_by: str = "--json lists all") -> None:
    """Write messages to standard error, each with its source line and the offence underlined;
    ``all_by`` says what lists those that are too many."""
    for message in messages[:MOST_MESSAGES_SHOWN]:
        warn(str(message))
        for line in message.excerpt_lines():
            _write_error(_letter_by_letter(line))
    if len(messages) > MOST_MESSAGES_SHOWN:
        rest = len(messages) - MOST_MESSAGES_SHOWN
        warn(f"... and {rest} more; {all_by}")


def print_table(
    columns: Sequence[str], rows: Sequence[Sequence[str]], numeric: Sequence[int] = ()
) -> None:
    """Write a table to standard output; columns whose index is in ``numeric`` stand right."""
    rows = [[shown(cell, most=MOST_LETTERS_A_CELL) for cell in row] for row in rows]
    widths = [
        max([len(column), *(len(row[at]) for row in rows)]) for at, column in enumerate(columns)
    ]

    def line(cells: Sequence[str]) -> str:
        return "  ".join(
            cell.rjust(width) if at in numeric else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()

    _write_out(line(columns))
    _write_out("  ".join("-" * width for width in widths))
    for row in rows:
        _write_out(line(row))


def _letter_by_letter(text: str) -> str:
    """Like ``shown``, but with one letter for each: something stands below and points at it."""
    return "".join(
        letter if letter.isprintable() or letter == "\t" else "\N{REPLACEMENT CHARACTER}"
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
        if not self._is_quiet and sys.stderr is not None and sys.stderr.isatty():
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
                warn(f"{stage}: {done} of {total}")
            return
        name = shown(name)[:40]
        if stage not in self._tasks:
            self._tasks[stage] = self._bar.add_task("", total=total, stage=stage, name=name)
        self._bar.update(self._tasks[stage], completed=done, name=name)


def print_as_json(report: object) -> None:
    """Write any report of frozen dataclasses as JSON, in letters that standard output has."""
    import json
    from dataclasses import asdict

    facts = asdict(report)  # type: ignore[call-overload]
    for line in json.dumps(facts, ensure_ascii=False, indent=1, default=str).split("\n"):
        if line.isprintable() and _has_letters(line):
            _write_out(line)
        else:
            _write_out(
                "".join(
                    one if one.isascii() and one.isprintable() else json.dumps(one)[1:-1]
                    for one in line
                )
            )


def _has_letters(line: str) -> bool:
    """Whether standard output can print this line."""
    try:
        line.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return False
    return True


def counted(count: int, word: str, plural: str = "s") -> str:
    """Return "1 tune" or "3 tunes"."""
    return f"{count} {word}{plural if count != 1 else ''}"
