"""Which files are scores, and where in a score each place of the ABC text made of it lies."""

from __future__ import annotations

import bisect
from dataclasses import dataclass

SCORE_SUFFIXES = (".musicxml", ".xml", ".mxl")


def is_score(name: str) -> bool:
    """Whether a file is a score by its name."""
    return name.lower().endswith(SCORE_SUFFIXES)


@dataclass(frozen=True, slots=True)
class Spots:
    """Which part and bar of a score stand where in its ABC text: sorted (line, column) from 1 where
    each bar begins, and parallel to them what it is called ("part Violin bar 3")."""

    starts: tuple[tuple[int, int], ...] = ()
    names: tuple[str, ...] = ()

    def at(self, line: int, column: int) -> str:
        """The part and bar at a place of the text; "" above the music."""
        found = bisect.bisect_right(self.starts, (line, max(column, 1))) - 1
        if found < 0:
            return ""
        is_here = self.starts[found][0] == line or found + 1 == len(self.names)
        return self.names[found if is_here else found + 1]
