"""A tune's own chord symbols as spans of time: how far each of them reaches.

A symbol holds until the next one of its section (what stands between two bar signs that are more
than a single line, the endings included). The last symbol of a section holds to the section's end,
yet no longer than four measures, or than the longest that any of the tune's symbols holds until
the next in its section: what lies beyond is left to be solved. Where no section has two symbols,
nothing says that they mark the changes, and each holds for its measure. Where the section that
follows has its first symbol within a measure, the chord holds on until there, as one who writes a
symbol only where the chord changes means it. A later ending that begins without a symbol goes on
with the chord in force where the first ending began, since that is the bar played before it. All
this is our judgement of common practice; no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.model.arrangement import ChordSpan
from tunebook.model.tune import Bar, ChordSymbol, Tune
from tunebook.solve.harmony_slots import starts_section

HELD_MEASURES = 4


@dataclass(frozen=True, slots=True)
class _Mark:
    """A chord symbol with its bar and time; ``section`` counts from 0."""

    bar: Bar
    onset: Fraction
    chord: ChordSymbol
    section: int


def own_chords(tune: Tune) -> tuple[ChordSpan, ...]:
    """The chord symbols that stand in the tune, in written order, each with its reach.

    Those that this program wrote into the text at an earlier time (with a remark that says so) have
    source "solved" and their probability; they hold until the next symbol. Empty without any.
    """
    marks, sections = _marks(tune)
    if not marks:
        return ()
    own = [mark for mark in marks if mark.chord.solved_confidence is None]
    end = max((bar.onset + bar.duration for bar in tune.bars), default=Fraction(0))
    spans = _held(own, tune.bars, sections, end)
    spans = _with_endings(spans, tune.bars, sections, {mark.onset for mark in marks})
    earlier = [mark for mark in marks if mark.chord.solved_confidence is not None]
    return _with_earlier(spans, earlier, end) if earlier else tuple(spans)


def _marks(tune: Tune) -> tuple[list[_Mark], list[Fraction]]:
    """The symbols in written order, and the beginnings of the sections."""
    marks: list[_Mark] = []
    sections: list[Fraction] = []
    before: Bar | None = None
    for bar in tune.bars:
        if starts_section(bar, before):
            sections.append(bar.onset)
        before = bar
        number = len(sections) - 1
        for onset, chord in _symbols(bar):
            if marks and marks[-1].onset == onset:
                marks.pop()
            marks.append(_Mark(bar, onset, chord, number))
    return marks, sections


def _symbols(bar: Bar) -> list[tuple[Fraction, ChordSymbol]]:
    """The bar's symbols with their times."""
    found: list[tuple[Fraction, ChordSymbol]] = []
    for note in bar.notes:
        if note.is_grace:
            continue
        if note.chord is not None:
            found.append((note.onset, note.chord))
        found += [(note.onset + delay, chord) for delay, chord in note.later_chords]
    if bar.end_chord is not None:
        found.append((_end_onset(bar, found[-1][0] if found else bar.onset), bar.end_chord))
    return found


def _end_onset(bar: Bar, last: Fraction) -> Fraction:
    """When a symbol right before the bar sign begins: on the bar's last beat, or where that has a
    symbol of its own in the middle of what is left."""
    beat = Fraction(3 if bar.meter.is_compound else 1, bar.meter.unit)
    end = bar.onset + bar.duration
    return max(end - beat, (last + end) / 2)


def _held(
    marks: Sequence[_Mark], bars: Sequence[Bar], sections: Sequence[Fraction], end: Fraction
) -> list[ChordSpan]:
    """Each symbol for as long as it holds, endings aside."""
    pairs = list(itertools.pairwise(marks))
    longest = max(
        (after.onset - mark.onset for mark, after in pairs if after.section == mark.section),
        default=Fraction(0),
    )
    spans = []
    for index, mark in enumerate(marks):
        after = marks[index + 1] if index + 1 < len(marks) else None
        until = end
        if after is not None and after.section == mark.section:
            until = after.onset
        else:
            following = sections[mark.section + 1 :] or [end]
            measures = HELD_MEASURES if longest else 1
            most = max(mark.onset + longest, _end_of_measures(bars, mark.bar, measures))
            until = min(following[0], most)
            if after is not None and until == following[0] and _is_near(after, following[0], mark):
                until = after.onset
        if until > mark.onset:
            spans.append(ChordSpan(mark.bar.index, mark.onset, until - mark.onset, mark.chord))
    return spans


def _is_near(after: _Mark, section: Fraction, mark: _Mark) -> bool:
    """Whether the next symbol stands within a measure of the next section's beginning."""
    return after.section == mark.section + 1 and after.onset - section <= after.bar.meter.length


def _end_of_measures(bars: Sequence[Bar], first: Bar, measures: int) -> Fraction:
    """The end of the bar with which so many ``measures`` from ``first`` on are full."""
    length = measures * (first.meter.length or first.duration)
    if first.duration < first.meter.length and not first.is_continued:
        length += first.duration
    end = first.onset
    for bar in bars[first.index :]:
        if bar.onset >= first.onset + length:
            break
        end = bar.onset + bar.duration
    return end


def _with_endings(
    spans: list[ChordSpan],
    bars: Sequence[Bar],
    sections: Sequence[Fraction],
    marked: set[Fraction],
) -> list[ChordSpan]:
    """Let the later endings that begin without a symbol go on from where the first began."""
    begun = frozenset(sections)
    branch: ChordSpan | None = None
    is_in_ending = False
    for bar in bars:
        if bar.onset in begun:
            is_in_ending = False
        if not bar.ending:
            continue
        before = [span for span in spans if span.onset < bar.onset]
        current = before[-1] if before and _end(before[-1]) >= bar.onset else None
        if not is_in_ending or 1 in bar.ending:
            branch = current
        elif bar.onset not in marked:
            spans = _branched(spans, bar, current, branch)
        is_in_ending = True
    return spans


def _branched(
    spans: list[ChordSpan], bar: Bar, current: ChordSpan | None, branch: ChordSpan | None
) -> list[ChordSpan]:
    """The spans with ``branch`` going on from the ending that begins with ``bar``."""
    if branch is None or (current is not None and branch.chord == current.chord):
        return spans
    before = [
        replace(span, duration=min(_end(span), bar.onset) - span.onset)
        for span in spans
        if span.onset < bar.onset
    ]
    after = [span for span in spans if span.onset >= bar.onset]
    until = current is not None and _end(current) > bar.onset
    end = _end(current) if until and current is not None else bar.onset + bar.duration
    if after:
        end = min(end, after[0].onset)
    return [*before, ChordSpan(bar.index, bar.onset, end - bar.onset, branch.chord), *after]


def _with_earlier(
    spans: Sequence[ChordSpan], earlier: Sequence[_Mark], end: Fraction
) -> tuple[ChordSpan, ...]:
    """The spans with the symbols of an earlier run in the time that they leave free."""
    found = list(spans)
    for mark in earlier:
        confidence = mark.chord.solved_confidence or 0.0
        found.append(ChordSpan(mark.bar.index, mark.onset, end, mark.chord, "solved", confidence))
    found.sort(key=lambda span: span.onset)
    kept = []
    for span, after in zip(found, [*found[1:], None], strict=True):
        until = min(_end(span), end if after is None else after.onset)
        if until > span.onset:
            kept.append(replace(span, duration=until - span.onset))
    return tuple(kept)


def _end(span: ChordSpan) -> Fraction:
    return span.onset + span.duration
