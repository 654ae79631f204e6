"""Finds in a line of ABC music what matters for writing into it: decorations, quoted text, notes.

A piece is ``(kind, text, start)`` with ``start`` counting from 0; every character belongs to one
piece. Source: The ABC Music Standard 2.1, sections 4.1, 4.12, 4.14 to 4.20, 6.1.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence

Piece = tuple[str, str, int]

_LENGTH = r"\d*/*\d*"
_PIECE = re.compile(
    r"(?P<comment>(?<!\\)%.*)"
    r'|(?P<quoted>"[^"]*")'
    r"|(?P<decoration>!(?:[Dd]\.?\s?[CcSs]\.?\s*al\s*\w+|[Dd]a\s[Cc]apo|[^!\s|\[\]\"]+)!)"
    r"|(?P<field>\[[A-Za-z]:[^\[\]]*\])"
    rf"|(?P<oldchord>\+[A-Ga-g^_=,'/\d]+\+{_LENGTH})"
    r"|(?P<plus>\+[^+\s|]+\+)"
    rf"|(?P<note>(?:\^\^|__|[\^_]\d{{0,2}}/\d{{0,2}}|[\^_=])?[A-Ga-g][,']*{_LENGTH})"
    r"|(?P<symbol>\.(?![(|-])|[~H-Wh-w])"
    r"|(?P<space>[ \t`]+)"
    r"|(?P<other>.)",
    re.DOTALL,
)
_DECORATING = ("quoted", "decoration", "plus", "symbol")
_NOTE_HEAD = re.compile(r"(?:\^\^|__|[\^_]\d{0,2}/\d{0,2}|[\^_=])?([A-Ga-g])[,']*")
_FINGER = re.compile(r"[!+][0-5][!+]")


def pieces_of(line: str) -> list[Piece]:
    """Return the pieces of a line of music, in order."""
    return [(m.lastgroup or "other", m.group(), m.start()) for m in _PIECE.finditer(line)]


def run_before(pieces: Sequence[Piece], column: int) -> list[Piece]:
    """Return the decorations and quoted texts that stand right before offset ``column`` and so
    belong to what begins there, in order."""
    run: list[Piece] = []
    first = bisect_left(pieces, column, key=lambda piece: piece[2])
    for index in range(first - 1, -1, -1):
        piece = pieces[index]
        if piece[0] in _DECORATING:
            run.append(piece)
        elif piece[0] != "space":
            break
    return run[::-1]


def has_finger(run: Sequence[Piece]) -> bool:
    """True when one of the pieces is a fingering decoration."""
    return any(_FINGER.fullmatch(text) for _, text, _ in run)


def letter_at(line: str, column: int) -> str:
    """Return the note letter, as a capital, of the note that begins at offset ``column``; "" when
    none begins there."""
    match = _NOTE_HEAD.match(line, column)
    return match[1].upper() if match else ""


def chord_notes(line: str, start: int, end: int) -> list[tuple[int, str, bool]]:
    """Return offset, letter and whether it has a finger for each note of the bracketed chord that
    lies between ``start`` and ``end``; nothing when no such chord is there."""
    if line[start : start + 1] != "[":
        return []
    found: list[tuple[int, str, bool]] = []
    inner = [(kind, text, start + 1 + at) for kind, text, at in pieces_of(line[start + 1 : end])]
    for kind, text, at in inner:
        if kind == "note":
            found.append((at, letter_at(line, at), has_finger(run_before(inner, at))))
        elif text == "]":
            return found
    return []
