"""Reads TOML that strangers may have written: what no settings need is refused before parsing.

The standard library's reader has no bounds of its own: deep keys take memory with the square of
their depth, deep brackets end in a RecursionError, numbers of thousands of digits in a ValueError.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from tunebook.errors import SettingError, SourcePlace

DEEPEST = 20
LONGEST_WORD = 500
"""Letters of a number, or of a key without quotation marks."""

_INTERESTING = re.compile(r"[\"'#\[\]{}]")
_WORD = re.compile(rf"[\w+-]{{{LONGEST_WORD + 1}}}")
_DEEP_KEY = re.compile(rf"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){{{DEEPEST}}}")


def load_toml(text: str, path: str) -> dict[str, Any]:
    """Return what ``text`` holds. Raises SettingError, with the place where there is one, when it
    is no TOML or goes beyond the bounds."""
    bare, deep = _without_strings(text)
    if deep is not None:
        raise _beyond(f"brackets are more than {DEEPEST} deep", text, deep, path)
    found = _DEEP_KEY.search(bare)
    if found:
        raise _beyond(f"a key has more than {DEEPEST} parts", bare, found.start(), path)
    found = _WORD.search(bare)
    if found:
        what = f"a number or key is longer than {LONGEST_WORD} letters"
        raise _beyond(what, bare, found.start(), path)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _no_toml(error, path) from None


def _beyond(what: str, text: str, at: int, path: str) -> SettingError:
    place = SourcePlace(path, text.count("\n", 0, at) + 1)
    return SettingError(what, "nothing that can be set needs that; mend the line", place)


def _no_toml(error: Exception, path: str) -> SettingError:
    place = re.search(r"line (\d+), column (\d+)", str(error))
    what = re.sub(r"\s*\(at .*\)$", "", str(error)) if place else "not readable as TOML"
    where = SourcePlace(path, int(place[1]), int(place[2])) if place else SourcePlace(path)
    return SettingError(
        f"not valid TOML: {what}", "text stands in quotes, lists in brackets", where
    )


def _without_strings(text: str) -> tuple[str, int | None]:
    """The text with each string as one letter (and its line ends), comments taken out; and where
    brackets become too deep."""
    parts: list[str] = []
    depth, place = 0, 0
    while match := _INTERESTING.search(text, place):
        parts.append(text[place : match.start()])
        sign, start = match.group(), match.start()
        if sign in "[{":
            depth += 1
            if depth > DEEPEST:
                return "".join(parts), start
        elif sign in "]}":
            depth = max(0, depth - 1)
        if sign in "[]{}":
            parts.append(sign)
            place = start + 1
        elif sign == "#":
            end = text.find("\n", start)
            place = len(text) if end < 0 else end
        else:
            place = _end_of_string(text, start)
            parts.append("s" + "\n" * text.count("\n", start, place))
    return "".join([*parts, text[place:]]), None


def _end_of_string(text: str, start: int) -> int:
    """The place after a string (TOML 1.0.0, toml.io), or the end of the text."""
    quote = text[start]
    mark = quote * 3 if text.startswith(quote * 3, start) else quote
    ends = mark if len(mark) == 3 else f"{mark}|\n"
    stop = re.compile(rf"\\.|{ends}" if quote == '"' else ends, re.DOTALL)
    place = start + len(mark)
    while match := stop.search(text, place):
        if match.group() == "\n":
            return match.start()
        place = match.end()
        if match.group() == mark:
            return place
    return len(text)
