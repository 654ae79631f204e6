"""Places in source files, messages about them, and the few kinds of error.

Every message a user can cause is one line: ``path:line:column: what is wrong; what to do``.
This module imports nothing of the project, so every stage may use it.

Exit codes: 0 all is well; 1 messages under ``--strict``; 2 wrong command line (the option
parser's own); 3 nothing could be built from the input; 4 a program that is needed is missing
or failed; 5 the output cannot be written; 6 a fault of the program itself; 128 and the signal's
number when it was stopped: 130 by Ctrl-C, 143 by SIGTERM, 129 when its terminal was closed.
"""

from __future__ import annotations

import errno
from dataclasses import dataclass, field

MOST_EXCERPT_LETTERS = 200

EXIT_STRICT = 1
EXIT_USAGE = 2
EXIT_NOTHING_BUILT = 3
EXIT_PROGRAM = 4
EXIT_OUTPUT = 5
EXIT_FAULT = 6
EXIT_INTERRUPTED = 130

NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EROFS, getattr(errno, "EDQUOT", errno.ENOSPC))
"""Numbers of the system's errors where nothing more can be written."""


@dataclass(frozen=True, slots=True, order=True)
class SourcePlace:
    """A place in a source file. ``line`` and ``column`` count from 1; 0 means "the whole file".

    ``spot`` is what the place is called in a file that has no lines for a reader ("part P bar 3"),
    "" for such a file as a whole; None where lines and columns say it."""

    path: str
    line: int = 0
    column: int = 0
    spot: str | None = field(default=None, compare=False)

    def __str__(self) -> str:
        if self.spot is not None:
            return f"{self.path}: {self.spot}" if self.spot else self.path
        parts = [self.path]
        if self.line:
            parts.append(str(self.line))
            if self.column:
                parts.append(str(self.column))
        return ":".join(parts)


@dataclass(frozen=True, slots=True, order=True)
class Message:
    """One thing noticed about the input, for the closing summary and for ``--strict``.

    ``kind`` is a short stable word for scripts ("bar-length", "repeat", "decoration", "compass",
    "pin", "field", "text", "limit", ...). ``remedy`` says what to do, and may be empty when there
    is nothing to do. ``excerpt`` is the source line, ``underline`` the length in characters of
    the offending text, which starts at ``place.column``. ``is_fatal`` marks a message for which
    the tune was left out.
    """

    place: SourcePlace
    kind: str
    what: str
    remedy: str = ""
    excerpt: str = ""
    underline: int = 0
    is_fatal: bool = False

    def __str__(self) -> str:
        return f"{self.place}: {self.what}" + (f"; {self.remedy}" if self.remedy else "")

    def excerpt_lines(self) -> tuple[str, ...]:
        """The source text and the line that underlines the offence; of a long text what stands
        around it. Empty where there is nothing to show."""
        if not self.excerpt or not self.place.column:
            return ()
        start = max(0, self.place.column - 1 - MOST_EXCERPT_LETTERS // 2)
        text = self.excerpt[start : start + MOST_EXCERPT_LETTERS]
        before = text[: self.place.column - 1 - start]
        margin = "".join("\t" if letter == "\t" else " " for letter in before)
        length = max(1, min(self.underline, len(text) - len(before)))
        return f"    {text}", f"    {margin}{'~' * length}"


class TunebookError(Exception):
    """Base of all errors a user can cause: one line of text, a place, an exit code."""

    exit_code = EXIT_NOTHING_BUILT

    def __init__(self, what: str, remedy: str = "", place: SourcePlace | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy
        self.place = place

    def __str__(self) -> str:
        line = self.what + (f"; {self.remedy}" if self.remedy else "")
        return f"{self.place}: {line}" if self.place else line


class InputError(TunebookError):
    """A file, setting or tune that cannot be used."""


class SettingError(InputError):
    """A value in tunes.toml, an instrument profile or an option that cannot be used."""

    exit_code = EXIT_USAGE


class ProgramError(TunebookError):
    """A program that is needed is missing, too old, or failed."""

    exit_code = EXIT_PROGRAM


class OutputError(TunebookError):
    """The result cannot be written."""

    exit_code = EXIT_OUTPUT
