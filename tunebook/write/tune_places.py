"""Texts of tunes put in the places of others in the bytes of a file."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from tunebook.model.abc_text import in_field
from tunebook.model.arrangement import Arrangement
from tunebook.write.abc import encoding_of, lines_of

_TUNING = re.compile(r"r:\s*tuning\s+\S+\s*(%.*)?\Z")


@dataclass(frozen=True, slots=True)
class NewText:
    """The text for the tune that now has so many lines from ``first_line`` (from 1) on."""

    first_line: int
    line_count: int
    text: str


def with_tunings_named(data: bytes, arrangements: Iterable[Arrangement]) -> tuple[NewText, ...]:
    """The texts, in ``data``, of the tunes that are in a tuning of their own and do not say so,
    with a remark of their header that says it (``r:tuning CGCA``)."""
    lines = [line for line, _ in lines_of(data.decode(encoding_of(data), "surrogatepass"))]
    found = []
    for tune in (one.tune for one in arrangements):
        tuning = "".join(tune.tuning.split())
        if tune.tuning_of_text == tuning:
            continue
        count = tune.source_text.count("\n") + 1
        own = lines[tune.first_line - 1 : tune.first_line - 1 + count]
        own = [line for line in own if not _TUNING.match(line)]
        # A tune begins with its number or title; nothing comes after the key.
        at = 0 if own[0].startswith("K:") else 1
        own.insert(at, f"r:tuning {in_field(tuning)}")
        found.append(NewText(tune.first_line, count, "\n".join(own)))
    return tuple(found)


def with_new_texts(data: bytes, texts: Iterable[NewText]) -> tuple[bytes, dict[int, int]]:
    """Return the bytes with the texts in their places, in the encoding and with the line ends that
    they had, and the new first line of each text by its old one. In an encoding of single bytes,
    letters beyond ASCII are written as escapes (The ABC Music Standard 2.1, section 8.2)."""
    encoding = encoding_of(data)
    lines = lines_of(data.decode(encoding, "surrogatepass"))
    usual_end = next((end for _, end in lines if end), "\n")
    firsts: dict[int, int] = {}
    moved = 0
    for one in sorted(texts, key=lambda one: one.first_line):
        first = one.first_line - 1 + moved
        text = one.text.rstrip("\n")
        if encoding == "latin-1":
            text = "".join(letter if letter.isascii() else _escape(letter) for letter in text)
        new = [(line, usual_end) for line in text.split("\n")]
        new[-1] = (new[-1][0], lines[first + one.line_count - 1][1])
        lines[first : first + one.line_count] = new
        firsts[one.first_line] = first + 1
        moved += len(new) - one.line_count
    text = "".join(line + end for line, end in lines)
    return text.encode(encoding, "surrogatepass"), firsts


def _escape(letter: str) -> str:
    code = ord(letter)
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
