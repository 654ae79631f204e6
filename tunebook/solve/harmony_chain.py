"""Exact inference on the tree of slots: the probability of every chord in every slot.

Source of the method: Pearl 1988, Probabilistic Reasoning in Intelligent Systems, chapter 4 (sums of
products on trees; on a chain it is the forward-backward algorithm), and for the single best
labelling the same with maxima (Viterbi 1967, IEEE Transactions on Information Theory 13(2)).
Reading each slot's likeliest chord makes the fewest errors a slot; the single best labelling is
kept for comparison and for tests.

Chords are numbered absolutely here: 2 * pitch class of the root + quality (0 major, 1 minor).
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from tunebook.model.tune import ChordSymbol
from tunebook.solve.harmony_slots import HarmonySlot
from tunebook.solve.harmony_tables import NEAREST_MODE, STATES, HarmonyTables


def slot_scores(slots: Sequence[HarmonySlot], tables: HarmonyTables) -> np.ndarray:
    """(slots x 24) log weight of each chord in each slot, its neighbours aside."""
    tonics = np.array([slot.key.tonic_class for slot in slots])
    modes = np.array([NEAREST_MODE[slot.key.mode] for slot in slots])
    places = np.array([slot.phrase_place for slot in slots])
    classes = np.arange(12)
    weights = np.array([slot.weights for slot in slots])
    turned = np.take_along_axis(weights, (classes + tonics[:, None]) % 12, axis=1)
    begins = np.array([slot.first_class is not None for slot in slots])
    firsts = np.array([slot.first_class or 0 for slot in slots])
    rows = tables.prior[modes] + tables.phrase[(modes >= 2).astype(int), places]
    for quality in (0, 1):
        rows[:, quality::2] += (turned[:, None, :] @ tables.melody[quality])[:, 0]
        struck = tables.melody_first[quality, (firsts - tonics) % 12]
        rows[begins, quality::2] += struck[begins]
    states = np.arange(STATES)
    return np.take_along_axis(rows, (states - 2 * tonics[:, None]) % STATES, axis=1)


def passages(slots: Sequence[HarmonySlot], tables: HarmonyTables) -> list[np.ndarray]:
    """For each slot the (24 x 24) log weights of coming to it from the slot before."""
    made: dict[tuple[int, int, int], np.ndarray] = {}
    found = []
    for slot in slots:
        is_minor = int(NEAREST_MODE[slot.key.mode] >= 2)
        case = (is_minor, slot.change_place, slot.key.tonic_class)
        if case not in made:
            made[case] = _passage(tables, *case)
        found.append(made[case])
    return found


@functools.lru_cache(maxsize=256)
def _passage(
    tables: HarmonyTables, is_minor: int, change_place: int, tonic_class: int
) -> np.ndarray:
    """Log weights (24 x 24) of going from chord to chord at this place in a key on this tonic."""
    return np.roll(tables.passage(is_minor, change_place), 2 * tonic_class, axis=(0, 1))


def fixed_scores(scores: np.ndarray, given: Sequence[ChordSymbol | None]) -> np.ndarray:
    """``scores`` with the chord fixed in each slot that has one in ``given``."""
    fixed = scores.copy()
    for index, chord in enumerate(given):
        if chord is not None:
            allowed = list(states_of(chord))
            fixed[index] = -np.inf
            fixed[index, allowed] = scores[index, allowed]
    return fixed


def states_of(chord: ChordSymbol) -> tuple[int, ...]:
    """The chords of ours that stand for a given symbol, with the same neighbours: a diminished one
    is the dominant without its root, one with a minor seventh over it the minor chord on its
    third; one without a third may be major or minor (common practice, no source)."""
    root = chord.root_class
    if chord.quality == "diminished":
        if chord.extension.startswith("7"):
            return (2 * ((root + 3) % 12) + 1,)
        return (2 * ((root + 8) % 12),)
    if chord.quality == "other":
        return (2 * root, 2 * root + 1)
    return (2 * root + (chord.quality == "minor"),)


def chord_probabilities(
    scores: np.ndarray, steps: Sequence[np.ndarray], parents: Sequence[int]
) -> np.ndarray:
    """(slots x 24) posterior probability of each chord in each slot.

    ``parents[i]`` < i is the slot before i, -1 for none.
    """
    count = len(scores)
    weights = np.exp(scores - scores.max(axis=1, keepdims=True))
    exponentials = {id(step): np.exp(step) for step in {id(step): step for step in steps}.values()}
    ways = [exponentials[id(step)] for step in steps]
    below = weights.copy()
    messages = np.ones((count, STATES))
    for index in range(count - 1, -1, -1):
        below[index] /= below[index].sum()
        if parents[index] >= 0:
            messages[index] = ways[index] @ below[index]
            below[parents[index]] *= messages[index]
    found = np.empty((count, STATES))
    for index in range(count):
        parent = parents[index]
        if parent < 0:
            found[index] = below[index]
        else:
            found[index] = below[index] * ((found[parent] / messages[index]) @ ways[index])
        found[index] /= found[index].sum()
    return found


def best_labelling(
    scores: np.ndarray, steps: Sequence[np.ndarray], parents: Sequence[int]
) -> tuple[list[int], float]:
    """The single likeliest chord for all slots together, and its log weight."""
    count = len(scores)
    below = scores.copy()
    choice = np.zeros((count, STATES), dtype=int)
    total = 0.0
    for index in range(count - 1, -1, -1):
        if parents[index] >= 0:
            reach = steps[index] + below[index][None, :]
            choice[index] = reach.argmax(axis=1)
            below[parents[index]] += reach.max(axis=1)
        else:
            total += float(below[index].max())
    labels: list[int] = []
    for index in range(count):
        parent = parents[index]
        row = below[index].argmax() if parent < 0 else choice[index, labels[parent]]
        labels.append(int(row))
    return labels, total
