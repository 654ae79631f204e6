"""Cuts the text of a file into the texts of its tunes.

Source: The ABC Music Standard 2.1, section 2.2: a tune begins with X: and ends with an empty
line or the end of the file; a file header may stand before the first tune.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from tunebook.errors import Message, SourcePlace
from tunebook.read.abc_header import read_header
from tunebook.read.abc_lines import sort_lines
from tunebook.read.abc_text import plain_text
from tunebook.read.abc_text_blocks import is_text
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.notices import Notices

_FIELD = re.compile(r"[A-Za-z+]:")
_MUSIC = re.compile(r"(?![A-Za-z]:[^|])(?:[\s|:\[\](]*[_=^]?[A-Ga-g][,']*\d*+/?\d*+){3}.{0,300}?\|")
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


def cut_into_tunes(
    text: str, path: str, limits: ReadingLimits = DEFAULT_LIMITS
) -> Iterator[TuneText | Message]:
    """Cut a file's text into tunes with their line numbers; say what is left out."""
    header = ""
    may_have_header = True
    for start, block in _blocks(text):
        found = _tune_of(block, start, path, header)
        if found is not None:
            may_have_header = False
            if len(found.text) > limits.tune_characters:
                what = f"the tune has more than {limits.tune_characters} characters"
                yield Message(found.place, "limit", what, "split it", is_fatal=True)
            else:
                yield found
        elif may_have_header:
            may_have_header = False
            header = _file_header(block, start)
            yield from _check_header(header, path)
        else:
            yield from _check_left_out(block, start, path)


def _blocks(text: str) -> Iterator[tuple[int, list[str]]]:
    """Runs of lines between empty lines or before X:, with the number of their first line."""
    block: list[str] = []
    start = 1
    is_text = False
    for number, line in enumerate([*text.split("\n"), ""], start=1):
        if line.startswith("%%"):
            is_text = _is_in_text(line, is_text)
        is_new = line.startswith("X:")
        if not is_new and (line.strip() or (is_text and block)):
            if not block:
                start = number
            block.append(line)
            continue
        if block:
            yield start, block
        block, start = ([line], number) if is_new else ([], number)
        is_text = False
    if block:  # a text without end
        yield start, block


def _is_in_text(line: str, is_text: bool) -> bool:
    """Whether lines after this one stand between %%begintext and %%endtext."""
    word = line[2:].strip()
    return word.startswith("begintext") or (is_text and not word.startswith("endtext"))


def _tune_of(block: list[str], start: int, path: str, header: str) -> TuneText | None:
    """The tune in a block of lines; None when it holds none."""
    first = 0 if block[0].startswith("X:") else _start_without_number(block)
    if first is None:
        return None
    lines = block[first:]
    number = plain_text(lines[0][2:]) if lines[0].startswith("X:") else ""
    place = SourcePlace(path, start + first)
    return TuneText(place, number, "\n".join(lines), start + first, header)


def _start_without_number(block: list[str]) -> int | None:
    """A block without X: is a tune when it has K: and something after it."""
    key = next((i for i, line in enumerate(block) if line.startswith("K:")), None)
    if key is None or key + 1 >= len(block):
        return None
    first = key
    while first > 0 and (_FIELD.match(block[first - 1]) or block[first - 1].startswith("%")):
        first -= 1
    return first


def _file_header(block: list[str], start: int) -> str:
    """The lines of the block before the first tune that may hold for all, each at its place."""
    kept = [
        line if line.startswith("%%") or (_FIELD.match(line) and line[0] in _FILE_FIELDS) else ""
        for line in block
    ]
    return "\n" * (start - 1) + "\n".join(kept) if any(kept) else ""


def _check_header(header: str, path: str) -> Iterator[Message]:
    if header:
        lines = header.split("\n")
        notices = Notices(path, lines, 1)
        items = sort_lines(lines, notices).header
        read_header(items, notices)
        text = next((one for one in items if one.letter == "I" and is_text(one.value)), None)
        if text is not None:
            what = "free text before the first tune belongs to no tune and is not printed"
            notices.add("text", what, "write it below an X:", line=text.line, column=1)
        yield from notices.messages()


def _check_left_out(block: list[str], start: int, path: str) -> Iterator[Message]:
    """Music and fields that stand outside of a tune are not read."""
    for offset, line in enumerate(block):
        is_music = bool(_MUSIC.match(line))
        if is_music or _FIELD.match(line):
            what = "music after an empty line" if is_music else "this field"
            yield Message(
                SourcePlace(path, start + offset, 1),
                "text",
                f"{what} belongs to no tune and is not read",
                "take out the empty line, or begin a tune with X:",
                line if len(line) < 500 else "",
                len(line),
            )
            return
