"""Where each key of a TOML text stands, so that a mistake in a setting can name its line.

The standard library's TOML reader gives values without places. This scanner follows only what
is needed to know where a key begins: table headers, arrays of tables, and keys at the start of a
line, passing over strings and brackets that run over several lines (TOML 1.0.0, toml.io).
"""

from __future__ import annotations

import re

KeyPath = tuple[str | int, ...]

# Nothing is tried twice (possessive repeats), so a line takes time in proportion to its length.
_ONE = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\]|\\.)*+"|'[^']*+')"""
_DOTTED = rf"({_ONE}(?:\s*+\.\s*+{_ONE})*+)"
_HEADER = re.compile(rf"\s*+(\[\[?+)\s*+{_DOTTED}\s*+\]")
_KEY = re.compile(rf"\s*+{_DOTTED}\s*+=(.*)$")
_PART = re.compile(_ONE)


def find_key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line (from 1) of every table and key, by its path.

    Arrays of tables carry their index: ("set", 0, "title"). Keys inside inline tables are not
    listed; :func:`line_of` falls back to the key that holds them.
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    waiting_for: str | None = None
    depth = 0
    for number, line in enumerate(text.splitlines(), start=1):
        if waiting_for is not None or depth > 0:
            waiting_for, depth = _follow_value(line, waiting_for, depth)
            continue
        if header := _HEADER.match(line):
            table = _table_path(_parts(header[2]), header[1] == "[[", counts)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault(table + _parts(key[1]), number)
            waiting_for, depth = _follow_value(key[2], None, 0)
    return lines


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """Return the line of ``path``, or of the nearest table or key that holds it; 1 if none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def _parts(dotted: str) -> KeyPath:
    return tuple(
        part[1:-1].replace('\\"', '"') if part[0] in "\"'" else part
        for part in _PART.findall(dotted)
    )


def _table_path(parts: KeyPath, is_array: bool, counts: dict[KeyPath, int]) -> KeyPath:
    path: KeyPath = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        is_last = position == len(parts) - 1
        if is_last and is_array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _follow_value(text: str, waiting_for: str | None, depth: int) -> tuple[str | None, int]:
    """Follow strings and brackets to the end of the line; return what is still open."""
    position = 0
    while position < len(text):
        if waiting_for is not None:
            end = text.find(waiting_for, position)
            if end < 0:
                return waiting_for, depth
            position, waiting_for = end + 3, None
            continue
        letter = text[position]
        if text.startswith(('"""', "'''"), position):
            waiting_for, position = text[position : position + 3], position + 3
            continue
        if letter in "\"'":
            position = _end_of_string(text, position)
            continue
        if letter == "#":
            break
        depth += (letter in "[{") - (letter in "]}")
        position += 1
    return None, max(0, depth)


def _end_of_string(text: str, start: int) -> int:
    quote, position = text[start], start + 1
    while position < len(text) and text[position] != quote:
        position += 2 if text[position] == "\\" and quote == '"' else 1
    return position + 1
