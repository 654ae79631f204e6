"""Every playable shape of a chord with the postures that hold it.

A shape is judged by the hand that holds it (the same costs as the melody's fingering) and by what
it says of the chord.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tunebook.model.arrangement import Stop
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol
from tunebook.solve.chord_names import bass_class, chord_classes
from tunebook.solve.cost_tables import CostTables
from tunebook.solve.postures import Demand, PostureSet

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
        shape = Shape(stops, float(postures.hand_key[row]), cost, voicing_cost, ways, lacks)
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
    if tones <= {classes[0], *classes[3:]}:
        cost += BARE_COST
    if min(midis) % 12 != wish.bass:
        cost += LOW_TONE_COST
    return cost, tuple(lacks)
