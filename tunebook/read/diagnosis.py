"""Finds bars whose length does not fit the metre.

A bar may be short where it shares its time with another one: a pickup with the last bar of its
section, two halves around a repeat sign or a double bar, the ends of numbered endings (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.tune import Bar, Meter
from tunebook.read.notices import Notices

_lengths: dict[Meter, Fraction] = {}


def diagnose_bars(bars: Sequence[Bar], notices: Notices) -> None:
    """Note every bar that is too long or too short."""
    pickup = Fraction(0)
    for index, bar in enumerate(bars):
        full = _full(bar.meter)
        if not full:
            continue
        if _begins_section(bars, index):
            pickup = bar.duration if bar.duration < full else Fraction(0)
        if bar.duration == full or not bar.notes:
            continue
        if bar.duration > full:
            _say(bar, full, "too long", notices)
        elif not _is_shared(bars, index, full, pickup):
            _say(bar, full, "too short", notices)


def _full(meter: Meter) -> Fraction:
    length = _lengths.get(meter)
    if length is None:
        if len(_lengths) > 500:
            _lengths.clear()
        length = _lengths[meter] = meter.length
    return length


def _begins_section(bars: Sequence[Bar], index: int) -> bool:
    if index == 0:
        return True
    bar = bars[index]
    return bool(bar.part) or (bar.sign_before not in ("|", ".|", "") and not bar.ending)


def _is_shared(bars: Sequence[Bar], index: int, full: Fraction, pickup: Fraction) -> bool:
    """Whether the rest of a short bar stands somewhere else."""
    bar = bars[index]
    if _begins_section(bars, index) or bar.is_continued:
        return True
    following = bars[index + 1] if index + 1 < len(bars) else None
    if following is not None and following.is_continued:
        return bar.duration + following.duration <= full
    is_last = following is None or bar.sign_after not in ("|", ".|", "")
    if not is_last and not (following is not None and (following.ending or following.part)):
        return False
    if pickup and bar.duration + pickup == full:
        return True
    if following is not None and bar.duration + following.duration == full:
        return True
    return bar.duration + bars[0].duration == full


def _say(bar: Bar, full: Fraction, what: str, notices: Notices) -> None:
    first, last = bar.notes[0], bar.notes[-1]
    is_one_line = first.place.line == last.place.line
    length = (last.end_column if is_one_line else first.end_column) - first.place.column
    notices.add(
        "bar-length",
        f"bar {bar.number} is {what}: {_name(bar.duration)} instead of {bar.meter.sign}",
        "check its note lengths and bar signs",
        line=first.place.line - notices.first_line,
        column=first.place.column,
        length=max(1, length),
    )


def _name(length: Fraction) -> str:
    """A length in quarters or shorter values, as 5/8."""
    if length.denominator < 4:
        return f"{length.numerator * 4 // length.denominator}/4"
    return str(length)
