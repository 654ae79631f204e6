"""What speaks for each chord in each slot, and for going from chord to chord.

The network decides most (``network``), which learnt from an editor's chords. The chain whose
numbers were set by hand and fitted to chords of our own (``chain``) has a share beside them, since
the editor's tunes are of one kind and few of them in minor; how much it is was chosen on plain
tunes with a handbook's chords and by cross-validation. Neither has seen dorian or mixolydian tunes:
what the degrees of such a mode have more or less than those of plain major or minor, by our own
judgement (degrees in data/harmony/chain.toml), is added to the network's scores.
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
    slot_scores,
)
from tunebook.solve.harmony.network import Networks, network_passage, network_scores, networks
from tunebook.solve.harmony.slots import HarmonySlot

CHAIN_SHARE = (0.15, 0.3)
"""The share of the hand-set chain in major-like and in minor-like modes."""
_PLAIN_MODE = {0: 0, 1: 0, 2: 3, 3: 3}
"""Of each mode the plain one that the networks know: ionian or aeolian."""


def weighed(
    tune: Tune, slots: Sequence[HarmonySlot], nets: Networks | None = None
) -> tuple[np.ndarray, list[np.ndarray]]:
    """Logarithms of weights: (slots x 24) of each chord in each slot, and for each slot (24 x 24)
    of coming to it from the slot before. Chords are numbered 2 * pitch class + (1 when minor).
    ``nets`` are other networks than those that come with the program."""
    nets = nets or networks()
    tables = harmony_tables()
    tonics = np.array([slot.key.tonic_class for slot in slots])
    modes = np.array([NEAREST_MODE[slot.key.mode] for slot in slots])
    plain = np.array([_PLAIN_MODE[mode] for mode in modes.tolist()])
    by_degree = network_scores(tune, slots, nets).astype(float)
    by_degree += tables.prior[modes] - tables.prior[plain]
    turn = (np.arange(STATES) - 2 * tonics[:, None]) % STATES
    scores = np.take_along_axis(by_degree, turn, axis=1)
    shared = np.array(CHAIN_SHARE)[(modes >= 2).astype(int)][:, None]
    scores = (1.0 - shared) * scores + shared * slot_scores(slots, tables)
    made: dict[tuple[int, int, int], np.ndarray] = {}
    steps = []
    for slot, mode in zip(slots, modes.tolist(), strict=True):
        case = (int(mode >= 2), slot.change_place, slot.key.tonic_class)
        if case not in made:
            made[case] = _passage(nets, *case)
        steps.append(made[case])
    return scores, steps


@functools.lru_cache(maxsize=512)
def _passage(nets: Networks, is_minor: int, change_place: int, tonic_class: int) -> np.ndarray:
    """Logarithms of the weights (24 x 24) of going from chord to chord in a key on this tonic."""
    share = CHAIN_SHARE[is_minor]
    by_degree = (1.0 - share) * network_passage(nets, is_minor, change_place)
    by_degree += share * harmony_tables().passage(is_minor, change_place)
    return np.roll(by_degree, 2 * tonic_class, axis=(0, 1))
