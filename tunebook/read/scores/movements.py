"""Where one tune of a score ends and the next begins, and what they are called.

A score file mostly holds one tune. It holds several where, after a bar sign that ends a piece, the
bars are counted from 1 again, or words as large as a heading stand over the next bar (our
judgement; MusicXML 4.0 itself writes one movement a file, but programs do not keep to it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from tunebook.read.scores.bars import Frame
from tunebook.read.scores.timeline import Part, number_of, words_of


@dataclass(frozen=True, slots=True)
class Movement:
    """The measures ``start`` to ``stop`` (without it), the titles, the text of M: with which they
    begin, and the measures with which the score begins a new line."""

    start: int
    stop: int
    titles: tuple[str, ...]
    meter: str
    line_starts: frozenset[int]


def movements_of(
    root: Element, parts: Sequence[Part], frames: Sequence[Frame], stem: str
) -> list[Movement]:
    """Cut a score into its tunes; one that has no title is called by its file."""
    starts = [0, *(at for at in range(1, len(frames)) if _begins_tune(frames, at))]
    titles = _titles(root) or (stem,)
    line_starts = frozenset(frame.index for frame in frames if frame.breaks_line)
    movements = []
    meter = ""
    for number, (start, stop) in enumerate(zip(starts, [*starts[1:], len(frames)], strict=True)):
        meter = frames[start].meter or meter
        own = _heading(frames[start]) if len(starts) > 1 else ""
        if number == 0:
            names = titles if not own or own in titles else (own, *titles)
        else:
            names = (own or f"{titles[0]}, {number + 1}",)
        movements.append(Movement(start, stop, names, meter, line_starts))
        for frame in frames[start:stop]:
            meter = frame.meter or meter
    return movements


def _begins_tune(frames: Sequence[Frame], at: int) -> bool:
    before, frame = frames[at - 1], frames[at]
    if before.sign != "|]" and not before.repeats:
        return False
    is_counted_anew = _count(frame) in (0, 1) and _count(before) > 1
    return is_counted_anew or bool(_heading(frame))


def _count(frame: Frame) -> int:
    return int(frame.number) if frame.number.isdecimal() and len(frame.number) < 6 else -1


def _heading(frame: Frame) -> str:
    """Words as large as a heading at the beginning of a measure."""
    for found in frame.directions.values():
        for onset, direction in found:
            if onset == 0 and direction.is_large and direction.words and not direction.tempo:
                return direction.words[0][1]
    return ""


def _titles(root: Element) -> tuple[str, ...]:
    """The titles of work and movement, else the largest words of the first page."""
    titles = [words_of(root, "work/work-title"), words_of(root, "movement-title")]
    found = tuple(dict.fromkeys(filter(None, titles)))
    if found:
        return found
    sized = []
    for credit in root.iterfind("credit"):
        words = [" ".join((one.text or "").split()) for one in credit.iterfind("credit-words")]
        text = " ".join(filter(None, words))
        if not text or credit.get("page", "1") != "1":
            continue
        first = credit.find("credit-words")
        size = number_of(first.get("font-size")) if first is not None else number_of("")
        sized.append((words_of(credit, "credit-type") == "title", size, text))
    return (max(sized)[2][:300],) if sized else ()
