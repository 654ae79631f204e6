"""Postures as arrays, slot by slot, as the costs of movements see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from tunebook.solve.postures import Array, PostureSet

Terms = dict[str, tuple[Array, Array]]
"""Name of the term -> (A, B): it costs A + B / t, t being the time in seconds."""


class Passage(NamedTuple):
    """How one event leads to the next. Booleans or arrays of booleans.

    ``is_slurred``: within one stroke of the bow. ``is_freed``: after a rest, the fingers had time
    to leave. ``is_held``: the same tones sound on without a new stroke. ``kept``: (slot before,
    slot after, where) of single tones that sound on while others are struck anew.
    """

    is_slurred: Array | bool = False
    is_freed: Array | bool = False
    is_held: Array | bool = False
    kept: tuple[tuple[int, int, Array | bool], ...] = ()


class SlotView(NamedTuple):
    """One slot of many postures, an array each: the string, the key, the finger (0 where none
    presses), the place along the string and across the rows."""

    string: Array
    key: Array
    finger: Array
    place_mm: Array
    place_key: Array
    row_mm: Array


SLOT_FIELDS = len(SlotView._fields)
"""How many numbers say what is in a slot; ``PostureSet.packed`` has them in this order."""


class View(NamedTuple):
    """Postures seen along one axis: their slots, the place of the hand and of the bow, and how
    many of the slots are tones."""

    slots: list[SlotView]
    hand_mm: Array
    bow: Array
    tones: Array | int

    @property
    def is_open(self) -> Array:
        """Where no finger presses anything."""
        return np.logical_not(np.logical_or.reduce([slot.finger > 0 for slot in self.slots]))


class Chosen(NamedTuple):
    """One posture of each of some sets: the places of hand and bow, whether the drone pauses, each
    of shape (sets,), its costs in the order of POSTURE_TERMS, shape (terms, sets), its slot fields
    in the order of SlotView, shape (fields, slots, sets), slots padded, and how many are tones."""

    hand_mm: Array
    bow: Array
    pause: Array
    costs: Array
    slots: Array
    tones: Array


def choose(postures: Sequence[PostureSet], rows: Sequence[int]) -> Chosen:
    """Posture ``rows[i]`` of ``postures[i]``."""
    pairs = list(zip(postures, rows, strict=True))
    facts = np.concatenate([layer.facts[row] for layer, row in pairs])
    widths = {layer.packed.shape[2] for layer in postures}
    if len(widths) == 1:
        slots = np.concatenate([layer.packed[row] for layer, row in pairs])
        slots = slots.reshape(len(pairs), SLOT_FIELDS, -1)
    else:
        slots = np.zeros((len(pairs), SLOT_FIELDS, max(widths)))
        for index, (layer, row) in enumerate(pairs):
            slots[index, :, : layer.packed.shape[2]] = layer.packed[row]
    hand_mm, bow, pause, *costs = np.ascontiguousarray(facts.reshape(len(pairs), -1).T)
    return Chosen(
        hand_mm,
        bow,
        pause,
        np.array(costs),
        np.ascontiguousarray(slots.transpose(1, 2, 0)),
        np.array([layer.tones for layer in postures]),
    )


def view_of(chosen: Chosen, index: Array) -> View:
    """The entries ``index`` of what was chosen, as a row."""
    slots, tones = chosen.slots.take(index, axis=2), chosen.tones.take(index)
    return _view(slots, chosen.hand_mm.take(index), chosen.bow.take(index), tones)


def _view(slots: Array, hand_mm: Array, bow: Array, tones: Array) -> View:
    return View(
        [SlotView(*slots[:, number]) for number in range(slots.shape[1])], hand_mm, bow, tones
    )


class Holds(NamedTuple):
    """What is held in a set of postures, each once whatever the hand's place: slot fields
    (holds, fields, slots) in the order of SlotView, and the place of the bow (holds,)."""

    packed: Array
    bow: Array
    tones: int

    def __len__(self) -> int:
        return len(self.bow)


def holds_of(postures: PostureSet) -> Holds:
    """The holds of ``postures`` in the order of their labels."""
    _, first = np.unique(postures.label, return_index=True)
    return Holds(postures.packed[first], postures.bow[first], postures.tones)


def holds_view(holds: Sequence[Holds], index: Array) -> View:
    """The entries ``index`` of all these holds in a row; they have equally many slots. The hand's
    place is not known of them and left at 0."""
    slots = np.concatenate([one.packed for one in holds]).transpose(1, 2, 0).take(index, axis=2)
    tones = np.repeat([one.tones for one in holds], [len(one) for one in holds])
    bow = np.concatenate([one.bow for one in holds])
    return _view(slots, np.zeros(len(index)), bow[index], tones[index])
