"""Cuts a line of ABC music into tokens, each with its place; quotation marks.

Quotation marks in music that are not what they should be: typographic ones, and one alone.

A word processor turns "Am" into its own marks, and a forgotten mark would make notes of the
letters of a chord symbol (our judgement throughout: ABC 2.1, section 4.18, knows plain pairs only).

Cuts a line of ABC music into tokens, each with its place.

A token is a tuple ``(kind, text, start)``, ``start`` counting from 0. Every character of the line
belongs to exactly one token; what belongs to nothing is of kind "other". One compiled pattern
is tried from left to right, so the time is linear in the length of the line.

Source: The ABC Music Standard 2.1, section 4 (the order of its constructs in 4.20).
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import accumulate, pairwise

from tunebook.errors import SourcePlace
from tunebook.model.choices import BarSign
from tunebook.read.abc.lines import Item
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.text import plain_text

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
    return Item(
        letter="",
        text=plain,
        line=item.line,
        start=item.start,
        end=item.end,
        is_continued=item.is_continued,
        columns=item.columns,
    )


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
        f'a quotation mark stands alone; "{symbol}" is taken for the text that it opens'
        if symbol
        else "a quotation mark stands alone and is ignored",
        f'write "{symbol}"' if symbol else "take it out",
        line=item.line,
        column=columns[lone],
        length=1 + len(symbol),
    )
    whole = f'{text[:end]}"{text[end:]}'
    columns = [*columns[:end], columns[end], *columns[end:]]
    return Item(
        letter="",
        text=whole,
        line=item.line,
        start=item.start,
        end=item.end + 1,
        is_continued=item.is_continued,
        columns=columns,
    )


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


Token = tuple[str, str, int]

_MOST_PASSES = 99

_LENGTH = r"\d*/*\d*"
_PATTERNS = (
    ("note", rf"(?:\^\^|__|[\^_]\d{{0,2}}/\d{{0,2}}|[\^_=])?[A-Ga-g][,']*{_LENGTH}"),
    ("space", r"[ \t]+"),
    ("bar", r"(?:\.?\||\[\||\[(?=:)|:)(?:[|:\]]|\[(?=[|:]))*(?:\[?\d+(?:[-,]\d+)*)?"),
    ("open", r"\.?\((?![\d&])"),
    ("close", r"\)"),
    ("rest", rf"[zxZX]{_LENGTH}"),
    ("broken", r"<{1,3}|>{1,3}"),
    ("tie", r"\.?-"),
    ("tuplet", r"\(\d+(?::\d*){0,2}"),
    ("grace", r"\{[^{}]*\}"),
    ("quoted", r'"[^"]*"'),
    ("decoration", r"!(?:[Dd]\.?\s?[CcSs]\.?\s*al\s*\w+|[Dd]a\s[Cc]apo|[^!\s|\[\]\"]+)!"),
    ("field", r"\[[A-Za-z]:[^\[\]]*\]"),
    ("ending", r"\[\s?\d+(?:[-,]\d+)*\.?"),
    ("chord", rf'\[(?=[^\[\]|]*[A-Ga-gzx])(?:"[^"\[\]]*"|[^\]|"\[])*\]{_LENGTH}'),
    ("quotedending", r'\["\s?\d[^"\[\]|]{0,40}"'),
    ("symbol", r"[.~H-Wh-w]"),
    ("oldchord", rf"\+[A-Ga-g^_=,'/\d]+\+{_LENGTH}"),
    ("plus", r"\+[^+\s|]+\+"),
    ("spacer", r"y\d*/*\d*"),
    ("overlay", r"\(&|&\)|&+"),
    ("backtick", r"`+"),
    ("break", r"[!$*]"),
    ("number", r"\d+(?:[-,]\d+)*"),
    ("other", r"."),
)
_SCANNER = re.compile("|".join(f"(?P<{name}>{pattern})" for name, pattern in _PATTERNS), re.DOTALL)

_END_COLONS = re.compile(r"(?:^|(?<=\])):+(?=[|\]])")
_START_COLONS = re.compile(r":+$|(?<=\|):+(?=\|)")
_DOUBTFUL = re.compile(r"\|+:\|+\]?")
_SQUARED_END = re.compile(r":+\]")
_SQUARED_START = re.compile(r"\[:+")
_NUMBERS = re.compile(r"\d+(?:\s?[-,]\s?\d+)*")
_BAR_PARTS = re.compile(r"([^\d]*?)\[?(\d[\d,-]*)?$")


def tokens_of(text: str, start: int = 0, end: int | None = None) -> list[Token]:
    """All tokens of ``text`` between two offsets, in order."""
    scan = _SCANNER.finditer(text, start, len(text) if end is None else end)
    return [(match.lastgroup or "other", match.group(), match.start()) for match in scan]


@lru_cache(maxsize=2000)
def read_bar_sign(text: str) -> tuple[BarSign, int, int, str]:
    """Split a bar token: the sign in one spelling, passes of the section that ends and of the one
    that begins here (0 where none does), and the text of an ending number.

    ``|:`` gives ("|:", 0, 2, ""), ``::|3`` gives (":|", 3, 0, "3"). Any run of bars, brackets and
    colons is read (section 4.8 asks programs to be liberal), ``:]`` as the end and ``[:`` as the
    start of a repeat; the unclear ``|:|`` is a start sign here (is_doubtful_sign).
    """
    match = _BAR_PARTS.match(text)
    body, ending = (match[1], match[2] or "") if match else (text, "")
    bare = body.strip(".[]")
    if _SQUARED_END.fullmatch(body):
        return ":|", min(len(bare), _MOST_PASSES - 1) + 1, 0, ending
    if _SQUARED_START.fullmatch(body):
        return "|:", 0, min(len(bare), _MOST_PASSES - 1) + 1, ending
    if bare and not bare.strip(":"):
        half = max(1, len(bare) // 2)
        passes = min(half, _MOST_PASSES - 1) + 1
        return ("::", passes, passes, ending) if len(bare) > 1 else (":", 0, 0, ending)
    left = max((len(colons) for colons in _END_COLONS.findall(bare)), default=0)
    right = max((len(colons) for colons in _START_COLONS.findall(bare)), default=0)
    if left and right:
        sign: BarSign = "::"
    elif left:
        sign = ":|"
    elif right:
        sign = "|:"
    else:
        sign = _plain_sign(body)
    ends, begins = (min(count, _MOST_PASSES - 1) + 1 if count else 0 for count in (left, right))
    return sign, ends, begins, ending


def is_doubtful_sign(text: str) -> bool:
    """Whether a bar token is ``|:|``, which some write where a repeat ends, others where it
    begins."""
    return bool(_DOUBTFUL.fullmatch(text))


def _plain_sign(body: str) -> BarSign:
    if body == "|":
        return "|"
    if body == ".|":
        return ".|"
    if body in ("[|]", "[]"):
        return ""
    if body.startswith("[|"):
        return "[|"
    if body.endswith("|]") or body.endswith("|["):
        return "|]"
    return "||"


def passes_of_ending(text: str) -> tuple[int, ...]:
    """The passes of an ending: "1" (1,), "1,3" (1, 3), "1-3" (1, 2, 3); at most 99 of them."""
    passes: list[int] = []
    numbers = _NUMBERS.search(text)
    for part in numbers[0].split(",") if numbers else ():
        first, dash, last = part.partition("-")
        low = int(first.strip()[:4])
        high = int(last.strip()[:4]) if dash else low
        passes.extend(range(low, min(high, low + 98) + 1))
        if len(passes) > 99:
            break
    return tuple(dict.fromkeys(passes))[:99]
