"""The order of parts in the header's P: field, as "ABA", "A2B2" or "A(BC)3", and the labels of
the parts in the music.

Source: The ABC Music Standard 2.1, section 3.1.9.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from tunebook.model.tune import Bar

_PIECE = re.compile(r"([A-Za-z])|(\()|(\))(\d*)|[\s.,]+|(\d+)")
_DEEPEST = 20
_LONE_LETTER = re.compile(r"(?<![^\W\d_])[A-Za-z](?![^\W\d_])")


@dataclass(frozen=True, slots=True)
class Parts:
    """The labelled parts of a tune: ``labels`` maps a letter to the index of its first bar,
    ``firsts`` are the first bars of all, ``again`` those whose letter came before; ``written``
    the letters as they stand in the music."""

    labels: dict[str, int]
    firsts: tuple[int, ...]
    again: tuple[tuple[str, int], ...]
    written: tuple[str, ...]

    def is_written_order(self, letters: Sequence[str]) -> bool:
        """Whether the parts stand written out in this order, some letter more than once."""
        return bool(self.again) and tuple(letters) == self.written


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


def find_parts(bars: Sequence[Bar], letters: Sequence[str]) -> Parts:
    """The parts of a tune by the letters of its order: "A (vals)", "A." and "a" all label A.

    A label's letter is one of the order that stands by itself, else its first letter; capital
    and small letters are one where the order does not tell them apart (our judgement).
    """
    labels: dict[str, int] = {}
    again: list[tuple[str, int]] = []
    written: list[str] = []
    firsts = [bar.index for bar in bars if bar.part]
    for index in firsts:
        letter = _letter_of(bars[index].part, letters)
        written.append(letter)
        if letter in labels:
            again.append((letter, index))
        else:
            labels[letter] = index
    return Parts(labels, tuple(firsts), tuple(again), tuple(written))


def _letter_of(label: str, letters: Sequence[str]) -> str:
    by_case = {letter.lower(): letter for letter in letters}
    has_both = len(by_case) < len(set(letters))
    alone = _LONE_LETTER.findall(label)
    first = next((sign for sign in label if sign.isalpha()), label[:1])
    for letter in (*alone, first):
        if letter in letters:
            return letter
        if not has_both and letter.lower() in by_case:
            return by_case[letter.lower()]
    return first
