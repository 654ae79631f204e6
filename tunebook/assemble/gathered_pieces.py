"""Many pieces engraved as one: their sources joined in one file, the result told apart again.

Each file that the engraver is given costs it time beyond the music itself, and each PDF that it
makes holds fonts of its own. Pieces whose sources begin alike are therefore set one after the
other in one file; the settings for the engraver tell which system belongs to which piece.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tunebook.assemble.engraving_settings import BARS_COMMENT

_SCORE = "\\score {"
_BOOK = "\\book {"
_INNER_SCORE = "  \\score {"
_END = "}"
_LAYOUT = "\\layout {"


@dataclass(frozen=True, slots=True)
class SourceParts:
    """A source taken apart: what stands before the music, the score, and for the opening what
    stands before its score and the score itself (both empty where there is none)."""

    preamble: str
    score: str
    opening_head: str = ""
    opening_score: str = ""


def take_apart(source: str) -> SourceParts | None:
    """The parts of a source that holds settings, one score, and perhaps a book with the opening;
    None for any other source, which is engraved by itself.

    No text from a tune can look like one of these lines: strings hold no line breaks.
    """
    lines = source.rstrip("\n").split("\n")
    try:
        score_at = lines.index(_SCORE)
        score_end = lines.index(_END, score_at)
    except ValueError:
        return None
    score = lines[score_at : score_end + 1]
    rest = lines[score_end + 1 :]
    preamble = [line for line in lines[:score_at] if not line.startswith(BARS_COMMENT)]
    if not _has_layout(score) or any("\\midi" in line for line in score):
        return None
    if not rest:
        return SourceParts("\n".join(preamble), "\n".join(score))
    if rest[0] != _BOOK or rest.index(_END) != len(rest) - 1 or _INNER_SCORE not in rest:
        return None
    at = rest.index(_INNER_SCORE)
    opening = rest[at:-1]
    if not _has_layout(opening):
        return None
    return SourceParts("\n".join(preamble), "\n".join(score), "\n".join(rest[:at]),
                       "\n".join(opening))  # fmt: skip


def _has_layout(score: Sequence[str]) -> bool:
    return _LAYOUT in score[-2]


def alike(parts: Mapping[str, SourceParts]) -> list[list[str]]:
    """The names in groups that can be set in one file, each in the order given."""
    heads: dict[str, str] = {}
    for one in parts.values():
        heads[one.preamble] = heads.get(one.preamble) or one.opening_head
    groups: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, one in parts.items():
        groups[one.preamble, one.opening_head or heads[one.preamble]].append(name)
    return list(groups.values())


def joined(parts: Sequence[SourceParts]) -> str:
    """One source for pieces that begin alike; their numbers are their places in ``parts``."""
    text = [parts[0].preamble, "\n"]
    text += [_numbered(one.score, number) + "\n" for number, one in enumerate(parts)]
    openings = [(number, one) for number, one in enumerate(parts) if one.opening_score]
    if openings:
        text += [openings[0][1].opening_head, "\n"]
        text += [_numbered(one.opening_score, number) + "\n" for number, one in openings]
        text += [_END, "\n"]
    return "".join(text)


def _numbered(score: str, number: int) -> str:
    """The layout block is the last thing in a score."""
    before, after = score.rsplit(_LAYOUT, 1)
    return f"{before}{_LAYOUT} piece = {number}{after}"


def told_apart(boxes: str) -> dict[int, str]:
    """The boxes of each piece by its number, from those of a whole file: its lines, each with the
    number of its page added. Raises ValueError when they are not whole."""
    lines = boxes.splitlines()
    if not lines or not lines[0].startswith("page "):
        raise ValueError("no page size")
    found: dict[int, list[str]] = defaultdict(lambda: [lines[0]])
    for page, line in enumerate(lines[1:]):
        words = line.split()
        found[int(words[6])].append(" ".join([*words[:6], str(page)]))
    return {number: "\n".join([*rows, ""]) for number, rows in found.items()}
