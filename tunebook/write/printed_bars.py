"""The bars of a tune as they go on the page: exact lengths, bar lines, brackets, line ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.model.tune import Bar, Meter, Note
from tunebook.write.bar_signs import (
    bar_line,
    ending_commands,
    first_bar_line,
    last_bar_line,
    repeat_times,
)


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """One bar that takes time. ``length`` is the sum of its notes (whole notes), ``line_before``
    the bar line at its left where one must be named (first bar only), ``line_after`` that at its
    right, ``brackets`` the ending commands at its beginning. ``shows_key`` asks for its key
    signature, ``ends_line`` for a new line after it. ``times`` is how often the section that ends
    here is played, if the page must say so, else 0."""

    bar: Bar
    length: Fraction
    line_before: str
    line_after: str
    brackets: tuple[str, ...]
    shows_key: bool = False
    ends_line: bool = False
    times: int = 0

    @property
    def onset(self) -> Fraction:
        return self.bar.onset

    @property
    def end(self) -> Fraction:
        return self.bar.onset + self.length


@dataclass(frozen=True, slots=True)
class PrintedBars:
    """All printed bars of a tune, and the ending commands after the last one."""

    bars: tuple[PrintedBar, ...]
    brackets_at_end: tuple[str, ...]


def length_of(notes: Sequence[Note]) -> Fraction:
    """Time taken by ``notes``, grace notes left out."""
    return sum((note.duration for note in notes if not note.is_grace), Fraction(0))


def print_bars(bars: Sequence[Bar]) -> PrintedBars:
    """Choose bar lines and brackets for ``bars``. Bars without time are left out; what their
    signs say moves to the neighbours."""
    kept = _merge_empty(bars)
    brackets = ending_commands(kept)
    times = repeat_times(kept)
    printed: list[PrintedBar] = []
    for place, bar in enumerate(kept):
        is_last = place == len(kept) - 1
        after = (
            last_bar_line(bar.sign_after)
            if is_last
            else bar_line(bar.sign_after, kept[place + 1].sign_before)
        )
        before = first_bar_line(bar.sign_before) if place == 0 else ""
        printed.append(
            PrintedBar(
                bar,
                max(length_of(bar.notes), bar.duration),
                before,
                after,
                brackets[place],
                shows_key=place == 0 or _has_new_key(kept[place - 1], bar),
                times=times[place],
            )
        )
    return PrintedBars(tuple(printed), brackets[len(kept)])


def _has_new_key(before: Bar, bar: Bar) -> bool:
    """The bar that changed the key may not be printed, or stand elsewhere (in an exercise)."""
    return bar.key_changed or bar.key.alters != before.key.alters


def _merge_empty(bars: Sequence[Bar]) -> list[Bar]:
    kept: list[Bar] = []
    sign_before = ""
    ending: tuple[int, ...] = ()
    for bar in bars:
        if bar.duration or length_of(bar.notes):
            before = _stronger(sign_before, bar.sign_before)
            begun = bar.ending or ending
            is_same = before == bar.sign_before and begun == bar.ending
            kept.append(bar if is_same else replace(bar, sign_before=before, ending=begun))
            sign_before, ending = "", ()
            continue
        ending = bar.ending or ending
        sign_before = _stronger(sign_before, bar.sign_before)
        if kept:
            kept[-1] = replace(kept[-1], sign_after=_stronger(kept[-1].sign_after, bar.sign_after))
        elif bar.sign_after in ("|:", "::"):
            sign_before = _stronger(sign_before, bar.sign_after)
    return kept


_STRENGTH = ("", "|", ".|", "||", "[|", "|]", "|:", ":|", "::")


def _stronger(one: str, other: str) -> str:
    signs = {one, other}
    if {"|:", ":|"} <= signs:
        return "::"
    return max(one, other, key=lambda sign: _STRENGTH.index(sign) if sign in _STRENGTH else 1)


def time_command(printed: PrintedBar, *, is_new: bool) -> tuple[str, ...]:
    """Commands that set the metre at the beginning of a bar: the sign when ``is_new``, and the
    bar's true length whatever the metre says, so that bar lines never go astray."""
    meter, length = printed.bar.meter, printed.length
    fraction = f"{length.numerator}/{length.denominator}"
    if meter.is_free or not is_new:
        return (f"\\hiddenTime {fraction}",)
    if length == meter.length and meter.sign in ("C", "C|"):
        return ("\\defaultTimeSignature", f"\\time {meter.beats}/{meter.unit}")
    if length == meter.length and meter.sign == f"{meter.beats}/{meter.unit}":
        return ("\\numericTimeSignature", f"\\time {meter.sign}")
    return (_sign_override(meter), f"\\time {fraction}")


def _sign_override(meter: Meter) -> str:
    """Show the metre's sign over a bar of another length, or a sum of beats."""
    if meter.sign in ("C", "C|"):
        glyph = "timesig.C44" if meter.sign == "C" else "timesig.C22"
        text = f'\\markup \\musicglyph "{glyph}"'
    else:
        top = "+".join(str(group) for group in meter.groups) or str(meter.beats)
        text = (
            "\\markup \\override #'(baseline-skip . 0) \\number \\center-column "
            f'{{ "{top}" "{meter.unit}" }}'
        )
    return (
        "\\once \\override Score.TimeSignature.stencil = #ly:text-interface::print "
        f"\\once \\override Score.TimeSignature.text = {text}"
    )
