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


class View(NamedTuple):
    """Postures seen along one axis; slot fields are lists of arrays, one for each slot."""

    string: list[Array]
    key: list[Array]
    finger: list[Array]
    place_mm: list[Array]
    place_key: list[Array]
    row_mm: list[Array]
    hand_mm: Array
    bow: Array
    tones: Array | int

    @property
    def is_open(self) -> Array:
        """Where no finger presses anything."""
        return np.logical_not(np.logical_or.reduce([finger > 0 for finger in self.finger]))


class Chosen(NamedTuple):
    """One posture of each of some sets: its facts (see PostureSet), shape (facts, sets), its slot
    fields in the order of View, shape (6, slots, sets), slots padded, and how many are tones."""

    facts: Array
    slots: Array
    tones: Array


def choose(postures: Sequence[PostureSet], rows: Sequence[int]) -> Chosen:
    """Posture ``rows[i]`` of ``postures[i]``."""
    pairs = list(zip(postures, rows, strict=True))
    facts = np.concatenate([layer.facts[row] for layer, row in pairs])
    widths = {layer.packed.shape[2] for layer in postures}
    if len(widths) == 1:
        slots = np.concatenate([layer.packed[row] for layer, row in pairs])
        slots = slots.reshape(len(pairs), 6, -1)
    else:
        slots = np.zeros((len(pairs), 6, max(widths)))
        for index, (layer, row) in enumerate(pairs):
            slots[index, :, : layer.packed.shape[2]] = layer.packed[row]
    return Chosen(
        np.ascontiguousarray(facts.reshape(len(pairs), -1).T),
        np.ascontiguousarray(slots.transpose(1, 2, 0)),
        np.array([layer.tones for layer in postures]),
    )


def view_of(chosen: Chosen, index: Array) -> View:
    """The entries ``index`` of what was chosen, as a row."""
    hand_mm, bow = chosen.facts[:2].take(index, axis=1)
    return _view(chosen.slots.take(index, axis=2), hand_mm, bow, chosen.tones.take(index))


def _view(slots: Array, hand_mm: Array, bow: Array, tones: Array) -> View:
    string, key, finger, place_mm, place_key, row_mm = (list(field) for field in slots)
    return View(string, key, finger, place_mm, place_key, row_mm, hand_mm, bow, tones)


class Holds(NamedTuple):
    """What is held in a set of postures, each once whatever the hand's place: slot fields
    (holds, 6, slots) in the order of View, and the place of the bow (holds,)."""

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
