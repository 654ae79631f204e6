"""Numbers of bars and lines as a message names them."""

from __future__ import annotations

from collections.abc import Iterable

MOST_RANGES = 12


def in_ranges(numbers: Iterable[int], most: int = MOST_RANGES) -> str:
    """The numbers in order, those that follow each other joined: "3-5, 8"; what goes beyond
    ``most`` ranges is "..."."""
    ranges: list[list[int]] = []
    for number in sorted(set(numbers)):
        if ranges and number == ranges[-1][-1] + 1:
            ranges[-1][1:] = [number]
        else:
            ranges.append([number])
    words = ["-".join(map(str, pair)) for pair in ranges[:most]]
    return ", ".join([*words, "..."] if len(ranges) > most else words)


def bars_in_words(numbers: Iterable[int]) -> str:
    """ "bar 3", "bars 3-5, 8", or "upbeat and bar 1"; 0 is the notes before the first bar."""
    found = set(numbers)
    counted = found - {0}
    bars = f"bar{'s' if len(counted) != 1 else ''} {in_ranges(counted)}" if counted else ""
    return " and ".join([*(["upbeat"] if counted != found else []), *([bars] if bars else [])])
