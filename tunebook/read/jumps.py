"""Da capo, dal segno, Fine and coda, as decorations or as words over the notes.

Source: The ABC Music Standard 2.1, section 4.14, for the decorations; what they mean is common
practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from tunebook.model.tune import Bar

_MOST_JUMPS = 8
_WORDS = (
    ("D.C.", re.compile(r"\W*(d\.?\s?c\b|da\s?capo)", re.I)),
    ("D.S.", re.compile(r"\W*(d\.?\s?s\b|dal\s?segno)", re.I)),
    ("fine", re.compile(r"\W*(fine|end|slut)\W*$", re.I)),
    ("dacoda", re.compile(r"\W*(to|al|da)\s+coda\W*$", re.I)),
    ("coda", re.compile(r"\W*coda\W*$", re.I)),
    ("segno", re.compile(r"\W*segno\W*$", re.I)),
)


@dataclass(frozen=True, slots=True)
class Jump:
    """After bar ``bar`` (its last time) play from ``target`` up to and with ``stop``; None means
    up to the end of the first section. Then go on from ``coda``, or after ``bar`` when None."""

    bar: int
    target: int
    stop: int | None
    coda: int | None = None


@dataclass(frozen=True, slots=True)
class _Mark:
    name: str
    bar: int
    is_at_end: bool
    wants: str


def find_jumps(bars: Sequence[Bar], say: Callable[[Bar, str, str], None]) -> list[Jump]:
    """The jumps of a tune in written order, each with what it asks for."""
    marks = [mark for bar in bars for mark in _marks_of(bar)]
    starts = [mark for mark in marks if mark.name in ("D.C.", "D.S.")][:_MOST_JUMPS]
    if not starts:
        return []
    jumps = []
    seen: set[int] = set()
    for mark in starts:
        if mark.bar in seen:
            continue
        seen.add(mark.bar)
        jumps.append(_jump_of(mark, marks, bars, say))
    return jumps


def _jump_of(
    mark: _Mark, marks: list[_Mark], bars: Sequence[Bar], say: Callable[[Bar, str, str], None]
) -> Jump:
    bar = bars[mark.bar]
    target = 0
    if mark.name == "D.S.":
        segno = next((other for other in marks if other.name == "segno"), None)
        if segno is None:
            say(bar, "D.S. without a segno goes back to the beginning", "write !segno!")
        else:
            target = min(segno.bar + (1 if segno.is_at_end else 0), mark.bar)
    fine = next((m.bar for m in marks if m.name == "fine" and m.bar >= target), None)
    away, coda = _coda_of(marks, len(bars))
    if away is not None and coda is not None and mark.wants != "fine":
        return Jump(mark.bar, target, away, coda)
    if fine is None or fine > mark.bar:
        fine = _fermata_at_an_end(bars, target, mark.bar)
    if fine is None:
        say(bar, f"{mark.name} without a Fine ends after the first part", 'write "^Fine"')
        return Jump(mark.bar, target, None)
    return Jump(mark.bar, target, fine)


def _fermata_at_an_end(bars: Sequence[Bar], first: int, jump: int) -> int | None:
    """The bar that ends a section before the jump with a fermata on its last note or its bar
    sign, which marks the end as Fine does."""
    for bar in bars[first:jump]:
        held = bar.decorations + (bar.notes[-1].decorations if bar.notes else ())
        if "fermata" in held and bar.sign_after not in ("|", ".|", ""):
            return bar.index
    return None


def _coda_of(marks: list[_Mark], count: int) -> tuple[int | None, int | None]:
    """The bar after which the coda is taken, and the bar with which it begins."""
    signs = [mark for mark in marks if mark.name == "coda"]
    leave = next((mark for mark in marks if mark.name == "dacoda"), None)
    if leave is None and len(signs) > 1:
        leave = signs.pop(0)
    if leave is None or not signs:
        return None, None
    coda = signs[-1].bar + (1 if signs[-1].is_at_end else 0)
    away = leave.bar
    return (away, coda) if away < coda < count else (None, None)


def _marks_of(bar: Bar) -> Iterator[_Mark]:
    for note in bar.notes:
        for name in note.decorations:
            yield from _mark(name, bar.index, False)
        for annotation in note.annotations:
            yield from _mark_of_words(annotation.text, bar.index, False)
    for name in bar.decorations:
        yield from _mark(name, bar.index, True)
    for annotation in bar.annotations:
        yield from _mark_of_words(annotation.text, bar.index, True)


_SAME = {"dacapo": "D.C.", "tocoda": "dacoda"}


def _mark(name: str, bar: int, is_at_end: bool) -> Iterator[_Mark]:
    name = _SAME.get(name, name)
    if name in ("segno", "coda", "fine", "dacoda"):
        yield _Mark(name, bar, is_at_end, "")
    elif name.startswith(("D.C.", "D.S.")):
        yield _Mark(name[:4], bar, is_at_end, name[6:])


def _mark_of_words(text: str, bar: int, is_at_end: bool) -> Iterator[_Mark]:
    if len(text) > 40:
        return
    for name, pattern in _WORDS:
        if pattern.match(text):
            lower = text.lower()
            wants = "fine" if "fine" in lower else "coda" if "coda" in lower else ""
            yield _Mark(name, bar, is_at_end, wants)
            return
