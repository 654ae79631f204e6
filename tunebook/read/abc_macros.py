"""Macros: m: fields, written out in the music before it is read.

Source: The ABC Music Standard 2.1, section 9: a static macro replaces its target as it stands; a
transposing one has ``n`` for the note in its target, and the letters h to z of its replacement
stand for notes relative to it (m one step below, o one step above).
"""

from __future__ import annotations

import re

from tunebook.read.abc_lines import Item
from tunebook.read.limits import ReadingLimits
from tunebook.read.notices import Notices

_NOTE = r"([A-Ga-g][,']*)"
_RELATIVE = re.compile(r'![^!]*!|"[^"]*"|[h-z]')
_LETTERS = "CDEFGABcdefgab"
_KEPT = re.compile(r'"[^"]*"|\[[A-Za-z]:[^\[\]]*\]')
_MOST = 100
_MAIL = re.compile(r"=(3D|20)|=$")


def without_mail_encoding(item: Item, notices: Notices) -> Item:
    """Music in which an e-mail program has left its encoding: =3D for =, =20 for a blank, and a
    lone = at a line end (RFC 2045, section 6.7); none of them means anything in ABC."""
    if "=3D" not in item.text and "=20" not in item.text and not item.text.endswith("="):
        return item
    match = _MAIL.search(item.text, item.start, item.end)
    if match is None:
        return item
    notices.add(
        "text",
        f"{match.group()!r} is left over from an e-mail and is read as it was meant",
        "decode the file (quoted-printable)",
        line=item.line,
        column=match.start() + 1,
        length=len(match.group()),
        cause="mail",
    )
    is_joined = item.text.endswith("=", item.start, item.end)
    parts: list[str] = []
    columns: list[int] = []
    place = item.start
    for match in _MAIL.finditer(item.text, item.start, item.end):
        text = {"3D": "=", "20": " "}.get(match[1] or "", "")
        parts += (item.text[place : match.start()], text)
        columns += [*range(place + 1, match.start() + 1), *[match.start() + 1] * len(text)]
        place = match.end()
    parts.append(item.text[place : item.end])
    columns += range(place + 1, item.end + 2)
    whole = "".join(parts)
    return Item("", whole, item.line, 0, len(whole), item.is_continued or is_joined, columns)


class MacroWriter:
    """Writes out the macros of a tune in items of music."""

    def __init__(
        self, macros: list[tuple[str, str]], notices: Notices, limits: ReadingLimits
    ) -> None:
        self._notices = notices
        self._factor = limits.macro_factor
        ordered = sorted(dict(macros[:_MOST]).items(), key=lambda pair: -len(pair[0]))
        self._values = [(target, value) for target, value in ordered if len(target) <= 100]
        patterns = [_pattern(target) for target, _ in self._values]
        self._scan = re.compile("|".join([f"({_KEPT.pattern})", *patterns]))

    def write_out(self, item: Item) -> Item:
        """The item with its macros written out, and the source column of every character."""
        source = item.text
        most = self._factor * (item.end - item.start) + 200
        parts: list[str] = []
        columns: list[int] = []
        place = item.start
        size = 0
        for match in self._scan.finditer(source, item.start, item.end):
            if match.group(1):
                continue
            text = self._replacement(match)
            size += len(text)
            if size > most:
                self._say_limit(item, match)
                break
            parts += (source[place : match.start()], text)
            columns += range(place + 1, match.start() + 1)
            columns += [match.start() + 1] * len(text)
            place = match.end()
        if not parts:
            return item
        parts.append(source[place : item.end])
        columns += range(place + 1, item.end + 2)
        whole = "".join(parts)
        return Item("", whole, item.line, 0, len(whole), item.is_continued, columns)

    def _replacement(self, match: re.Match[str]) -> str:
        index = match.lastindex or 0
        group = 2
        for target, value in self._values:
            size = 1 + target.count("n")
            if group <= index < group + size:
                return _transposed(value, match.group(group + 1)) if size > 1 else value
            group += size
        return match.group()

    def _say_limit(self, item: Item, match: re.Match[str]) -> None:
        self._notices.add(
            "limit",
            f"macros make this line more than {self._factor} times as long; the rest is left as is",
            "shorten the macro, or raise macro_factor under [reading]",
            line=item.line,
            column=match.start() + 1,
            length=len(match.group()),
        )


def _pattern(target: str) -> str:
    """A group for the target, with a group in it for each n."""
    return "(" + _NOTE.join(re.escape(part) for part in target.split("n")) + ")"


def _transposed(value: str, note: str) -> str:
    letter, marks = note[0], note[1:]
    octaves = marks.count("'") - marks.count(",")
    place = _LETTERS.index(letter) + 7 * octaves

    def write(match: re.Match[str]) -> str:
        text = match.group()
        if len(text) > 1:
            return text
        octave, step = divmod(place + ord(text) - ord("n"), 7)
        if octave >= 1:
            return _LETTERS[7 + step] + "'" * (octave - 1)
        return _LETTERS[step] + "," * -octave

    return _RELATIVE.sub(write, value)
