"""Free text inside a tune: ``%%text``, ``%%center`` and what stands between ``%%begintext`` and
``%%endtext``.

Source: The ABC Music Standard 2.1, text directives (section 11.4.5, its number from memory). How
many lines and letters are printed is our judgement.
"""

from __future__ import annotations

from tunebook.read.abc_text import plain_text
from tunebook.read.notices import Notices

MOST_LINES = 20
MOST_LETTERS = 1000
_TEXT = ("text", "center")
_FLOWING = ("fill", "justify", "ragged", "align")


def is_text(instruction: str) -> bool:
    """Whether an instruction's text is a line to be printed."""
    return instruction.partition(" ")[0] in _TEXT


class TextBlock:
    """A block of the kind ``%%begin...`` that is open: its lines, and where it began."""

    def __init__(self, opening: str, line: int) -> None:
        name, _, how = opening.removeprefix("begin").partition(" ")
        self.line = line
        self._name = name
        self._is_flowing = how.strip().lower() in _FLOWING
        self._is_kept = name in _TEXT and how.strip().lower() != "skip"
        self._lines: list[tuple[int, str]] = []

    def ends_with(self, line: str) -> bool:
        """Whether ``line`` closes the block."""
        return line.startswith("%%") and line[2:].strip().startswith("end")

    def add(self, line: str, number: int) -> None:
        """One more line of the block; the %% before it is no part of the text."""
        if line.startswith("%%"):
            line = line[2:]
        elif line.startswith("%"):
            return
        self._lines.append((number, line.strip()))

    def instructions(self) -> list[tuple[int, str]]:
        """The block as single instructions (line, text), as if each had been given by itself."""
        if not self._is_kept or not self._lines:
            return []
        name = self._name
        if not self._is_flowing:
            return [(number, f"{name} {line}") for number, line in self._lines]
        paragraphs: list[tuple[int, str]] = []
        is_open = False
        for number, line in self._lines:
            if is_open and line:
                first, text = paragraphs.pop()
                paragraphs.append((first, f"{text} {line}"))
            else:
                paragraphs.append((number, f"{name} {line}".rstrip()))
            is_open = bool(line)
        return paragraphs


def add_text(texts: list[str], value: str, notices: Notices, line: int) -> None:
    """Put one more line of free text to ``texts``, as much of it as a page can bear."""
    if len(texts) > MOST_LINES:
        return  # it has been said
    text = plain_text(value)
    room = MOST_LETTERS - sum(len(one) for one in texts)
    if len(texts) < MOST_LINES and len(text) <= room:
        texts.append(text)
        return
    if len(texts) < MOST_LINES and room > 1:
        texts.append(text[: room - 1].rstrip() + "…")
    what = (
        f"only {MOST_LINES} lines and {MOST_LETTERS} letters of free text in one place are printed"
    )
    notices.add("limit", what, "shorten it", line=line)
    texts += [""] * (MOST_LINES + 1 - len(texts))
