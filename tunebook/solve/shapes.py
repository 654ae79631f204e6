"""Chord shapes: the playable ways to stop a chord on two strings, or on three or four broken.

The bow sounds one string or two neighbours; three and four are broken, one pair after the other,
starting low (American Nyckelharpa Association, "Spela bättre! 3"). A shape is judged by the hand
that holds it (the same costs as the melody's fingering) and by what it says of the chord. The
sequence for a tune is the exact path of least cost over all shapes of all its chords, the movement
from shape to shape priced like any movement of the hand.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import ChordSpan
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol
from tunebook.solve.cost_tables import CostTables, tables_for
from tunebook.solve.finger_moves import FingerMoves, finger_moves
from tunebook.solve.held_shapes import Held, Shape, Wish, held_shapes, wish_for
from tunebook.solve.movements import with_hand
from tunebook.solve.postures import Array, Demand
from tunebook.solve.reasons import place_word, way_in_words
from tunebook.solve.views import Passage, choose, view_of


def chord_shapes(
    chord: ChordSymbol,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    strings: Sequence[int] = (2, 3, 4),
) -> tuple[Shape, ...]:
    """Every playable shape of ``chord`` on so many strings, the best first.

    Two strings hold two different tones of the chord, or its root in octaves; three and four hold
    the whole triad (a seventh chord on three strings may leave out its fifth). Each shape has its
    best fingering. Empty when the instrument has none.
    """
    best: dict[tuple, Shape] = {}
    tables = tables_for(instrument, hand, limits or Limits())
    for held in held_shapes(tables, wish_for(chord, strings)):
        places = tuple((stop.string_index, stop.key) for stop in held.shape.stops)
        if places not in best or held.shape.hand_cost < best[places].hand_cost:
            best[places] = held.shape
    return tuple(sorted(best.values(), key=lambda shape: (shape.cost, len(shape.stops),
                                                          _places(shape))))  # fmt: skip


def choose_shapes(
    chords: Sequence[ChordSpan],
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    strings: Sequence[int] = (2, 3, 4),
    whole_notes_per_second: float = 0.5,
) -> tuple[ChordSpan, ...]:
    """The same chords with shapes filled in: the exact sequence of least cost.

    A chord without any playable shape keeps an empty one; the search goes on after it. The time
    for a change is the length of the chord before, at most the longest that counts.
    """
    tables = tables_for(instrument, hand, limits or Limits())
    wishes = [wish_for(span.chord, strings) for span in chords]
    filled = list(chords)
    playable = [index for index, wish in enumerate(wishes) if held_shapes(tables, wish)]
    times_s = [float(chords[i].duration) / whole_notes_per_second for i in playable]
    chosen = _cheapest(tables, [wishes[i] for i in playable], times_s)
    for index, held in zip(playable, chosen, strict=True):
        filled[index] = replace(chords[index], shape=held.shape.stops)
    return tuple(filled)


def shape_words(shape: Shape, instrument: Instrument) -> str:
    """One line for a shape: "G string open, D string key 2 with finger 1; crossed"."""
    parts = []
    for stop in shape.stops:
        name = instrument.string(stop.string_index).name
        pressed = f"{place_word(instrument)} {stop.key} with finger {stop.finger}"
        parts.append(f"{name} string {pressed if stop.key else 'open'}")
    notes = [way_in_words(way, instrument) for way in shape.ways]
    notes += ["broken, low to high"] if shape.is_broken else []
    notes += [f"no {tone}" for tone in shape.lacks]
    return ", ".join(parts) + ("; " + ", ".join(notes) if notes else "")


def _places(shape: Shape) -> tuple[tuple[int, int], ...]:
    return tuple((stop.string_index, stop.key) for stop in shape.stops)


def _cheapest(tables: CostTables, wishes: Sequence[Wish], times_s: Sequence[float]) -> list[Held]:
    """Dynamic programming over the chords: own costs and movements."""
    if not wishes:
        return []
    layers = [held_shapes(tables, wish) for wish in wishes]
    owns = [_own_costs(tables, wish) for wish in wishes]
    reached = owns[0]
    back: list[np.ndarray] = []
    for index in range(1, len(layers)):
        time_s = _time_step(times_s[index - 1])
        total = reached[:, None] + _movements(tables, wishes[index - 1], wishes[index], time_s)
        before = total.argmin(axis=0)
        back.append(before)
        reached = total[before, np.arange(len(before))] + owns[index]
    row = int(reached.argmin())
    chosen = [layers[-1][row]]
    for index in range(len(layers) - 2, -1, -1):
        row = int(back[index][row])
        chosen.append(layers[index][row])
    return chosen[::-1]


@functools.lru_cache(maxsize=512)
def _own_costs(tables: CostTables, wish: Wish) -> Array:
    return np.array([held.shape.cost for held in held_shapes(tables, wish)])


def _time_step(time_s: float) -> float:
    """The time in steps of half a second, at most two: finer would not change a choice."""
    return min(2.0, max(0.5, round(2.0 * time_s) / 2.0))


class _Changes(NamedTuple):
    """Movements between all shapes of two chords: what fingers pay from hold to hold, and for each
    pair of shapes the pair of holds, the hand's way in mm, and whether the hand is free."""

    fingers: FingerMoves
    holds: Array
    moved_mm: Array
    is_free: Array


@functools.lru_cache(maxsize=24)
def _changes(tables: CostTables, before: Wish, after: Wish) -> _Changes:
    """Every change from a shape of the one chord to a shape of the other."""
    first, first_of = _distinct(held_shapes(tables, before))
    second, second_of = _distinct(held_shapes(tables, after))
    both = [*first, *second]
    chosen = choose([held.postures for held in both], [held.row for held in both])
    froms = np.repeat(np.arange(len(first)), len(second))
    tos = len(first) + np.tile(np.arange(len(second)), len(first))
    leaving = view_of(chosen, froms)
    fingers = finger_moves(leaving, view_of(chosen, tos), Passage(), tables.reach)
    holds = (np.array(first_of)[:, None] * len(second) + np.array(second_of)).ravel()
    left_mm, reached_mm = (
        np.array([held.postures.hand_mm[held.row] for held in held_shapes(tables, wish)])
        for wish in (before, after)
    )
    moved_mm = np.abs(reached_mm - left_mm[:, None]).ravel()
    return _Changes(fingers, holds, moved_mm, leaving.is_open.take(holds))


def _distinct(shapes: Sequence[Held]) -> tuple[list[Held], list[int]]:
    """One shape of each hold, and for each shape the number of its hold."""
    numbers: dict[tuple[Demand, int], int] = {}
    found: list[Held] = []
    number_of = []
    for held in shapes:
        hold = held.postures.demand, int(held.postures.label[held.row])
        if hold not in numbers:
            numbers[hold] = len(found)
            found.append(held)
        number_of.append(numbers[hold])
    return found, number_of


@functools.lru_cache(maxsize=1024)
def _movements(tables: CostTables, before: Wish, after: Wish, time_s: float) -> np.ndarray:
    """(shapes before x shapes after) cost of going from shape to shape."""
    changes = _changes(tables, before, after)
    fingers = changes.fingers.spread(changes.holds)
    total = np.zeros(len(changes.holds))
    terms = with_hand(fingers, changes.moved_mm, changes.is_free, tables.reach)
    for fixed, by_time in terms.values():
        total = total + fixed + by_time / time_s
    return total.reshape(len(held_shapes(tables, before)), -1)
