"""Finds bars whose length does not fit the metre.

A bar may be short where it shares its time with another one: a pickup with the last bar of its
section, two halves around a repeat sign or a double bar, the ends of numbered endings (common
practice, no source). All wrong bars of a tune make one message, which names the cause where one
lies behind most of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.names import bar_name
from tunebook.model.number_lists import bars_in_words
from tunebook.model.tune import Bar, Meter
from tunebook.read.notices import Notices

_LEAST_OF_ONE_CAUSE = 4
_lengths: dict[Meter, Fraction] = {}


def diagnose_bars(
    bars: Sequence[Bar], notices: Notices, assumed_unit: Fraction | None = None
) -> None:
    """Note the bars that are too long or too short. ``assumed_unit`` is the unit length that was
    taken where no L: stands."""
    wrong = _wrong_bars(bars)
    if not wrong:
        return
    cause = _unit_behind(bars, wrong, assumed_unit) or _meter_behind(bars, wrong)
    what, remedy = cause or (_each_of(wrong), "check its note lengths and bar signs")
    if not cause and len(wrong) > 1:
        remedy = "check their note lengths and bar signs"
    _say(wrong[0], what, remedy, notices)


def _wrong_bars(bars: Sequence[Bar]) -> list[Bar]:
    wrong = []
    pickup = Fraction(0)
    for index, bar in enumerate(bars):
        full = _full(bar.meter)
        if not full:
            continue
        if _begins_section(bars, index):
            pickup = bar.duration if bar.duration < full else Fraction(0)
        if bar.duration == full or not bar.notes:
            continue
        if bar.duration > full or not _is_shared(bars, index, full, pickup):
            wrong.append(bar)
    return wrong


def _unit_behind(
    bars: Sequence[Bar], wrong: Sequence[Bar], assumed_unit: Fraction | None
) -> tuple[str, str] | None:
    """What to say where another unit length makes most of the wrong bars right."""
    if assumed_unit is None or len(wrong) < _LEAST_OF_ONE_CAUSE:
        return None
    for factor in (Fraction(2), Fraction(1, 2), Fraction(4), Fraction(1, 4)):
        if sum(_fits(bar, factor) for bar in wrong) * 3 >= len(wrong) * 2:
            length = "short" if factor > 1 else "long"
            count = sum(_fits(bar, factor) for bar in bars)
            what = f"{count} bars are too {length}: L: is missing, {assumed_unit} was assumed"
            return what, f"write L:{assumed_unit * factor}"
    return None


def _fits(bar: Bar, factor: Fraction) -> bool:
    """Whether the bar would be right with notes so many times as long."""
    return bool(bar.notes) and bar.duration * factor == _full(bar.meter)


def _meter_behind(bars: Sequence[Bar], wrong: Sequence[Bar]) -> tuple[str, str] | None:
    """What to say where most bars of the tune have one length that is not the metre's."""
    meters = {bar.meter for bar in bars}
    length, _ = Counter(bar.duration for bar in wrong).most_common(1)[0]
    count = sum(bar.duration == length for bar in bars)
    if len(meters) > 1 or count < _LEAST_OF_ONE_CAUSE or count * 3 < len(bars) * 2:
        return None
    meter = wrong[0].meter
    what = f"{count} of {len(bars)} bars are {_name(length)} long instead of {meter.sign}"
    return what, "write the metre that is meant, or check L:"


def _each_of(wrong: Sequence[Bar]) -> str:
    """The wrong bars by number."""
    if len(wrong) == 1:
        (bar,) = wrong
        how = "long" if bar.duration > _full(bar.meter) else "short"
        lengths = f"{_name(bar.duration)} instead of {bar.meter.sign}"
        return f"{bar_name(bar.number)} is too {how}: {lengths}"
    signs = ", ".join(dict.fromkeys(bar.meter.sign for bar in wrong))
    parts = [
        f"too {how}: {bars_in_words(bar.number for bar in some)}"
        for how, some in (
            ("short", [bar for bar in wrong if bar.duration < _full(bar.meter)]),
            ("long", [bar for bar in wrong if bar.duration > _full(bar.meter)]),
        )
        if some
    ]
    return f"{len(wrong)} bars do not fit {signs}; {'; '.join(parts)}"


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


def _say(bar: Bar, what: str, remedy: str, notices: Notices) -> None:
    first, last = bar.notes[0], bar.notes[-1]
    is_one_line = first.place.line == last.place.line
    length = (last.end_column if is_one_line else first.end_column) - first.place.column
    notices.add(
        "bar-length",
        what,
        remedy,
        line=first.place.line - notices.first_line,
        column=first.place.column,
        length=max(1, length),
    )


def _name(length: Fraction) -> str:
    """A length in quarters or shorter values, as 5/8."""
    if length.denominator < 4:
        return f"{length.numerator * 4 // length.denominator}/4"
    return str(length)
