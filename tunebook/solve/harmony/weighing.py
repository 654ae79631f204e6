"""What speaks for each chord in each slot, and for going from chord to chord.

In major the networks decide (``network``), which learnt from an editor's chords. Few of those tunes
are in minor, so in minor-like modes the chain whose numbers were set by hand and fitted to chords
of our own (``chain``) has a share: in cross-validation over the 47 tunes in minor, the root agreed
with the editor's on 71.5 % of the beats with this share, and on 70.7 % without. Neither has seen
dorian or mixolydian tunes: what the degrees of such a mode have more or less than those of plain
major or minor, by our own judgement (degrees in data/harmony/chain.toml), is added to the networks'
scores.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from tunebook.model.tune import Tune
from tunebook.solve.harmony.chain import (
    NEAREST_MODE,
    STATES,
    harmony_tables,
    passages,
    slot_scores,
)
from tunebook.solve.harmony.network import network_passage, network_scores, networks
from tunebook.solve.harmony.slots import HarmonySlot

CHAIN_SHARE = (0.0, 0.3)
"""The share of the hand-set chain in major-like and in minor-like modes."""
_PLAIN_MODE = {0: 0, 1: 0, 2: 3, 3: 3}
"""Of each mode the plain one that the networks know: ionian or aeolian."""


def weighed(tune: Tune, slots: Sequence[HarmonySlot]) -> tuple[np.ndarray, list[np.ndarray]]:
    """Logarithms of weights: (slots x 24) of each chord in each slot, and for each slot (24 x 24)
    of coming to it from the slot before. Chords are numbered 2 * pitch class + (1 when minor)."""
    tables = harmony_tables()
    tonics = np.array([slot.key.tonic_class for slot in slots])
    modes = np.array([NEAREST_MODE[slot.key.mode] for slot in slots])
    plain = np.array([_PLAIN_MODE[mode] for mode in modes.tolist()])
    by_degree = network_scores(tune, slots, networks()).astype(float)
    by_degree += tables.prior[modes] - tables.prior[plain]
    turn = (np.arange(STATES) - 2 * tonics[:, None]) % STATES
    scores = np.take_along_axis(by_degree, turn, axis=1)
    shares = np.array(CHAIN_SHARE)[(modes >= 2).astype(int)]
    if not shares.any():
        return scores, [_passage(slot, 0) for slot in slots]
    shared = shares[:, None]
    scores = (1.0 - shared) * scores + shared * slot_scores(slots, tables)
    made: dict[tuple[int, int, int], np.ndarray] = {}
    steps = []
    for slot, mode, of_chain in zip(slots, modes.tolist(), passages(slots, tables), strict=True):
        case = (mode, slot.change_place, slot.key.tonic_class)
        if case not in made:
            share = CHAIN_SHARE[int(mode >= 2)]
            made[case] = (1.0 - share) * _passage(slot, int(mode >= 2)) + share * of_chain
        steps.append(made[case])
    return scores, steps


def _passage(slot: HarmonySlot, is_minor: int) -> np.ndarray:
    return _turned(is_minor, slot.change_place, slot.key.tonic_class)


@functools.lru_cache(maxsize=256)
def _turned(is_minor: int, change_place: int, tonic_class: int) -> np.ndarray:
    return np.roll(network_passage(is_minor, change_place), 2 * tonic_class, axis=(0, 1))
