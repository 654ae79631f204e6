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


def path_view(postures: Sequence[PostureSet], rows: Sequence[int]) -> View:
    """One posture of each set, as a path: arrays of the path's length, slots padded."""
    width = max(layer.packed.shape[2] for layer in postures)
    padded = np.zeros((len(postures), 6, width))
    for index, (layer, row) in enumerate(zip(postures, rows, strict=True)):
        padded[index, :, : layer.packed.shape[2]] = layer.packed[row]
    whole = padded[:, :3].astype(np.int64)
    fields = [
        [(whole if number < 3 else padded)[:, number, slot] for slot in range(width)]
        for number in range(6)
    ]
    pairs = list(zip(postures, rows, strict=True))
    return _view_of(
        fields,
        np.array([layer.hand_mm[row] for layer, row in pairs]),
        np.array([layer.bow[row] for layer, row in pairs]),
        np.array([layer.tones for layer in postures]),
    )


def take(view: View, index: Array) -> View:
    """The entries ``index`` of a path's view."""
    fields = [[slot[index] for slot in slots] for slots in view[:6]]
    return _view_of(fields, view.hand_mm[index], view.bow[index], np.asarray(view.tones)[index])


def _view_of(fields: list[list[Array]], hand_mm: Array, bow: Array, tones: Array | int) -> View:
    string, key, finger, place_mm, place_key, row_mm = fields
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
    packed = np.concatenate([one.packed for one in holds])
    whole = packed[:, :3].astype(np.int64)
    slots = range(packed.shape[2])
    fields = [
        [(whole if number < 3 else packed)[:, number, slot][index] for slot in slots]
        for number in range(6)
    ]
    tones = np.repeat([one.tones for one in holds], [len(one) for one in holds])
    bow = np.concatenate([one.bow for one in holds])
    return _view_of(fields, np.zeros(len(index)), bow[index], tones[index])
