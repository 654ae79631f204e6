"""Fingered ABC: the text as it stood, with fingers, strings, drones and chosen chords written in.

A finger is the decoration !0! to !4! right before its note (The ABC Music Standard 2.1, section
4.14), after the note's other decorations as section 4.20 orders them; in a chord each tone has its
own, inside the brackets. A chosen chord is a quoted symbol before all of them, with a remark before
it that says that it was chosen and how likely it is; one that begins while a note is held is a
remark alone. Strings and drones are remarks too (see ``read/abc_remarks``): the string only where
the caller says so, since most of them follow from the fingers. Only these are added: spaces, line
ends, comments and everything else stay as they were, and a program that reads the result finds the
same tune, with the fingers as pins. What is written is plain ASCII, so the file keeps its encoding.

Not written, each with a message: a finger for a note that comes out of a macro; anything in a line
where it would be misread (one that uses ! as a line break); a transposed tune, whose fingers belong
to other notes. A note that has a finger keeps it, and a note tied to the one before has none.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tunebook.errors import Message
from tunebook.model.arrangement import Arrangement
from tunebook.write.abc_insertions import NOTHING_BESIDES, Besides, Insertion, insertions_of
from tunebook.write.abc_scanner import pieces_of

_LINE = re.compile(r"(.*?)(\r\n|\r|\n|\Z)", re.DOTALL)
_BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True)
class FingeredText:
    """The text with fingers, and what could not be written."""

    text: str
    messages: tuple[Message, ...] = ()


def fingered_abc(file_text: str, arrangements: Iterable[Arrangement]) -> str:
    """Return ``file_text`` with the fingers and chosen chords of ``arrangements`` (tunes of that
    one file) written in."""
    return write_fingers(file_text, arrangements).text


def fingered_abc_bytes(data: bytes, arrangements: Iterable[Arrangement]) -> bytes:
    """Return the bytes of a file with the fingers written in, in the encoding and with the line
    ends and byte-order mark it had."""
    return write_fingers_in_bytes(data, arrangements)[0]


def write_fingers_in_bytes(
    data: bytes, arrangements: Iterable[Arrangement], besides: Mapping[int, Besides] | None = None
) -> tuple[bytes, tuple[Message, ...]]:
    """As :func:`fingered_abc_bytes`, with the messages, and with what is to be written ``besides``
    for tunes by the number of their first line."""
    encoding = _encoding_of(data)
    result = write_fingers(data.decode(encoding, "surrogatepass"), arrangements, besides)
    return result.text.encode(encoding, "surrogatepass"), result.messages


def _encoding_of(data: bytes) -> str:
    """An encoding that gives back the same bytes. Single-byte texts are taken for Latin-1, since
    only their ASCII part matters here."""
    if data.startswith(b"\xff\xfe"):
        return "utf-16-le"
    if data.startswith(b"\xfe\xff"):
        return "utf-16-be"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def write_fingers(
    file_text: str,
    arrangements: Iterable[Arrangement],
    besides: Mapping[int, Besides] | None = None,
) -> FingeredText:
    """Return the text with fingers and chosen chords written in, and the messages about what
    could not be written. Lines are counted as they are in the tunes' places."""
    lines = [match.groups() for match in _LINE.finditer(file_text)]
    bodies = [body for body, _ in lines]
    mark = _BYTE_ORDER_MARK if file_text.startswith(_BYTE_ORDER_MARK) else ""
    bodies[0] = bodies[0].removeprefix(mark)
    messages: list[Message] = []
    by_line: dict[int, list[Insertion]] = {}
    for arrangement in arrangements:
        more = (besides or {}).get(arrangement.tune.first_line, NOTHING_BESIDES)
        insertions, notices = insertions_of(arrangement, bodies, more)
        messages += notices
        for insertion in insertions:
            by_line.setdefault(insertion.line, []).append(insertion)
    for line, insertions in by_line.items():
        written = _insert(bodies[line - 1], insertions)
        if written is None:
            messages.append(_unwritten(insertions[0], bodies[line - 1]))
        else:
            bodies[line - 1] = written
    text = "".join(body + end for body, (_, end) in zip(bodies, lines, strict=True))
    return FingeredText(mark + text, tuple(messages))


def _insert(line: str, insertions: Iterable[Insertion]) -> str | None:
    """Return the line with the insertions; None when it would not be read as before."""
    ordered = sorted(insertions, key=lambda one: one.column)
    parts: list[str] = []
    done = 0
    for insertion in ordered:
        parts += [line[done : insertion.column - 1], insertion.text]
        done = insertion.column - 1
    written = "".join([*parts, line[done:]])
    before = Counter(text for kind, text, _ in pieces_of(line) if kind != "space")
    added = Counter(
        text for one in ordered for kind, text, _ in pieces_of(one.text) if kind != "space"
    )
    after = Counter(text for kind, text, _ in pieces_of(written) if kind != "space")
    return written if after == before + added else None


def _unwritten(insertion: Insertion, line: str) -> Message:
    return Message(
        insertion.place,
        "fingering",
        "fingers would be misread in this line and are not written",
        "take single exclamation marks out of it",
        excerpt=line,
        underline=1,
    )
