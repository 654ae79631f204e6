"""Chord shapes: the playable ways to stop a chord on two strings, or on three or four broken.

The bow sounds one string or two neighbours; three and four are broken, one pair after the other,
starting low (American Nyckelharpa Association, "Spela bättre! 3"). A shape is judged by the hand
that holds it (the same costs as the melody's fingering) and by what it says of the chord. The
sequence for a tune is the exact path of least cost over all shapes of all its chords, the movement
from shape to shape priced like any movement of the hand."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import ChordSpan, Stop
from tunebook.model.choices import Way
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol
from tunebook.solve.fingering.move_tables import CostTables, tables_for
from tunebook.solve.fingering.moves import (
    FingerMoves,
    Passage,
    choose,
    finger_moves,
    hands_of,
    with_hand,
)
from tunebook.solve.fingering.postures import Array, Demand, PostureSet
from tunebook.solve.harmony.names import bass_class, chord_classes

HIGHEST_KEY = 7
"""Shapes lie within seven keys; our judgement: beyond, the hand has left first position."""
POSTURE_SLACK = 4.0
"""Fingerings of a shape that cost more than this above its best are left out."""

# What a shape leaves unsaid, in the units of the fingering's costs; our judgement.
NO_ROOT_COST = 1.2
NO_THIRD_COST = 0.6
NO_MINOR_THIRD_COST = 0.8  # more for a minor one: a bare fifth is heard as major
NO_SEVENTH_COST = 0.2
BARE_COST = 0.8  # nothing but the root, or root and seventh
LOW_TONE_COST = 0.3  # the lowest tone is not the bass
BROKEN_COST = 0.5  # for each string beyond two


@dataclass(frozen=True, slots=True)
class Shape:
    """One way to play a chord. ``stops`` low string first; ``hand_key`` the place of the hand;
    ``hand_cost`` what the hand pays; ``voicing_cost`` what the chord lacks; ``lacks`` names it;
    ``ways`` holds crossed and barre."""

    stops: tuple[Stop, ...]
    hand_key: float
    hand_cost: float
    voicing_cost: float
    ways: tuple[Way, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def cost(self) -> float:
        return self.hand_cost + self.voicing_cost

    @property
    def is_broken(self) -> bool:
        """True when the bow cannot sound all of it at once."""
        return len(self.stops) > 2


class Wish(NamedTuple):
    """What a shape has to say: the chord's pitch classes, root first, its bass, on how many
    strings."""

    classes: tuple[int, ...]
    bass: int
    strings: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Held:
    """A shape with the posture that holds it: a row of a set of postures."""

    shape: Shape
    postures: PostureSet
    row: int


def wish_for(chord: ChordSymbol, strings: Sequence[int]) -> Wish:
    return Wish(chord_classes(chord), bass_class(chord), tuple(sorted(set(strings))))


@functools.lru_cache(maxsize=512)
def held_shapes(tables: CostTables, wish: Wish) -> tuple[Held, ...]:
    """Every shape with every fingering and place of the hand that is worth a thought."""
    found: list[Held] = []
    instrument = tables.reach.instrument
    for count in wish.strings:
        for low in range(1, len(instrument.strings) - count + 2):
            for voicing in _voicings(wish, instrument, low, count):
                found.extend(_fingered(wish, voicing, tables))
    return tuple(found)


def _voicings(
    wish: Wish, instrument: Instrument, low: int, count: int
) -> list[tuple[tuple[int, int], ...]]:
    """((string, key), ...) of each way to lay the chord on ``count`` strings from ``low`` up."""
    allowed = {*wish.classes, wish.bass}
    choices = []
    for index in range(low, low + count):
        string = instrument.string(index)
        highest = min(HIGHEST_KEY, string.key_count)
        choices.append(
            [(index, k) for k in range(highest + 1) if (string.open_midi + k) % 12 in allowed]
        )
    found = []
    for places in itertools.product(*choices):
        midis = [instrument.string(index).open_midi + key for index, key in places]
        if _is_chord(wish, midis):
            found.append(places)
    return found


def _is_chord(wish: Wish, midis: Sequence[int]) -> bool:
    """True when these tones stand for the chord."""
    tones = {midi % 12 for midi in midis}
    if len(midis) == 2:
        return len(tones) == 2 or (tones == {wish.classes[0]} and midis[0] != midis[1])
    triad = set(wish.classes[:3])
    without_fifth = {*wish.classes[:2], *wish.classes[3:]}
    return triad <= tones or (len(wish.classes) > 3 and len(midis) == 3 and without_fifth <= tones)


def _fingered(wish: Wish, voicing: tuple[tuple[int, int], ...], tables: CostTables) -> list[Held]:
    """The postures that hold exactly these keys."""
    instrument = tables.reach.instrument
    midis = tuple(instrument.string(s).open_midi + k for s, k in voicing)
    postures = tables.postures(Demand(midis))
    if postures is None:
        return []
    rows = [
        row
        for row, posture in enumerate(postures.postures)
        if tuple((slot.string, slot.key) for slot in posture.slots) == voicing
        and not ("limit" in postures.terms and postures.terms["limit"][row] > 0)
    ]
    if not rows:
        return []
    least = min(float(postures.base[row]) for row in rows)
    voicing_cost, lacks = _unsaid(wish, midis)
    found = []
    for row in rows:
        cost = float(postures.base[row])
        if cost > least + POSTURE_SLACK:
            continue
        slots = postures.postures[row].slots
        stops = tuple(
            Stop(midi, slot.string, slot.key, slot.finger)
            for midi, slot in zip(midis, slots, strict=True)
        )
        ways = tuple(
            name for name in ("crossed", "barre")
            if name in postures.terms and postures.terms[name][row] > 0
        )  # fmt: skip
        shape = Shape(
            stops=stops,
            hand_key=float(postures.hand_key[row]),
            hand_cost=cost,
            voicing_cost=voicing_cost,
            ways=ways,
            lacks=lacks,
        )
        found.append(Held(shape, postures, row))
    return found


def _unsaid(wish: Wish, midis: tuple[int, ...]) -> tuple[float, tuple[str, ...]]:
    """(cost, names) of what these tones do not say of the chord."""
    classes = wish.classes
    tones = {midi % 12 for midi in midis}
    cost, lacks = BROKEN_COST * (len(midis) - 2), []
    for name, weight, place in (
        ("root", NO_ROOT_COST, 0), ("third", NO_THIRD_COST, 1), ("seventh", NO_SEVENTH_COST, 3),
    ):  # fmt: skip
        if place < len(classes) and len(classes) > 2 and classes[place] not in tones:
            cost += weight
            lacks.append(name)
    if "third" in lacks and (classes[1] - classes[0]) % 12 == 3:
        cost += NO_MINOR_THIRD_COST
    if tones <= {classes[0], *classes[3:]}:
        cost += BARE_COST
    if min(midis) % 12 != wish.bass:
        cost += LOW_TONE_COST
    return cost, tuple(lacks)


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
    best: dict[tuple[tuple[int, int], ...], Shape] = {}
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
    """The chords with shapes filled in: the exact sequence of least cost, over the shapes of each
    chord and of those that are nearly as likely in its place.

    A chord without any playable shape keeps an empty one; the search goes on after it. The time
    for a change is the length of the chord before, at most the longest that counts.
    """
    tables = tables_for(instrument, hand, limits or Limits())
    filled = list(chords)
    options: dict[int, list[tuple[ChordSpan, Wish]]] = {}
    for index in range(len(chords)):
        wished = [(span, wish_for(span.chord, strings)) for span in _as_likely(chords, index)]
        playable = [(span, wish) for span, wish in wished if held_shapes(tables, wish)]
        if playable:
            options[index] = playable
    times_s = [float(chords[index].duration) / whole_notes_per_second for index in options]
    wishes = [[wish for _, wish in playable] for playable in options.values()]
    for (index, playable), (option, held) in zip(
        options.items(), _cheapest(tables, wishes, times_s), strict=True
    ):
        filled[index] = replace(playable[option][0], shape=held.shape.stops)
    return tuple(replace(span, near=()) if span.near else span for span in filled)


def _as_likely(chords: Sequence[ChordSpan], index: int) -> list[ChordSpan]:
    """The span itself, then with each chord that is nearly as likely and is not its neighbour's."""
    span = chords[index]
    beside = [one.chord.root_class for one in chords[max(0, index - 1) : index + 2]]
    return [
        span,
        *(
            replace(
                span,
                chord=chord,
                confidence=share,
                alternatives=tuple(
                    (span.chord.symbol, span.confidence) if one[0] == chord.symbol else one
                    for one in span.alternatives
                ),
            )
            for chord, share in span.near
            if chord.root_class not in beside
        ),
    ]


def _places(shape: Shape) -> tuple[tuple[int, int], ...]:
    return tuple((stop.string_index, stop.key) for stop in shape.stops)


def _cheapest(
    tables: CostTables, wishes: Sequence[Sequence[Wish]], times_s: Sequence[float]
) -> list[tuple[int, Held]]:
    """Dynamic programming over the chords: own costs and movements. For each of them the number
    of the wish that is granted, and its shape."""
    if not wishes:
        return []
    layers = [
        [(option, held) for option, wish in enumerate(some) for held in held_shapes(tables, wish)]
        for some in wishes
    ]
    owns = [np.concatenate([_own_costs(tables, wish) for wish in some]) for some in wishes]
    reached = owns[0]
    back: list[np.ndarray] = []
    for index in range(1, len(layers)):
        time_s = _time_step(times_s[index - 1])
        moves = np.block(
            [
                [_movements(tables, before, after, time_s) for after in wishes[index]]
                for before in wishes[index - 1]
            ]
        )
        total = reached[:, None] + moves
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
    leaving = hands_of(chosen, froms)
    fingers = finger_moves(leaving, hands_of(chosen, tos), Passage(), tables.reach)
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
