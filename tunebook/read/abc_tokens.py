"""Cuts a line of ABC music into tokens, each with its place.

A token is a tuple ``(kind, text, start)``, ``start`` counting from 0. Every character of the line
belongs to exactly one token; what belongs to nothing is of kind "other". One compiled pattern
is tried from left to right, so the time is linear in the length of the line.

Source: The ABC Music Standard 2.1, section 4 (the order of its constructs in 4.20).
"""

from __future__ import annotations

import re
from functools import lru_cache

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
def read_bar_sign(text: str) -> tuple[str, int, int, str]:
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
        sign = "::"
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


def _plain_sign(body: str) -> str:
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
