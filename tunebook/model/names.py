"""What bars and tones are called in print, and numbers of bars and lines as messages list them."""

from __future__ import annotations

import re
from collections.abc import Iterable

from tunebook.model.choices import NoteNames
from tunebook.model.tune import STEP_LETTERS


def printed_tone(step: int, alter: int, note_names: NoteNames) -> tuple[str, int]:
    """Letter and alteration as they are printed: in "h" B natural is H, and B flat is B without a
    sign."""
    if note_names == "h" and step == 6:
        return ("B", alter + 1) if alter < 0 else ("H", alter)
    return STEP_LETTERS[step], alter


_TONE_IN_NAME = re.compile(r"(?<![A-Za-z])B(b|♭)?(?![A-Zac-z])")


def printed_name(name: str, note_names: NoteNames) -> str:
    """A name of a pitch or a string ("B4", "Bb", "low B") as it is printed."""
    if note_names != "h":
        return name
    return _TONE_IN_NAME.sub(lambda found: "B" if found[1] else "H", name)


_TRILL = re.compile(r"trill finger ([1-4])")


def trill_words(finger: int) -> str:
    """Which finger trills, as scores that we write say it."""
    return f"trill finger {finger}"


def finger_of_trill(text: str) -> int | None:
    """The finger in such words; None where they are others."""
    found = _TRILL.fullmatch(text)
    return int(found[1]) if found else None


_SOLVED = re.compile(r"solved-(\d(?:\.\d{1,3})?)-\d+-(.+)")
_IN_MARK = str.maketrans({"#": "s", "/": "_"})


def solved_mark(symbol: str, confidence: float, number: int) -> str:
    """The mark of a proposed chord in scores that we write: how likely it is (0 to 1) and for which
    symbol, in the letters that an xs:ID may have; ``number`` makes it the only one."""
    likely = f"{confidence:.3f}".rstrip("0").rstrip(".")
    letters = "".join(
        one if (one.isascii() and one.isalnum()) or one in "#/" else "-" for one in symbol
    )
    return f"solved-{likely}-{number}-{letters.translate(_IN_MARK)}"


def likely_of(mark: str, symbol: str) -> str:
    """How likely a proposed chord was, as text, by its mark; "" where there is none, or where
    somebody has changed the symbol since."""
    found = _SOLVED.fullmatch(mark)
    if found is None or solved_mark(symbol, 1.0, 0).rpartition("-0-")[2] != found[2]:
        return ""
    return found[1]


def bar_name(number: int) -> str:
    """A bar in the words of a message: "bar 3"; number 0 is the notes before the first bar line."""
    return f"bar {number}" if number else "upbeat"


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
