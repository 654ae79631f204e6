"""A tune cut into the slots that a chord can fill, with what the melody does in each.

A slot is half a bar in duple metres and in 6/8, a beat in triple metres. A short bar at the
beginning of a section is a pickup: its slots are counted from its end. A short bar in the middle
of a section is a bar cut in two: its parts together make one measure.

Slots follow one another as they are first played: the slot after a second ending's first is not
the one before it on the page. So every slot has one slot that it comes from, and slots form a
tree, on which harmony can still be decided exactly.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.tune import Bar, Key, Meter, Tune
from tunebook.solve.times import Same, WholeTimes, whole_times

PHRASE_PLACES = (
    "first bar", "inner bar", "fourth bar", "fourth bar late", "fifth bar", "bar before last",
    "bar before last late", "last bar", "last bar late", "eighth bar", "eighth bar late",
)  # fmt: skip
CHANGE_PLACES = (
    "section", "phrase", "strong bar", "weak bar", "half bar", "compound half bar", "second beat",
    "third beat", "cadence half bar", "last half bar",
)  # fmt: skip
_FREE_SLOT = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class HarmonySlot:
    """One slot. ``onset`` and ``duration`` in whole notes along the written tune; ``weights`` the
    part of the slot that each pitch class (0 = C) sounds; ``first_class`` the pitch class struck
    at its beginning, None when none is; ``parent`` the index of the slot it comes from, -1 at
    the beginning. ``phrase_place`` and ``change_place`` index PHRASE_PLACES and CHANGE_PLACES;
    ``measure`` counts from 0 within its section of ``measures``, ``into_measure`` is the part of
    the measure before the slot."""

    bar_index: int
    onset: Fraction
    duration: Fraction
    weights: tuple[float, ...]
    first_class: int | None
    parent: int
    phrase_place: int
    change_place: int
    key: Key
    measure: int = 0
    measures: int = 1
    into_measure: float = 0.0


@dataclass(frozen=True, slots=True)
class _Measure:
    """Bars that make one full measure. ``number`` counts within its section of ``size``."""

    bars: tuple[Bar, ...]
    number: int
    size: int


class _Cell(NamedTuple):
    """The room of one slot: its bar, onset and duration in steps, its number in the measure and the
    number of those in a full one."""

    bar: Bar
    onset: int
    duration: int
    nth: int
    total: int


BarTone = tuple[int, int, list[int]]
"""Onset and end in steps of the tune's whole times, and the MIDI tones, of what sounds in a bar."""


def bar_tones(tune: Tune) -> list[list[BarTone]]:
    """What sounds in each bar, without grace notes; kept for the last few tunes."""
    return _bar_tones(Same(tune))


@functools.lru_cache(maxsize=4)
def _bar_tones(same: Same) -> list[list[BarTone]]:
    return [
        [
            (onset, onset + length, [pitch.midi for pitch in note.pitches])
            for note, (onset, length) in zip(bar.notes, spans, strict=True)
            if length and note.pitches and not note.is_grace
        ]
        for bar, spans in zip(same.tune.bars, whole_times(same.tune).notes, strict=True)
    ]


@functools.lru_cache(maxsize=64)
def slot_length(meter: Meter) -> Fraction:
    """How long a slot is in this metre, in whole notes."""
    if meter.is_free:
        return _FREE_SLOT
    if meter.is_compound:
        beat = Fraction(3, meter.unit)
        return 2 * beat if meter.beats == 6 and meter.unit < 8 else beat
    if meter.beats % 2 == 0 and meter.length <= 1:
        return meter.length / 2
    if meter.beats == 3:
        return meter.length if meter.unit >= 8 else Fraction(1, meter.unit)
    return Fraction(2, meter.unit) if meter.beats % 2 == 0 else Fraction(1, meter.unit)


def harmony_slots(tune: Tune) -> tuple[HarmonySlot, ...]:
    """The slots of ``tune`` in written order. Bars before the first full one have none."""
    keys = {id(bar.key): bar.key for bar in tune.bars}
    heard = {number: heard_key(tune, key) for number, key in keys.items()}
    times = whole_times(tune)
    cells = [
        (measure, cell) for measure in _measures(tune, times) for cell in _cells(measure, times)
    ]
    tones = bar_tones(tune)
    slots = []
    for (measure, cell), parent in zip(cells, _parents(tune, cells), strict=True):
        bar = cell.bar
        weights, first = _melody(cell, tones[bar.index])
        if tune.voices:
            weights = _with_voices(weights, tune, cell, times)
        phrase_place, change_place = _places(
            measure.number, measure.size, cell.total, cell.nth, is_compound=bar.meter.is_compound
        )
        slots.append(
            HarmonySlot(
                bar_index=bar.index,
                onset=Fraction(cell.onset, times.per_whole),
                duration=Fraction(cell.duration, times.per_whole),
                weights=weights,
                first_class=first,
                parent=parent,
                phrase_place=phrase_place,
                change_place=change_place,
                key=heard[id(bar.key)],
                measure=measure.number,
                measures=measure.size,
                into_measure=cell.nth / cell.total,
            )
        )
    return tuple(slots)


def heard_key(tune: Tune, key: Key) -> Key:
    """``key`` itself, or where the file names none the key that the last note and the thirds over
    it suggest: the last note of most folk tunes is their tonic (common practice, no source)."""
    if key.mode != "none":
        return key
    pitches = [note.pitches[0] for bar in tune.bars for note in bar.notes if note.pitches]
    if not pitches:
        return key
    tonic = pitches[-1]
    classes = [(pitch.midi - tonic.midi) % 12 for pitch in pitches]
    is_minor = classes.count(3) > classes.count(4)
    return replace(
        key,
        tonic_step=tonic.step,
        tonic_alter=tonic.alter,
        mode="aeolian" if is_minor else "ionian",
    )


def _parents(tune: Tune, cells: Sequence[tuple[_Measure, _Cell]]) -> list[int]:
    """For each slot the one before it; the first slot of each bar comes from the slot played
    before it the first time."""
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    for index, (_, cell) in enumerate(cells):
        first.setdefault(cell.bar.index, index)
        last[cell.bar.index] = index
    parents = list(range(-1, len(cells) - 1))
    followed: set[int] = set()
    before = -1
    for bar_index in tune.played:
        if bar_index not in first:
            continue
        index = first[bar_index]
        if index not in followed and before < index:
            parents[index] = before
        followed.add(index)
        before = last[bar_index]
    return parents


def starts_section(bar: Bar, before: Bar | None) -> bool:
    """True when a new part of the tune begins with ``bar``; a numbered ending is none."""
    if before is None or bar.part or bar.meter_changed or bar.key_changed:
        return True
    signs = (before.sign_after, bar.sign_before)
    return any(":" in sign or sign in ("||", "|]", "[|") for sign in signs) and not bar.ending


def _measures(tune: Tune, times: WholeTimes) -> list[_Measure]:
    """Full measures in written order, pickups left out, numbered within their sections."""
    sections: list[list[tuple[tuple[Bar, ...], int]]] = []
    number = branch = ending_size = length = 0
    before: Bar | None = None
    for bar, (_, duration) in zip(tune.bars, times.bars, strict=True):
        if duration <= 0:
            continue
        is_past_ending = 0 < ending_size <= number - branch and not bar.ending
        if starts_section(bar, before) or is_past_ending:
            sections.append([])
            number = branch = ending_size = 0
        if bar.ending:
            if branch:
                ending_size = ending_size or number - branch
                number = branch
            branch = number
        group = sections[-1]
        full = times.of_meter(bar.meter)
        is_short = duration < full
        if group and is_short and length < full and length + duration <= full:
            # The rest of the short measure before it.
            group[-1] = ((*group[-1][0], bar), group[-1][1])
            length += duration
        elif not (is_short and not group) or bar.meter.is_free:
            group.append(((bar,), number))
            number += 1
            length = duration
        before = bar
    found: list[_Measure] = []
    for group in sections:
        size = max((nth + 1 for _, nth in group), default=0)
        found.extend(_Measure(bars, nth, size) for bars, nth in group)
    return found


def _cells(measure: _Measure, times: WholeTimes) -> list[_Cell]:
    """The room of each slot of a measure."""
    cells = []
    elapsed = 0
    for bar in measure.bars:
        step = times.steps(slot_length(bar.meter))
        count = _slot_count(bar.meter)
        onset, duration = times.bars[bar.index]
        at = 0
        while at < duration:
            place = elapsed + at
            length = min(step - place % step, duration - at)
            cells.append(_Cell(bar, onset + at, length, place // step, count))
            at += length
        elapsed += duration
    return cells


def _melody(cell: _Cell, tones: Sequence[BarTone]) -> tuple[tuple[float, ...], int | None]:
    """What part of the slot each pitch class sounds, and the pitch class that begins it."""
    weights = [0.0] * 12
    first: int | None = None
    start, duration = cell.onset, cell.duration
    end = start + duration
    for onset, until, midis in tones:
        sounding = (end if end < until else until) - (start if start > onset else onset)
        if sounding <= 0:
            continue
        for midi in midis:
            weights[midi % 12] += sounding / duration / len(midis)
        if onset <= start:
            first = midis[0] % 12
    return tuple(weights), first


def _with_voices(
    melody: tuple[float, ...], tune: Tune, cell: _Cell, times: WholeTimes
) -> tuple[float, ...]:
    """The mean of what the voices sound in the cell, of those that sound there, as double stops
    count: the scale is that of one voice."""
    start = Fraction(cell.onset, times.per_whole)
    end = start + Fraction(cell.duration, times.per_whole)
    rows = [melody]
    for voice in tune.voices:
        row = [0.0] * 12
        for note in voice.bars[cell.bar.index].notes:
            sounding = min(end, note.onset + note.duration) - max(start, note.onset)
            if note.is_grace or sounding <= 0:
                continue
            for pitch in note.pitches:
                row[pitch.midi % 12] += float(sounding / (end - start)) / len(note.pitches)
        rows.append(tuple(row))
    heard = [row for row in rows if any(row)] or [melody]
    return tuple(sum(column) / len(heard) for column in zip(*heard, strict=True))


@functools.lru_cache(maxsize=4096)
def _places(number: int, size: int, count: int, nth: int, *, is_compound: bool) -> tuple[int, int]:
    """Indices into PHRASE_PLACES and CHANGE_PLACES, of slot ``nth`` of ``count`` in a measure."""
    if number == size - 1 and size > 1:
        phrase = "last bar"
    elif number == size - 2 and size > 3:
        phrase = "bar before last"
    else:
        eight = number % 8
        phrase = {0: "first bar", 3: "fourth bar", 4: "fifth bar", 7: "eighth bar"}.get(
            eight, "inner bar"
        )
    change = _change(number, phrase, count, nth, is_compound=is_compound)
    late = phrase + " late" if nth and phrase + " late" in PHRASE_PLACES else phrase
    return PHRASE_PLACES.index(late), CHANGE_PLACES.index(change)


@functools.lru_cache(maxsize=64)
def _slot_count(meter: Meter) -> int:
    """Slots in a full bar."""
    return 1 if meter.is_free else int(meter.length / slot_length(meter))


def _change(number: int, phrase: str, count: int, nth: int, *, is_compound: bool) -> str:
    if nth == 0:
        if number == 0:
            return "section"
        return "phrase" if number % 4 == 0 else ("weak bar" if number % 2 else "strong bar")
    if count % 2 == 0 and nth == count // 2:
        if phrase == "bar before last":
            return "cadence half bar"
        if phrase == "last bar":
            return "last half bar"
        return "compound half bar" if is_compound else "half bar"
    return "second beat" if nth == 1 else "third beat"
