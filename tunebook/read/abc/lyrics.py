"""Aligns w: words and s: symbols with the notes of the line before them.

Source: The ABC Music Standard 2.1, sections 4.15 (symbol lines) and 5.1 (alignment of words).
"""

from __future__ import annotations

import re

from tunebook.model.tune import Syllable
from tunebook.read.abc.decorations import attach_decoration, attach_quoted, attach_symbol
from tunebook.read.abc.drafts import Attachments, NoteDraft
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.text import plain_text

_WORD = re.compile(r"\\-|[-_*|]|(?:\\-|[^\s\-_*|])+|\s+")
_SYMBOL = re.compile(r'![^!]*!|\+[^+]*\+|"[^"]*"|[*|]|[.~H-Wh-w]')


def align_words(
    notes: list[NoteDraft | None], text: str, verse: int, notices: Notices, line: int
) -> None:
    """Give verse number ``verse`` (from 0) to the notes (None stands for a bar sign). Rests take
    no syllable. Words for which there is no note are left out, and said."""
    place = 0
    last: NoteDraft | None = None
    is_word_open = False
    for match in _WORD.finditer(text):
        piece = match.group()
        if piece.isspace():
            is_word_open = False
            continue
        if piece == "-":
            if is_word_open and last is not None:
                _amend(last, verse, is_joined=True)
                is_word_open = False
            else:
                place, last = _next_note(notes, place)
            continue
        if piece == "|":
            place = _next_bar(notes, place)
            continue
        place, note = _next_note(notes, place)
        if note is None:
            _say_left_over(text[match.start() :], notices, line)
            return
        if piece == "*":
            continue
        if piece == "_":
            if last is not None:
                _amend(last, verse, is_extended=True)
            continue
        last, is_word_open = note, True
        words = plain_text(piece.replace("\\-", "-").replace("~", " "))
        note.syllables += (None,) * (verse - len(note.syllables)) + (Syllable(words),)


def _say_left_over(rest: str, notices: Notices, line: int) -> None:
    """Say how many syllables found no note; blanks and lines of extension are no loss."""
    rest = rest.rstrip()
    syllables = [piece for piece in _WORD.findall(rest) if piece.strip() and piece not in "-_*|"]
    if not syllables:
        return
    count = len(syllables)
    source = notices.lines[line] if 0 <= line < len(notices.lines) else ""
    notices.add(
        "words",
        f"{count} syllable{'s' if count > 1 else ''} too many for the notes of this line: "
        f"from {plain_text(syllables[0])!r} on they are left out",
        "count the notes, or take * and _ out",
        line=line,
        column=max(source.rfind(rest) + 1, 1),
        length=len(rest),
    )


def _amend(
    note: NoteDraft, verse: int, *, is_joined: bool = False, is_extended: bool = False
) -> None:
    if len(note.syllables) <= verse:
        return
    old = note.syllables[verse]
    if old is not None:
        new = Syllable(old.text, old.is_joined or is_joined, old.is_extended or is_extended)
        note.syllables = (*note.syllables[:verse], new)


def _next_note(notes: list[NoteDraft | None], place: int) -> tuple[int, NoteDraft | None]:
    while place < len(notes):
        note = notes[place]
        place += 1
        if note is not None and note.pitches:
            return place, note
    return place, None


def _next_bar(notes: list[NoteDraft | None], place: int) -> int:
    while place < len(notes) and notes[place] is not None:
        place += 1
    return place + 1


def align_symbols(
    notes: list[NoteDraft | None],
    text: str,
    symbols: dict[str, str],
    notices: Notices,
    line: int,
) -> None:
    """Give the decorations, chord symbols and annotations of a symbol line to the notes."""
    place = 0
    for match in _SYMBOL.finditer(text):
        piece = match.group()
        if piece == "|":
            place = _next_bar(notes, place)
            continue
        place, note = _next_note(notes, place)
        if note is None:
            return
        if piece == "*":
            continue
        if note.attached is None:
            note.attached = Attachments()
        if piece[0] == '"':
            attach_quoted(note.attached, piece[1:-1], notices, line, 1)
        elif piece[0] in "!+":
            attach_decoration(note.attached, piece[1:-1], notices, line, 1, len(piece))
        else:
            attach_symbol(note.attached, piece, symbols, notices, line, 1)
        if note.attached.fingers and not note.pins:
            note.pins = (note.attached.fingers[0], *[None] * (len(note.pitches) - 1))
