"""Where the lines of a tune end: the exact cheapest choice by a few plain rules.

Widths are estimated in staff spaces from note values the way a spacing engine sets them: room
grows with the logarithm of the value (the principle is that of Ross 1970, "The Art of Music
Engraving and Processing"; the figures are fitted to 180 lines engraved without stretching, which
they meet within 3 % in two cases out of three). A line costs more the emptier or fuller it is and
the further its bars are from the number wanted; the number wanted, four if it can be, is that with
the cheapest whole. Line ends after four bars of a phrase, at repeat signs, or where the tune's own
lines end are cheaper; a pickup alone at the end of a line or an ending cut from its bracket is
dear. All weights are our judgement.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.tune import Note
from tunebook.write.lilypond.bars import PrintedBar, PrintedBars
from tunebook.write.safe_text import plain_text

# Estimated widths, staff spaces.
_EIGHTH_SPACES = 2.5
_SPACES_PER_DOUBLING = 0.7
_LEAST_DOUBLINGS = -1.0
_ACCIDENTAL_SPACES = 1.15
_GRACE_SPACES = 1.4
_DOT_SPACES = 0.4
_BAR_SPACES = 2.55
_REPEAT_SPACES = 2.5
_CLEF_SPACES = 3.7
_SIGNATURE_SPACES = 0.6
_METRE_SPACES = 1.5
_LETTER_SPACES = 0.85

# Shares of the line that the unstretched music takes.
_COMFORTABLE_FILL = 0.68
_COMFORTABLE_WHEN_DENSE = 0.78
_FULLEST = 0.92
_LEAST_ONLY_FILL = 0.5
_LEAST_LAST_SHARE = 0.62

# What a line more costs where room is short.
_LINE_COST_WHEN_DENSE = 0.7

# Numbers of bars that a line may want, with what wanting them costs a line.
_WANTED = {4: 0.0, 3: 0.5, 2: 0.6, 6: 0.7, 8: 0.7, 5: 0.9, 1: 1.2}


@dataclass(frozen=True, slots=True)
class LineChoice:
    """The bars with their line ends, and whether the last line is too short to be stretched."""

    printed: PrintedBars
    is_ragged_last: bool
    bars_per_line: tuple[int, ...]


class _Line(NamedTuple):
    """A line that begins with bar ``start``: its full bars, and what its fill costs."""

    start: int
    full: int
    fill_cost: float


class _LinesToEnd(NamedTuple):
    """The lines that end with the same bar, and what ending there costs."""

    lines: list[_Line]
    end_cost: float


def break_lines(
    printed: PrintedBars,
    line_width_bp: float,
    staff_size_pt: float,
    *,
    has_words: bool = False,
    voices: Sequence[PrintedBars] = (),
    is_dense: bool = False,
) -> LineChoice:
    """Choose the line ends of ``printed`` for lines of ``line_width_bp`` PDF points; ``voices`` are
    printed in the same systems, each beside it bar by bar. With ``is_dense``, fuller lines are
    chosen where they are fewer."""
    bars = printed.bars
    if not bars:
        # Nothing takes time, as in a tune of one grace note.
        return LineChoice(printed, is_ragged_last=True, bars_per_line=())
    spaces = line_width_bp / (staff_size_pt / 4.0 * 72.0 / 72.27)
    widths = [
        _bar_spaces(one, [voice.bars[place].bar.notes for voice in voices], has_words)
        for place, one in enumerate(bars)
    ]
    counts = _full_bars(bars)
    lines = _possible_lines(bars, widths, counts, spaces, is_dense)
    choices = [_cheapest_ends(lines, wanted) for wanted in _WANTED]
    _, ends = min(choices, key=lambda choice: choice[0])
    kept = set(ends[:-1])
    marked = tuple(replace(one, ends_line=place + 1 in kept) for place, one in enumerate(bars))
    chosen = list(zip((0, *ends[:-1]), ends, strict=True))
    fills = [_line_spaces(bars, widths, start, end) / spaces for start, end in chosen]
    per_line = tuple(end - start for start, end in chosen)
    return LineChoice(PrintedBars(marked, printed.brackets_at_end), _is_short_last(fills), per_line)


def _is_short_last(fills: Sequence[float]) -> bool:
    """True when the last line would look torn apart beside the others if it were stretched."""
    if len(fills) == 1:
        return fills[0] < _LEAST_ONLY_FILL
    others = sum(fills[:-1]) / (len(fills) - 1)
    return fills[-1] < _LEAST_LAST_SHARE * others


def _possible_lines(
    bars: Sequence[PrintedBar],
    widths: Sequence[float],
    counts: Sequence[float],
    spaces: float,
    is_dense: bool,
) -> list[_LinesToEnd]:
    """All lines that are not too full, by the bar they end with; a single bar always fits."""
    comfort = _COMFORTABLE_WHEN_DENSE if is_dense else _COMFORTABLE_FILL
    more = _LINE_COST_WHEN_DENSE if is_dense else 0.0
    possible: list[_LinesToEnd] = []
    for end in range(1, len(bars) + 1):
        is_last = end == len(bars)
        lines: list[_Line] = []
        for start in range(end - 1, -1, -1):
            fill = _line_spaces(bars, widths, start, end) / spaces
            if fill > _FULLEST and end - start > 1:
                break
            full = round(sum(counts[start:end]))
            lines.append(_Line(start, full, _fill_cost(fill, comfort, is_last) + more))
        possible.append(_LinesToEnd(lines, 0.0 if is_last else _end_cost(bars, counts, end)))
    return possible


def _cheapest_ends(possible: Sequence[_LinesToEnd], wanted: int) -> tuple[float, list[int]]:
    """Cost and ends of lines (indices after their last bars), by dynamic programming."""
    size = len(possible)
    best = [0.0] + [math.inf] * size
    came = [0] * (size + 1)
    for end, (lines, end_cost) in enumerate(possible, start=1):
        is_last = end == size
        for start, full, fill_cost in lines:
            missing_cost = (0.4 if is_last and full < wanted else 0.7) * abs(full - wanted)
            cost = best[start] + fill_cost + _WANTED[wanted] + missing_cost + end_cost
            if cost < best[end]:
                best[end], came[end] = cost, start
    ends = [size]
    while came[ends[-1]] > 0:
        ends.append(came[ends[-1]])
    return best[size], ends[::-1]


def _line_spaces(
    bars: Sequence[PrintedBar], widths: Sequence[float], start: int, end: int
) -> float:
    alters = bars[start].bar.key.alters
    head = _CLEF_SPACES + _SIGNATURE_SPACES * sum(1 for alter in alters if alter)
    return head + (_METRE_SPACES if start == 0 else 0.0) + sum(widths[start:end])


def _fill_cost(fill: float, comfort: float, is_last: bool) -> float:
    slack = fill - comfort
    cost = 1.0 + 12.0 * slack * slack * (0.4 if is_last and slack < 0 else 1.0)
    return cost + 25.0 * (slack - 0.16) if slack > 0.16 else cost


def _end_cost(bars: Sequence[PrintedBar], counts: Sequence[float], end: int) -> float:
    """Cost of a line's end between bars ``end`` - 1 and ``end``."""
    last, after = bars[end - 1], bars[end]
    cost = 0.0
    since = _bars_since_sign(bars, counts, end)
    closes = _is_section_end(last)
    if closes and not after.bar.ending:
        cost -= 1.5
    elif since % 4 == 0:
        cost -= 0.6
    elif since % 2 == 0:
        cost -= 0.2
    if last.bar.breaks_line_after:
        cost -= 0.8
    if last.length < last.bar.meter.length and not closes and not _completes(bars, end):
        cost += 4.0
    if after.bar.ending:
        cost += 0.9
    if last.line_after == "":
        cost += 3.0
    return cost


def _is_section_end(one: PrintedBar) -> bool:
    return one.line_after in (":|.", ":|.|:", "||", "|.", ".|:-||")


def _completes(bars: Sequence[PrintedBar], end: int) -> bool:
    """True when the short bar before ``end`` is the second half of a bar split in two."""
    last = bars[end - 1]
    return end >= 2 and last.bar.is_continued and bars[end - 2].bar.number == last.bar.number


def _bars_since_sign(bars: Sequence[PrintedBar], counts: Sequence[float], end: int) -> int:
    """Full bars between the last repeat sign or double bar and ``end``."""
    total = 0.0
    for place in range(end - 1, -1, -1):
        if place < end - 1 and _is_section_end(bars[place]) and not bars[place + 1].bar.ending:
            break
        total += counts[place]
    return round(total)


def _full_bars(bars: Sequence[PrintedBar]) -> list[float]:
    """How much of a bar each one counts: a pickup nothing, a part of a bar its share, a second
    ending nothing (it is played instead of the first)."""
    counts: list[float] = []
    is_later_ending = False
    for one in bars:
        if one.bar.ending:
            is_later_ending = min(one.bar.ending) > 1
        elif counts and bars[len(counts) - 1].bar.ends_ending:
            is_later_ending = False
        whole = one.bar.meter.length
        share = 1.0 if not whole else min(1.0, float(one.length / whole))
        is_pickup = one.bar.is_pickup or share < 0.5
        counts.append(0.0 if is_pickup or is_later_ending else (1.0 if share > 0.6 else share))
    return counts


def _bar_spaces(one: PrintedBar, others: Sequence[Sequence[Note]], has_words: bool) -> float:
    width = _BAR_SPACES
    if ":" in one.line_after:
        width += _REPEAT_SPACES
    if one.bar.key_changed:
        width += 3.0
    if one.bar.meter_changed:
        width += _METRE_SPACES
    own = sum(_note_spaces(note, has_words) for note in one.bar.notes)
    rows = [sum(_note_spaces(note, False) for note in notes) for notes in others]
    return width + max([own, *rows, _columns_spaces([one.bar.notes, *others]) if others else 0.0])


def _columns_spaces(voices: Sequence[Sequence[Note]]) -> float:
    """The width of notes that sound together, by the times at which any of them begins."""
    notes = [note for voice in voices for note in voice if not note.is_grace]
    times = sorted({time for note in notes for time in (note.onset, note.onset + note.duration)})
    return sum(_value_spaces(after - time) for time, after in itertools.pairwise(times))


def _value_spaces(duration: Fraction) -> float:
    doublings = math.log2(max(float(duration), 1 / 64) * 8)
    return _EIGHTH_SPACES + _SPACES_PER_DOUBLING * max(_LEAST_DOUBLINGS, doublings)


def _note_spaces(note: Note, has_words: bool) -> float:
    signs = sum(1 for sign in note.shown_accidentals if sign)
    extra = _ACCIDENTAL_SPACES * min(2, signs)
    if note.is_grace:
        return _GRACE_SPACES + extra
    width = _value_spaces(note.duration)
    if note.written.numerator in (3, 7):
        width += _DOT_SPACES
    if has_words and note.syllables:
        letters = max((len(plain_text(one.text)) for one in note.syllables if one), default=0)
        width = max(width, _LETTER_SPACES * (letters + 1.5))
    return width + extra
