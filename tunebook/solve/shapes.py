"""Chord shapes: the playable ways to stop a chord on two strings, or on three or four broken.

The bow sounds one string or two neighbours; three and four are broken, one pair after the other,
starting low (American Nyckelharpa Association, "Spela bättre! 3"). A shape is judged by the hand
that holds it (the same costs as the melody's fingering) and by what it says of the chord. The
sequence for a tune is the exact path of least cost over all shapes of all its chords, the movement
from shape to shape priced like any movement of the hand.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tunebook.model.arrangement import ChordSpan, Stop
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol
from tunebook.solve.chord_names import bass_class, chord_classes
from tunebook.solve.cost_tables import CostTables, tables_for
from tunebook.solve.movements import movement_terms
from tunebook.solve.postures import Demand, PostureSet
from tunebook.solve.views import Passage, choose, view_of

HIGHEST_KEY = 7
"""Shapes lie within seven keys; our judgement: beyond, the hand has left first position."""
POSTURE_SLACK = 4.0
"""Fingerings of a shape that cost more than this above its best are left out."""

# What a shape leaves unsaid, in the units of the fingering's costs; our judgement.
NO_ROOT_COST = 1.2
NO_THIRD_COST = 0.6
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
    ways: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def cost(self) -> float:
        return self.hand_cost + self.voicing_cost

    @property
    def is_broken(self) -> bool:
        """True when the bow cannot sound all of it at once."""
        return len(self.stops) > 2


class _Wish(NamedTuple):
    """What a shape has to say: the chord's pitch classes, root first, its bass, on how many
    strings."""

    classes: tuple[int, ...]
    bass: int
    strings: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Held:
    """A shape with the posture that holds it: a row of a set of postures."""

    shape: Shape
    postures: PostureSet
    row: int


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
    for held in _held_shapes(tables, _wish(chord, strings)):
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
    wishes = [_wish(span.chord, strings) for span in chords]
    filled = list(chords)
    playable = [index for index, wish in enumerate(wishes) if _held_shapes(tables, wish)]
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
        place = f"key {stop.key} with finger {stop.finger}" if stop.key else "open"
        parts.append(f"{name} string {place}")
    notes = list(shape.ways) + (["broken, low to high"] if shape.is_broken else [])
    notes += [f"no {tone}" for tone in shape.lacks]
    return ", ".join(parts) + ("; " + ", ".join(notes) if notes else "")


def _places(shape: Shape) -> tuple[tuple[int, int], ...]:
    return tuple((stop.string_index, stop.key) for stop in shape.stops)


def _wish(chord: ChordSymbol, strings: Sequence[int]) -> _Wish:
    return _Wish(chord_classes(chord), bass_class(chord), tuple(sorted(set(strings))))


@functools.lru_cache(maxsize=512)
def _held_shapes(tables: CostTables, wish: _Wish) -> tuple[_Held, ...]:
    """Every shape with every fingering and place of the hand that is worth a thought."""
    found: list[_Held] = []
    instrument = tables.reach.instrument
    for count in wish.strings:
        for low in range(1, len(instrument.strings) - count + 2):
            for voicing in _voicings(wish, instrument, low, count):
                found.extend(_fingered(wish, voicing, tables))
    return tuple(found)


def _voicings(
    wish: _Wish, instrument: Instrument, low: int, count: int
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


def _is_chord(wish: _Wish, midis: Sequence[int]) -> bool:
    """True when these tones stand for the chord."""
    tones = {midi % 12 for midi in midis}
    if len(midis) == 2:
        return len(tones) == 2 or (tones == {wish.classes[0]} and midis[0] != midis[1])
    triad = set(wish.classes[:3])
    without_fifth = {*wish.classes[:2], *wish.classes[3:]}
    return triad <= tones or (len(wish.classes) > 3 and len(midis) == 3 and without_fifth <= tones)


def _fingered(wish: _Wish, voicing: tuple[tuple[int, int], ...], tables: CostTables) -> list[_Held]:
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
        shape = Shape(stops, float(postures.hand_key[row]), cost, voicing_cost, ways, lacks)
        found.append(_Held(shape, postures, row))
    return found


def _unsaid(wish: _Wish, midis: tuple[int, ...]) -> tuple[float, tuple[str, ...]]:
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
    if tones <= {classes[0], *classes[3:]}:
        cost += BARE_COST
    if min(midis) % 12 != wish.bass:
        cost += LOW_TONE_COST
    return cost, tuple(lacks)


def _cheapest(tables: CostTables, wishes: Sequence[_Wish], times_s: Sequence[float]) -> list[_Held]:
    """Dynamic programming over the chords: own costs and movements."""
    if not wishes:
        return []
    layers = [_held_shapes(tables, wish) for wish in wishes]
    owns = [np.array([held.shape.cost for held in layer]) for layer in layers]
    reached = owns[0]
    back: list[np.ndarray] = []
    for index in range(1, len(layers)):
        time_s = _time_step(times_s[index - 1])
        total = reached[:, None] + _movements(tables, wishes[index - 1], wishes[index], time_s)
        back.append(total.argmin(axis=0))
        reached = total.min(axis=0) + owns[index]
    row = int(reached.argmin())
    chosen = [layers[-1][row]]
    for index in range(len(layers) - 2, -1, -1):
        row = int(back[index][row])
        chosen.append(layers[index][row])
    return chosen[::-1]


def _time_step(time_s: float) -> float:
    """The time in steps of half a second, at most two: finer would not change a choice."""
    return min(2.0, max(0.5, round(2.0 * time_s) / 2.0))


@functools.lru_cache(maxsize=1024)
def _movements(tables: CostTables, before: _Wish, after: _Wish, time_s: float) -> np.ndarray:
    """(shapes before x shapes after) cost of going from shape to shape."""
    first, second = _held_shapes(tables, before), _held_shapes(tables, after)
    both = [*first, *second]
    chosen = choose([held.postures for held in both], [held.row for held in both])
    froms, tos = np.meshgrid(np.arange(len(first)), np.arange(len(first), len(both)), indexing="ij")
    terms = movement_terms(
        view_of(chosen, froms.ravel()), view_of(chosen, tos.ravel()), Passage(), tables.reach
    )
    total = np.zeros(froms.size)
    for fixed, by_time in terms.values():
        total = total + fixed + by_time / time_s
    return total.reshape(froms.shape)
