"""Quotation marks in music that are not what they should be: typographic ones, and one alone.

A word processor turns "Am" into its own marks, and a forgotten mark would make notes of the
letters of a chord symbol (our judgement throughout: ABC 2.1, section 4.18, knows plain pairs only).
"""

from __future__ import annotations

import re
from itertools import accumulate, pairwise

from tunebook.errors import SourcePlace
from tunebook.read.abc_lines import Item
from tunebook.read.abc_text import plain_text
from tunebook.read.chord_symbols import read_chord_symbol
from tunebook.read.notices import Notices

_TYPOGRAPHIC = "\u201c\u201d\u201e\u201f\u2033\u2018\u2019\u2032"
_PLAIN = str.maketrans(_TYPOGRAPHIC, '"' * 5 + "'" * 3)
_ODD_MARK = re.compile(f"[{_TYPOGRAPHIC}]")
_OUTSIDE = re.compile(rf'"[^"]*"|[{_TYPOGRAPHIC}]')
_INLINE_FIELD = re.compile(r"\[[A-Za-z]:[^\[\]]*\]")
_MARK = re.compile('"')
_PLACES = "^_<>@"
_WORD = re.compile(r'[^\s|"]*')
_NOTES = re.compile(r"[-A-Ga-gzx\d/,'^_=<>(){}\[\].~uvTHM:]*")
_LONGEST_SYMBOL = 12


def mend_quotes(item: Item, notices: Notices) -> Item:
    """The line of music with every quotation mark plain and in pairs; said where it was not."""
    text = item.text
    if not text.isascii() and _ODD_MARK.search(text, item.start, item.end):
        item = _with_plain_marks(item, notices)
        text = item.text
    if '"' in text:
        for lone in reversed(_lone_marks(text, _marks(item))):
            item = _with_partner(item, lone, notices)
    return item


def _with_plain_marks(item: Item, notices: Notices) -> Item:
    text = item.text
    if text.count('"', item.start, item.end) % 2:
        plain = text.translate(_PLAIN)
    else:
        plain = _OUTSIDE.sub(_as_plain, text)
    if plain == text:
        return item
    at = next(i for i, (old, new) in enumerate(zip(text, plain, strict=True)) if old != new)
    notices.add(
        "text",
        f"{text[at]} is read as a plain {plain[at]}",
        'write plain quotation marks, as in "Am"',
        line=item.line,
        column=at + 1 if item.columns is None else item.columns[at],
        cause="typographic",
    )
    return Item("", plain, item.line, item.start, item.end, item.is_continued, item.columns)


def _as_plain(match: re.Match[str]) -> str:
    found = match.group()
    return found.translate(_PLAIN) if len(found) == 1 else found


def _with_partner(item: Item, lone: int, notices: Notices) -> Item:
    text = item.text
    word = _WORD.match(text, lone + 1, item.end)
    assert word is not None
    symbol = _symbol_of(word[0])
    end = lone + 1 + len(symbol)
    columns = item.columns or list(range(1, len(text) + 2))
    notices.add(
        "text",
        f'a quotation mark stands alone; "{symbol}" is read as what it belongs to'
        if symbol
        else "a quotation mark stands alone and is ignored",
        f'write "{symbol}"' if symbol else "take it out",
        line=item.line,
        column=columns[lone],
        length=1 + len(symbol),
    )
    whole = f'{text[:end]}"{text[end:]}'
    columns = [*columns[:end], columns[end], *columns[end:]]
    return Item("", whole, item.line, item.start, item.end + 1, item.is_continued, columns)


def _marks(item: Item) -> list[int]:
    """The places of the quotation marks that are not in fields between brackets."""
    text = item.text
    spans = [match.span() for match in _INLINE_FIELD.finditer(text, item.start, item.end)]
    inside = {at for start, end in spans for at in range(start, end)} if spans else set()
    marks = (match.start() for match in _MARK.finditer(text, item.start, item.end))
    return [at for at in marks if at not in inside]


def _lone_marks(text: str, marks: list[int]) -> list[int]:
    """The marks that have no partner: one in each bar that holds an odd number of them, unless
    all make pairs and only words enclose the bar signs."""
    pairs = zip(marks[0::2], marks[1::2], strict=False)
    if len(marks) % 2 == 0 and not any(
        "|" in text[first:second] and text[first + 1] not in _PLACES for first, second in pairs
    ):
        return []
    bars: list[list[int]] = [[]]
    for at, mark in enumerate(marks):
        if at and "|" in text[marks[at - 1] : mark]:
            bars.append([])
        bars[-1].append(mark)
    return [_lone_mark(text, bar) for bar in bars if len(bar) % 2]


def _lone_mark(text: str, marks: list[int]) -> int:
    """Which of an odd number of marks stands alone: the one without which the others enclose
    the most chord symbols and words; of equals the last."""
    likely = [_is_likely(text[first + 1 : second]) for first, second in pairwise(marks)]
    before = [0, *accumulate(likely[0::2])]
    after = [*reversed([0, *accumulate(reversed(likely[1::2]))])]
    scores = [a + b for a, b in zip(before, after, strict=True)]
    best = max(range(len(scores)), key=lambda at: (scores[at], at))
    return marks[2 * best]


def _is_likely(content: str) -> bool:
    """Whether a chord symbol or words over the staff are enclosed, and no music."""
    if not content or content != content.strip():
        return False
    return content[0] in _PLACES or _is_symbol(content)


def _is_symbol(text: str) -> bool:
    return read_chord_symbol(plain_text(text), SourcePlace("")) is not None


def _symbol_of(word: str) -> str:
    """The chord symbol with which a word begins when notes follow it; else the whole word."""
    if word[:1] and word[0] in _PLACES:
        return word
    for size in range(min(len(word), _LONGEST_SYMBOL), 0, -1):
        if _is_symbol(word[:size]) and _NOTES.fullmatch(word, size):
            return word[:size]
    return word
