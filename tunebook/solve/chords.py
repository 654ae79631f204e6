"""The chords of a tune: its own symbols where it has them, a harmony of ours where it has none.

The harmony is the likeliest chord of each slot (half a bar, or a beat in triple metres) under a
chain of chords: how well the melody's tones fit, how usual the degree is in the mode and at this
place of the phrase, what it costs to change chord at this place, and how the roots move. See
data/harmony/chain.toml for the numbers and where they come from. A probability below one half is a
doubtful chord; a player may well choose another.

Conventions: a section that is repeated has one harmony; each numbered ending has its own, come to
from the same bar. Pickup notes before the first full bar have no chord; those before a later
section keep the chord before. A dominant seventh is written where the root falls a fifth to the
next chord, and nowhere else. What the tune's own symbols hold (see ``own_chords``) is given: the
chords around them are the likeliest beside those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from tunebook.model.arrangement import ChordSpan
from tunebook.model.names import bar_name
from tunebook.model.tune import ChordSymbol, Tune
from tunebook.solve.chord_names import solved_symbol
from tunebook.solve.harmony_chain import (
    chord_probabilities,
    fixed_scores,
    passages,
    slot_scores,
)
from tunebook.solve.harmony_slots import HarmonySlot, harmony_slots, starts_section
from tunebook.solve.harmony_tables import harmony_tables
from tunebook.solve.own_chords import own_chords
from tunebook.solve.rest_bars import chords_without_rests

LEAST_ALTERNATIVE = 0.08
"""Other chords are named from this probability on; our judgement."""
DOUBTFUL = 0.5
_QUALITIES = ("major", "minor")


def choose_chords(tune: Tune) -> tuple[ChordSpan, ...]:
    """The chords of ``tune`` in written order, without gaps from the first one on, bars of rest
    left out.

    The tune's own symbols stay (source "tune", confidence 1); outside what they hold there is a
    harmony that goes with them (source "solved"). Shapes are not filled in.
    """
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
    probabilities = slot_probabilities(slots, given)
    chosen = [int(row.argmax()) for row in probabilities]
    sevenths = _dominants(slots, chosen)
    spans = list(own)
    for group in _groups(tune, slots, chosen, given):
        mean = _mean(probabilities, slots, group)
        has_seventh = group[-1] in sevenths
        spans.append(_span(tune, slots[group[0]], chosen[group[0]], mean, has_seventh))
    return _joined(sorted(spans, key=lambda span: span.onset), tune)


def _given(slots: Sequence[HarmonySlot], own: Sequence[ChordSpan]) -> list[ChordSymbol | None]:
    """For each slot the chord of ``own`` that holds most of it, None where none holds any."""
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


def _mean(
    probabilities: np.ndarray, slots: Sequence[HarmonySlot], group: Sequence[int]
) -> np.ndarray:
    """The mean probability of each chord over these slots, each counted with its length."""
    lengths = np.array([float(slots[index].duration) for index in group])
    return (probabilities[group] * lengths[:, None]).sum(axis=0) / lengths.sum()


def slot_probabilities(
    slots: Sequence[HarmonySlot], given: Sequence[ChordSymbol | None] = ()
) -> np.ndarray:
    """(slots x 24) probability of each chord, numbered 2 * pitch class + (1 when minor), with the
    chords ``given`` (parallel to ``slots``, None where free) fixed."""
    tables = harmony_tables()
    parents = [slot.parent for slot in slots]
    scores = slot_scores(slots, tables)
    if any(chord is not None for chord in given):
        scores = fixed_scores(scores, given)
    return chord_probabilities(scores, passages(slots, tables), parents)


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
    slot: HarmonySlot,
    state: int,
    mean: np.ndarray,
    has_seventh: bool,
) -> ChordSpan:
    """A chord of ours from ``slot`` on; how long it holds is settled with what follows."""
    place = tune.bars[slot.bar_index].place

    def symbol(number: int, extension: str = "") -> ChordSymbol:
        quality = _QUALITIES[number % 2]
        return solved_symbol(number // 2, quality, slot.key, place, extension)

    shares = mean.tolist()
    others = [
        (symbol(other).symbol, round(shares[other], 3))
        for other in np.argsort(-mean).tolist()
        if other != state and shares[other] >= LEAST_ALTERNATIVE
    ]
    chord = symbol(state, "7" if has_seventh else "")
    return ChordSpan(
        slot.bar_index, slot.onset, slot.duration, chord, "solved",
        round(float(mean[state]), 3), (), tuple(others),
    )  # fmt: skip


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
