"""Chord shapes in use: which changes are the hardest, and a plain accompaniment.

An accompaniment has bass tones and two-string chords in the tune type's usual rhythm. The chords'
shapes are the exact sequence of least movement on two strings (see ``shapes``); a bass tone is the
root, or the fifth when the same chord had its root in this bar already. What comes out is solved
like a melody, so every change from shape to shape is priced and can be checked."""

from __future__ import annotations

import bisect
import itertools
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

from tunebook.model.arrangement import ChordSpan, FingeredNote, Stop
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, ChordSymbol, Meter, Note, Pitch, Tune
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.move_tables import CostTables, tables_for
from tunebook.solve.fingering.moves import Passage, choose, hands_of, movement_terms
from tunebook.solve.fingering.postures import Demand, PostureSet
from tunebook.solve.harmony.names import bass_class, chord_classes, spell_tone
from tunebook.solve.shapes.shapes import HIGHEST_KEY, choose_shapes


@dataclass(frozen=True, slots=True)
class ChordChange:
    """A change of chord with the shapes chosen for it and what it costs the hand."""

    before: ChordSpan
    after: ChordSpan
    cost: float


def hardest_changes(
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    most: int = 3,
) -> tuple[ChordChange, ...]:
    """The changes of chord that cost the hand most, the hardest first, each pair once.

    Spans without a shape get the two-string shapes of least movement first.
    """
    if any(not span.shape for span in chords):
        chords = choose_shapes(chords, instrument, hand, limits, strings=(2,))
    found: dict[frozenset[tuple[Stop, ...]], ChordChange] = {}
    for before, after in itertools.pairwise(chords):
        if not before.shape or not after.shape or before.shape == after.shape:
            continue
        cost = change_cost(before.shape, after.shape, instrument, hand, limits)
        pair = frozenset((before.shape, after.shape))
        if pair not in found or cost > found[pair].cost:
            found[pair] = ChordChange(before, after, cost)
    return tuple(sorted(found.values(), key=lambda change: -change.cost)[:most])


def change_cost(
    before: Sequence[Stop],
    after: Sequence[Stop],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    time_s: float = 1.0,
) -> float:
    """Cost of holding one shape, going to another in ``time_s``, and holding that; fingers as
    given, the hand placed as well as can be. Infinite when one of them cannot be held."""
    tables = tables_for(instrument, hand, limits or Limits())
    first, second = _as_held(before, tables), _as_held(after, tables)
    if not first or not second:
        return math.inf
    chosen = choose([p for p, _ in (*first, *second)], [row for _, row in (*first, *second)])
    count = len(first) + len(second)
    froms, tos = np.meshgrid(np.arange(len(first)), np.arange(len(first), count), indexing="ij")
    terms = movement_terms(
        hands_of(chosen, froms.ravel()), hands_of(chosen, tos.ravel()), Passage(), tables.reach
    )
    own = np.array([p.base[row] for p, row in first])[froms.ravel()]
    own = own + np.array([p.base[row] for p, row in second])[tos.ravel() - len(first)]
    moves = sum((fixed + by_time / time_s for fixed, by_time in terms.values()), np.zeros(own.size))
    return float((own + moves).min())


def _as_held(stops: Sequence[Stop], tables: CostTables) -> list[tuple[PostureSet, int]]:
    """The postures that hold these stops with these fingers."""
    postures = tables.postures(Demand(tuple(stop.midi for stop in stops)))
    if postures is None:
        return []
    wanted = tuple((stop.string_index, stop.key, stop.finger) for stop in stops)
    return [
        (postures, row)
        for row, posture in enumerate(postures.postures)
        if tuple(posture.slots) == wanted
    ]


@dataclass(frozen=True, slots=True)
class Hit:
    """One stroke of a pattern: ``at`` and ``length`` in whole notes from the bar's beginning."""

    at: Fraction
    length: Fraction
    is_low: bool


def accompany(
    tune: Tune,
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
) -> tuple[FingeredNote, ...]:
    """The fingered notes of an accompaniment under ``tune``.

    ``bar_index`` of each is the tune's bar, ``note_index`` counts within that bar of the
    accompaniment. Pickups are silent, and so are chords that have no shape on this instrument.
    """
    part = accompaniment_tune(
        tune, chords, instrument, hand, limits, whole_notes_per_second=whole_notes_per_second
    )
    if not any(bar.notes for bar in part.bars):
        return ()
    solved = choose_fingering(
        part, instrument, hand, limits, whole_notes_per_second=whole_notes_per_second
    )
    return tuple(note for note in solved.notes if note.stops)


def accompaniment_tune(
    tune: Tune,
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
) -> Tune:
    """The accompaniment as a tune of its own, bar by bar beside ``tune``, not yet fingered."""
    shaped = choose_shapes(
        chords, instrument, hand, limits, strings=(2,),
        whole_notes_per_second=whole_notes_per_second,
    )  # fmt: skip
    bars = [
        replace(bar, notes=_bar_notes(bar, tune, shaped, instrument, limits or Limits()))
        for bar in tune.bars
    ]
    return replace(tune, bars=tuple(bars), voices=(), messages=())


@lru_cache(maxsize=64)
def pattern_for(rhythm: str, meter: Meter) -> tuple[Hit, ...]:
    """The strokes of a bar for a tune type (the text of R:) in a metre; empty in a free metre."""
    if meter.is_free:
        return ()
    beat = Fraction(3 if meter.is_compound else 1, meter.unit)
    kind = rhythm.strip().lower()
    for types, metres, hits in _patterns():
        fits = not types or kind in types or any(kind.startswith(one) for one in types)
        if fits and f"{meter.beats}/{meter.unit}" in metres:
            return tuple(
                Hit((Fraction(at) - 1) * beat, Fraction(length) * beat, how == "low")
                for at, length, how in hits
            )
    return (Hit(Fraction(0), min(beat, meter.length), True),)


@lru_cache(maxsize=1)
def _patterns() -> tuple[tuple[tuple[str, ...], tuple[str, ...], tuple[tuple[Any, ...], ...]], ...]:
    """(types, metres, hits) of each pattern."""
    file = resources.files("tunebook").joinpath("data/harmony/accompaniment.toml")
    return tuple(
        (tuple(one.get("types", ())), tuple(one["metres"]), tuple(map(tuple, one["hits"])))
        for one in tomllib.loads(file.read_text("utf-8"))["pattern"]
    )


def _bar_notes(
    bar: Bar,
    tune: Tune,
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    limits: Limits,
) -> tuple[Note, ...]:
    if bar.is_pickup:
        return ()
    skipped = Fraction(0)
    if bar.is_continued and bar.duration < bar.meter.length:
        skipped = bar.meter.length - bar.duration
    notes: list[Note] = []
    rooted: set[int] = set()
    for hit in pattern_for(tune.rhythm, bar.meter):
        onset = bar.onset + hit.at - skipped
        if not bar.onset <= onset < bar.onset + bar.duration:
            continue
        span = _chord_at(chords, onset)
        if span is None or not span.shape:
            continue
        if hit.is_low:
            has_root = id(span) in rooted
            low = _low_tone(span.chord, instrument, limits, has_root)
            is_open = any(string.open_midi == low for string in instrument.strings)
            tones: dict[int, bool] = {low: is_open}
            rooted.add(id(span))
        else:
            tones = {stop.midi: stop.key == 0 for stop in span.shape}
        length = min(hit.length, bar.onset + bar.duration - onset)
        notes.append(_note(bar, span.chord, tones, onset, length))
    return tuple(notes)


def _chord_at(chords: Sequence[ChordSpan], onset: Fraction) -> ChordSpan | None:
    number = bisect.bisect_right(chords, onset, key=lambda span: span.onset) - 1
    if number < 0 or onset >= chords[number].onset + chords[number].duration:
        return None
    return chords[number]


def _low_tone(chord: ChordSymbol, instrument: Instrument, limits: Limits, has_root: bool) -> int:
    """MIDI number of the bass: the lowest root (or slash bass) that a low key sounds, and the
    fifth where the root was struck before in this bar."""
    classes = chord_classes(chord)
    wanted = classes[2] if has_root and len(classes) > 2 else bass_class(chord)
    highest = HIGHEST_KEY if limits.highest_key is None else min(HIGHEST_KEY, limits.highest_key)
    stops = [
        Stop(string.open_midi + key, string.index, key, 0)
        for string in instrument.strings
        for key in range(min(highest, string.key_count) + 1)
    ]
    fitting = [stop.midi for stop in stops if stop.midi % 12 == wanted]
    return min(fitting) if fitting else min(s.midi for s in stops if s.midi % 12 in classes)


def _note(
    bar: Bar, chord: ChordSymbol, tones: Mapping[int, bool], onset: Fraction, length: Fraction
) -> Note:
    """A stroke of some ``tones``, each with whether it is an open string: one accompanies with the
    open string where there is one."""
    pitches: tuple[Pitch, ...] = tuple(spell_tone(midi, chord) for midi in sorted(tones))
    return Note(
        place=bar.place,
        pitches=pitches,
        onset=onset,
        duration=length,
        written=length,
        shown_accidentals=tuple(None for _ in pitches),
        ties=tuple(False for _ in pitches),
        is_tied_from_before=tuple(False for _ in pitches),
        finger_pins=tuple(0 if tones[midi] else None for midi in sorted(tones)),
    )
