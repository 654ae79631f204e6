"""Cuts the text of a file into the texts of its tunes.

Source: The ABC Music Standard 2.1, section 2.2: a tune begins with X: and ends with an empty
line or the end of the file; a file header may stand before the first tune.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from tunebook.errors import Message, SourcePlace
from tunebook.read.abc_text import plain_text

_FIELD = re.compile(r"[A-Za-z+]:")
_FILE_FIELDS = frozenset("ABCDFGHILMmNORrSUZ")


@dataclass(frozen=True, slots=True)
class TuneText:
    """The text of one tune. ``number`` is that of X: (may be empty), ``first_line`` the line of
    its first line in the file, ``header`` the file header that applies to it."""

    place: SourcePlace
    number: str
    text: str
    first_line: int
    header: str = ""


def cut_into_tunes(text: str, path: str) -> Iterator[TuneText | Message]:
    """Cut a file's text into tunes with their line numbers."""
    header = ""
    block: list[str] = []
    start = 1
    has_tune = False
    for number, line in enumerate([*text.replace("\r\n", "\n").split("\n"), ""], start=1):
        is_new_tune = line.startswith("X:")
        if line.strip() and not (is_new_tune and any(part.startswith("X:") for part in block)):
            if not block:
                start = number
            block.append(line)
            continue
        if block:
            found = _tune_of(block, start, path, header)
            if found is not None:
                has_tune = True
                yield found
            elif not has_tune and not header:
                header = _file_header(block)
        block = [line] if is_new_tune else []
        start = number


def _tune_of(block: list[str], start: int, path: str, header: str) -> TuneText | None:
    """The tune in a block of lines; None when it holds none."""
    first = next((i for i, line in enumerate(block) if line.startswith("X:")), None)
    if first is None:
        first = _start_without_number(block)
        if first is None:
            return None
    lines = block[first:]
    number = plain_text(lines[0][2:]) if lines[0].startswith("X:") else ""
    place = SourcePlace(path, start + first)
    return TuneText(place, number, "\n".join(lines), start + first, header)


def _start_without_number(block: list[str]) -> int | None:
    """A block without X: is a tune when it has K: and comes to music after it."""
    key = next((i for i, line in enumerate(block) if line.startswith("K:")), None)
    if key is None or key + 1 >= len(block):
        return None
    first = key
    while first > 0 and (_FIELD.match(block[first - 1]) or block[first - 1].startswith("%")):
        first -= 1
    return first


def _file_header(block: list[str]) -> str:
    """The fields of the block before the first tune that may hold for all."""
    return "\n".join(
        line
        for line in block
        if line.startswith("%%") or (_FIELD.match(line) and line[0] in _FILE_FIELDS)
    )
