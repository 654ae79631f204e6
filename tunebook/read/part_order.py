"""The order of parts in the header's P: field, as "ABA", "A2B2" or "A(BC)3".

Source: The ABC Music Standard 2.1, section 3.1.9.
"""

from __future__ import annotations

import re

_PIECE = re.compile(r"([A-Za-z])|(\()|(\))(\d*)|[\s.,]+|(\d+)")
_DEEPEST = 20


def read_part_order(text: str, most: int) -> list[str] | None:
    """The letters of the parts in order, at most ``most`` and a few more; None when the text
    holds anything else. A number repeats the letter or the bracket before it."""
    stack: list[list[str]] = [[]]
    place = 0
    while place < len(text):
        match = _PIECE.match(text, place)
        if not match:
            return None
        place = match.end()
        letter, opened, closed, times, number = match.groups()
        if letter:
            stack[-1].append(letter)
        elif opened:
            if len(stack) > _DEEPEST:
                return None
            stack.append([])
        elif closed:
            if len(stack) == 1:
                return None
            inner = stack.pop()
            stack[-1] += _times(inner, times, most)
        elif number:
            if not stack[-1]:
                return None
            stack[-1] += _times(stack[-1][-1:], str(max(0, int(number[:6]) - 1)), most)
    return stack[0] if len(stack) == 1 else None


def _times(letters: list[str], number: str, most: int) -> list[str]:
    count = int(number[:6]) if number else 1
    return letters * min(count, most // max(1, len(letters)) + 1)
