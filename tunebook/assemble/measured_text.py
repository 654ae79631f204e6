"""Text measured once: how far each of its letters reaches, and the lines that follow from it.

Widths of letters and shifts of kerned pairs add up, so the width of any stretch of a text is the
difference of two sums. Lines and cuts are found by bisection in these sums: the time grows with
the length of the text, whatever stands in it. Nothing is cut between a letter and the marks that
combine with it, as long as they find room on one line.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate

# What sums of the same widths in another order may differ by.
LEEWAY_PT = 1e-6


@dataclass(frozen=True, slots=True)
class MeasuredText:
    """``reached[i]`` is the width in points of the first i letters of ``text``, ``shifts[i]`` what
    the pair of letters i - 1 and i is kerned by (0.0 for the first letter), counted in ``reached``
    from i + 1 on. ``text`` has the letters and signs that are printed."""

    text: str
    reached: Sequence[float]
    shifts: Sequence[float]

    @property
    def width_pt(self) -> float:
        return self.reached[-1]

    def width(self, start: int, stop: int) -> float:
        """Width in points of the letters from ``start`` to before ``stop``, set by themselves."""
        if start >= stop:
            return 0.0
        return self.reached[stop] - self.reached[start] - self.shifts[start]

    def furthest(self, start: int, room_pt: float) -> int:
        """The last place up to which the letters from ``start`` on fit into ``room_pt``."""
        if start == len(self.text):
            return start
        most = self.reached[start] + self.shifts[start] + room_pt + LEEWAY_PT
        return max(start, bisect_right(self.reached, most, lo=start) - 1)

    def whole(self, start: int, stop: int) -> int:
        """``stop``, or the next place before it where no letter is parted from its marks; ``stop``
        itself where there is none after ``start``."""
        cut = stop
        while start < cut < len(self.text) and is_mark(self.text[cut]):
            cut -= 1
        return cut if cut > start else stop


def measure(
    text: str, widths: Sequence[float], kerned_by: Callable[[int], float] | None
) -> MeasuredText:
    """Add up. ``widths[i]`` is the advance of letter i in points; ``kerned_by(i)`` the shift of
    the pair of letters i - 1 and i, None where nothing is kerned."""
    if kerned_by is None:
        return MeasuredText(text, [*accumulate(widths, initial=0.0)], [0.0] * len(text))
    shifts = [0.0, *map(kerned_by, range(1, len(text)))][: len(text)]
    both = map(float.__add__, map(float, widths), shifts)
    return MeasuredText(text, [*accumulate(both, initial=0.0)], shifts)


def is_mark(letter: str) -> bool:
    """Whether the letter combines with the one before it."""
    return letter > "\u02ff" and unicodedata.category(letter) in ("Mn", "Me", "Mc")


def break_lines(text: MeasuredText, ends: Sequence[int], width_pt: float) -> tuple[str, ...]:
    """Break the text into lines no wider than ``width_pt``. ``ends`` are the places, in rising
    order, where a word ends; the letter there is a blank, or the text's end. What is wider than a
    line by itself is cut; a line has at least one letter."""
    lines: list[str] = []
    start, word = 0, 0
    while word < len(ends):
        far = text.furthest(start, width_pt)
        following = bisect_right(ends, far, lo=word)
        if following > word:
            lines.append(text.text[start : ends[following - 1]])
            start, word = ends[following - 1] + 1, following
            continue
        far = min(max(text.whole(start, far), start + 1), ends[word])
        lines.append(text.text[start:far])
        start = far
        if start == ends[word]:
            start, word = start + 1, word + 1
    return tuple(lines)
