"""Bytes to text, ABC's ways of writing letters, and free text inside a tune.

Bytes to text, and ABC's ways of writing letters that are not on the keyboard.

Source: The ABC Music Standard 2.1 (2011), sections 2.2 (files), 8.2 (text strings: mnemonics
such as ``\'e``, named entities such as ``&eacute;``, and ``\u00e9``).

Free text inside a tune: ``%%text``, ``%%center`` and what stands between ``%%begintext`` and
``%%endtext``.

Source: The ABC Music Standard 2.1, text directives (section 11.4.5, its number from memory). How
many lines and letters are printed is our judgement.
"""

from __future__ import annotations

import html
import re
import unicodedata

from tunebook.read.abc.notices import Notices

_COMBINING = {
    "`": "\u0300",
    "'": "\u0301",
    "^": "\u0302",
    "~": "\u0303",
    '"': "\u0308",
    "=": "\u0304",
    "u": "\u0306",
    "v": "\u030c",
    "c": "\u0327",
    ";": "\u0328",
    "H": "\u030b",
    ".": "\u0307",
}
_LIGATURES = {
    "ae": "æ",
    "AE": "Æ",
    "oe": "œ",
    "OE": "Œ",
    "ss": "ß",
    "aa": "å",
    "AA": "Å",
    "cc": "ç",
    "cC": "Ç",
    "/o": "ø",
    "/O": "Ø",
    "/d": "đ",
    "/D": "Đ",
    "/l": "ł",
    "/L": "Ł",
    "DH": "Ð",
    "dh": "ð",
    "TH": "Þ",
    "th": "þ",
    "-D": "Đ",
    "-d": "đ",
}
_ESCAPE = re.compile(
    r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})|\\([0-3][0-7]{2})"
    r"|\\(ae|AE|oe|OE|ss|aa|AA|cc|cC|/[oOdDlL]|DH|dh|TH|th|-[Dd])"
    r"|\\([`'^~\"=uvc;H.])([A-Za-z])|\\([%&\\])|(&(?:\#\d{1,7}|\#x[0-9A-Fa-f]{1,6}|[A-Za-z]\w{1,10});)"
)
_CHARSET = re.compile(rb"^(?:%%|I:)\s*abc-charset\s+([A-Za-z0-9-]+)", re.MULTILINE)
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\ud800-\udfff]")
_FONT_SWITCH = re.compile(r"\$[0-9](?=\D|$)")


def decode(data: bytes) -> tuple[str, str]:
    """Decode the bytes of a file; return the text and the name of the encoding used.

    A byte-order mark decides; otherwise UTF-8 is tried, then Windows-1252, whose letters agree
    with Latin-1 and whose few unused codes are read as Latin-1. Line ends become ``\\n``.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text, encoding = data.decode("utf-16", errors="replace"), "UTF-16"
    else:
        try:
            text, encoding = _decode_as_named(data) or (data.decode("utf-8-sig"), "UTF-8")
        except UnicodeDecodeError:
            text, encoding = _decode_single_bytes(data)
    return text.replace("\r\n", "\n").replace("\r", "\n"), encoding


def _decode_as_named(data: bytes) -> tuple[str, str] | None:
    match = _CHARSET.search(data[:20_000])
    if match is None or data.startswith(b"\xef\xbb\xbf"):
        return None
    name = match[1].decode("ascii").lower()
    if not re.fullmatch(
        r"(iso-?8859-?(1|2|3|4|9|10|15)|windows-?125[0-9]|cp125[0-9]|utf-?8)", name
    ):
        return None
    try:
        return data.decode(name), name
    except (UnicodeDecodeError, LookupError):
        return None


def _decode_single_bytes(data: bytes) -> tuple[str, str]:
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def as_utf8(data: bytes) -> bytes:
    """The bytes of a file in UTF-8, with the letters that :func:`decode` reads, its line ends, and
    the name of its encoding changed where it gives one; in UTF-16 as they are."""
    encoding = decode(data)[1]
    if encoding.lower() in ("utf-8", "utf8", "utf-16"):
        return data
    named = _CHARSET.search(data[:20_000])
    if named is not None:
        data = data[: named.start(1)] + b"utf-8" + data[named.end(1) :]
    return data.decode(encoding).encode()


def _unescape(match: re.Match[str]) -> str:
    four, eight, octal, ligature, accent, letter, literal, entity = match.groups()
    if four or eight:
        code = int(four or eight, 16)
        return chr(code) if code < 0x110000 and not 0xD800 <= code < 0xE000 else "\ufffd"
    if octal:
        return chr(int(octal, 8))
    if ligature:
        return _LIGATURES[ligature]
    if accent:
        return unicodedata.normalize("NFC", letter + _COMBINING[accent])
    if literal:
        return literal
    return html.unescape(entity)


def plain_text(text: str) -> str:
    """Return a text string of ABC as a reader should see it: escapes resolved, font switches
    (``$1``) and control characters taken out, blanks at the ends cut."""
    if "\\" in text or "&" in text:
        text = _ESCAPE.sub(_unescape, text)
    if "$" in text:
        text = _FONT_SWITCH.sub("", text)
    if not text.isprintable():
        text = _CONTROL.sub(" ", text)
    return text.strip()


def without_comment(line: str) -> str:
    """Cut a line before its ``%`` comment; ``\\%`` is a per cent sign, no comment."""
    start = line.find("%")
    while start > 0 and line[start - 1] == "\\":
        start = line.find("%", start + 1)
    return line if start < 0 else line[:start]


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
