"""The chords of a tune: its own symbols where it has them, a harmony of ours where it has none.

A symbol holds until the next one of its section (what stands between two bar signs that are more
than a single line, the endings included). The last symbol of a section holds to the section's end,
yet no longer than four measures, or than the longest that any of the tune's symbols holds until
the next in its section: what lies beyond is left to be solved. Where no section has two symbols,
nothing says that they mark the changes, and each holds for its measure. Where the section that
follows has its first symbol within a measure, the chord holds on until there, as one who writes a
symbol only where the chord changes means it. A later ending that begins without a symbol goes on
with the chord in force where the first ending began, since that is the bar played before it. All
this is our judgement of common practice; no source.

The harmony of ours is the likeliest chord of each slot (half a bar, or a beat in triple metres)
under a chain of chords: how well the melody's tones fit, how usual the degree is in the mode and at
this place of the phrase, what it costs to change chord at this place, and how the roots move (see
``weighing`` for the numbers and where they come from). A probability below one half is a doubtful
chord; a player may well choose another.

Conventions: a section that is repeated has one harmony; each numbered ending has its own, come to
from the same bar. Pickup notes before the first full bar have no chord; those before a later
section keep the chord before. A dominant seventh is written where the root falls a fifth to the
next chord, and nowhere else. What the tune's own symbols hold (see ``own_chords``) is given: the
chords around them are the likeliest beside those."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from tunebook.model.arrangement import ChordSpan
from tunebook.model.choices import Quality
from tunebook.model.names import bar_name
from tunebook.model.tune import Bar, ChordSymbol, Tune
from tunebook.model.voices import voice_as_tune
from tunebook.solve.harmony.chain import (
    chord_probabilities,
    fixed_scores,
)
from tunebook.solve.harmony.names import solved_symbol, spelled_symbol
from tunebook.solve.harmony.slots import HarmonySlot, harmony_slots, starts_section
from tunebook.solve.harmony.weighing import weighed
from tunebook.solve.times import Same, chords_without_rests

HELD_MEASURES = 4


@dataclass(frozen=True, slots=True)
class _Mark:
    """A chord symbol with its bar and time; ``section`` counts from 0."""

    bar: Bar
    onset: Fraction
    chord: ChordSymbol
    section: int


def own_chords(tune: Tune) -> tuple[ChordSpan, ...]:
    """The chord symbols that stand in the tune, in written order, each with its reach; where the
    melody has none, those of the first voice beside it that has some.

    Those that this program wrote into the text at an earlier time (with a remark that says so) have
    source "solved" and their probability; they hold until the next symbol. Empty without any.
    """
    marks, sections = _marks(tune)
    for voice in () if marks else tune.voices:
        tune = voice_as_tune(tune, voice)
        marks, sections = _marks(tune)
        if marks:
            break
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
        found.append(
            ChordSpan(
                bar_index=mark.bar.index,
                onset=mark.onset,
                duration=end,
                chord=mark.chord,
                source="solved",
                confidence=confidence,
            )
        )
    found.sort(key=lambda span: span.onset)
    kept = []
    for span, after in zip(found, [*found[1:], None], strict=True):
        until = min(_end(span), end if after is None else after.onset)
        if until > span.onset:
            kept.append(replace(span, duration=until - span.onset))
    return tuple(kept)


def _end(span: ChordSpan) -> Fraction:
    return span.onset + span.duration


_LEAST_CHOSEN = 0.04
"""The likeliest of 24 chords is likelier than this."""
LEAST_ALTERNATIVE = 0.08
"""Other chords are named from this probability on; our judgement."""
DOUBTFUL = 0.5
NEAR = 0.1
"""Chords less likely by no more than this may be taken for the sake of the hand; our judgement: an
editor's own two versions of a tune differ in more."""
_QUALITIES: tuple[Quality, ...] = ("major", "minor")


def choose_chords(tune: Tune) -> tuple[ChordSpan, ...]:
    """The chords of ``tune`` in written order, without gaps from the first one on, bars of rest
    left out.

    The tune's own symbols stay (source "tune", confidence 1); outside what they hold there is a
    harmony that goes with them (source "solved"). Shapes are not filled in. Those of the last few
    tunes are kept: they are the same on every instrument and in every tuning.
    """
    return _chosen(Same(tune))


@functools.lru_cache(maxsize=4)
def _chosen(same: Same) -> tuple[ChordSpan, ...]:
    tune = same.tune
    own = own_chords(tune)
    if _fills(own, tune):
        return own
    return chords_without_rests(solve_chords(tune, own), tune)


def _fills(own: Sequence[ChordSpan], tune: Tune) -> bool:
    """Whether the symbols leave no time of the tune free."""
    now = tune.bars[0].onset if tune.bars else Fraction(0)
    for span in own:
        if span.onset > now:
            return False
        now = span.onset + span.duration
    return bool(own) and now >= tune.bars[-1].onset + tune.bars[-1].duration


def solve_chords(tune: Tune, own: Sequence[ChordSpan] = ()) -> tuple[ChordSpan, ...]:
    """A harmony for ``tune`` round the chords ``own``, which stay as they are."""
    slots = harmony_slots(tune)
    given = _given(slots, own)
    if all(chord is not None for chord in given):
        return _joined(own, tune)
    probabilities = slot_probabilities(tune, slots, given)
    chosen = probabilities.argmax(axis=1).tolist()
    sevenths = _dominants(slots, chosen)
    groups = _groups(tune, slots, chosen, given)
    spans = list(own)
    for group, shares in zip(groups, _shares(probabilities, slots, groups), strict=True):
        state = chosen[group[0]], group[-1] in sevenths
        spans.append(_span(tune, (slots[group[0]], slots[group[-1]]), state, shares))
    return _joined(sorted(spans, key=lambda span: span.onset), tune)


def _given(slots: Sequence[HarmonySlot], own: Sequence[ChordSpan]) -> list[ChordSymbol | None]:
    """For each slot the chord of ``own`` that holds most of it, None where none holds any."""
    if not own:
        return [None] * len(slots)
    found: list[ChordSymbol | None] = []
    first = 0
    for slot in slots:
        end = slot.onset + slot.duration
        while first < len(own) and own[first].onset + own[first].duration <= slot.onset:
            first += 1
        best, chord = Fraction(0), None
        number = first
        while number < len(own) and own[number].onset < end:
            span = own[number]
            shared = min(end, span.onset + span.duration) - max(slot.onset, span.onset)
            if shared > best:
                best, chord = shared, span.chord
            number += 1
        found.append(chord)
    return found


def _joined(spans: Sequence[ChordSpan], tune: Tune) -> tuple[ChordSpan, ...]:
    """The spans, each lasting until the next one or the tune's end."""
    if not spans:
        return ()
    last = spans[-1].onset + spans[-1].duration
    starts = [span.onset for span in spans[1:]]
    ends = [*starts, max(last, tune.bars[-1].onset + tune.bars[-1].duration)]
    return tuple(
        span if span.onset + span.duration == end else replace(span, duration=end - span.onset)
        for span, end in zip(spans, ends, strict=True)
    )


def _shares(
    probabilities: np.ndarray, slots: Sequence[HarmonySlot], groups: Sequence[Sequence[int]]
) -> list[dict[int, float]]:
    """For each group of slots the chords that may be named, the likeliest first, with their mean
    probability over these slots, each counted with its length."""
    lengths = np.zeros(len(slots))
    for group in groups:
        for index in group:
            lengths[index] = slots[index].duration
    starts = [group[0] for group in groups]
    sums = np.add.reduceat(probabilities * lengths[:, None], starts, axis=0)
    means = sums / np.add.reduceat(lengths, starts)[:, None]
    orders = np.argsort(-means, axis=1)
    ordered = np.take_along_axis(means, orders, axis=1)
    found = []
    for order, row in zip(orders.tolist(), ordered.tolist(), strict=True):
        likely = itertools.takewhile(
            lambda one: one[1] >= _LEAST_CHOSEN, zip(order, row, strict=True)
        )
        found.append({state: round(mean, 3) for state, mean in likely})
    return found


def slot_probabilities(
    tune: Tune, slots: Sequence[HarmonySlot], given: Sequence[ChordSymbol | None] = ()
) -> np.ndarray:
    """(slots x 24) probability of each chord, numbered 2 * pitch class + (1 when minor), with the
    chords ``given`` (parallel to ``slots``, None where free) fixed."""
    scores, steps = weighed(tune, slots)
    if any(chord is not None for chord in given):
        scores = fixed_scores(scores, given)
    return chord_probabilities(scores, steps, [slot.parent for slot in slots])


def _groups(
    tune: Tune,
    slots: Sequence[HarmonySlot],
    chosen: Sequence[int],
    given: Sequence[ChordSymbol | None],
) -> list[list[int]]:
    """Free slots that share one printed chord: neighbours of one chord within a section."""
    begins = {
        bar.index
        for before, bar in zip((None, *tune.bars), tune.bars, strict=False)
        if starts_section(bar, before) or bar.ending
    }
    groups: list[list[int]] = []
    for index, slot in enumerate(slots):
        if given[index] is not None:
            continue
        is_new_bar = index == 0 or slots[index - 1].bar_index != slot.bar_index
        passed = range(slots[index - 1].bar_index + 1, slot.bar_index + 1) if index else ()
        starts = is_new_bar and any(bar in begins for bar in passed)
        is_same = index > 0 and chosen[index] == chosen[index - 1] and not starts
        is_same = is_same and given[index - 1] is None
        if is_same and slot.parent == index - 1:
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups


def _dominants(slots: Sequence[HarmonySlot], chosen: Sequence[int]) -> set[int]:
    """Slots whose chord is major, is not the tonic's, and falls a fifth to the chord that follows
    wherever another one follows."""
    falls: dict[int, list[bool]] = {}
    for index, slot in enumerate(slots):
        parent = slot.parent
        if parent >= 0 and chosen[parent] != chosen[index]:
            fall = (chosen[index] // 2 - chosen[parent] // 2) % 12 == 5
            falls.setdefault(parent, []).append(fall)
    found = set()
    for index, kinds in falls.items():
        key = slots[index].key
        degree = (chosen[index] // 2 - key.tonic_class) % 12
        # Major triads on these degrees are dominants of something when they fall a fifth; I to IV
        # and IV to flat VII are not heard so.
        dominants = (7, 2, 4, 9, 11) if not key.is_minor_like else (7, 2, 10)
        if chosen[index] % 2 == 0 and degree in dominants and all(kinds):
            found.add(index)
    return found


def _span(
    tune: Tune,
    ends: tuple[HarmonySlot, HarmonySlot],
    state: tuple[int, bool],
    shares: dict[int, float],
) -> ChordSpan:
    """A chord of ours from the first slot to the end of the last; ``state`` is its number and
    whether it has a seventh."""
    first, last = ends
    number, has_seventh = state
    place = tune.bars[first.bar_index].place
    confidence = shares.get(number, 0.0)
    others = [one for one in shares.items() if one[0] != number and one[1] >= LEAST_ALTERNATIVE]
    near = [one for one in others if one[1] >= confidence - NEAR]

    def symbol(one: int, extension: str = "") -> ChordSymbol:
        return solved_symbol(one // 2, _QUALITIES[one % 2], first.key, place, extension)

    return ChordSpan(
        bar_index=first.bar_index,
        onset=first.onset,
        duration=last.onset + last.duration - first.onset,
        chord=symbol(number, "7" if has_seventh else ""),
        source="solved",
        confidence=confidence,
        alternatives=tuple(
            [
                (spelled_symbol(one // 2, _QUALITIES[one % 2], first.key)[2], share)
                for one, share in others
            ]
        ),
        near=tuple([(symbol(one), share) for one, share in near]),
    )


def explain_chords(
    tune: Tune,
    spans: Sequence[ChordSpan],
    first_bar: int | None = None,
    last_bar: int | None = None,
) -> tuple[str, ...]:
    """Lines of text: each printed bar number with its chords, how sure they are, and the others
    that were likely. Bars are given as printed; None means from the first, to the last."""
    lines = []
    for span in spans:
        number = tune.bars[span.bar_index].number
        if (first_bar is not None and number < first_bar) or (
            last_bar is not None and number > last_bar
        ):
            continue
        lines.append(f"{bar_name(number)}{_beat(tune, span)}: {_words(tune, span)}")
    if not lines:
        return ("no chords in these bars",)
    solved = [span for span in spans if span.source == "solved"]
    if solved:
        doubtful = sum(span.confidence < DOUBTFUL for span in solved)
        lines.append(f"{len(solved)} chords chosen by the program, {doubtful} of them doubtful")
    return tuple(lines)


def _words(tune: Tune, span: ChordSpan) -> str:
    if span.source == "tune":
        return f"{span.chord.symbol}, the tune's own"
    words = f"{span.chord.symbol}, {span.confidence:.0%} sure"
    if span.alternatives:
        others = ", ".join(f"{symbol} {part:.0%}" for symbol, part in span.alternatives)
        words += f"; else {others}"
    return words + (" (doubtful)" if span.confidence < DOUBTFUL else "")


def _beat(tune: Tune, span: ChordSpan) -> str:
    """ ", beat 3" for a chord that begins within its bar, else nothing."""
    bar = tune.bars[span.bar_index]
    into = span.onset - bar.onset
    if bar.is_continued or bar.is_pickup or not into:
        return ""
    beat = Fraction(3 if bar.meter.is_compound else 1, bar.meter.unit)
    return f", beat {1 + into / beat}"
