"""Exact inference on the tree of slots: the probability of every chord in every slot.

Source of the method: Pearl 1988, Probabilistic Reasoning in Intelligent Systems, chapter 4 (sums of
products on trees; on a chain it is the forward-backward algorithm), and for the single best
labelling the same with maxima (Viterbi 1967, IEEE Transactions on Information Theory 13(2)).
Reading each slot's likeliest chord makes the fewest errors a slot; the single best labelling is
kept for comparison and for tests.

Chords are numbered absolutely here: 2 * pitch class of the root + quality (0 major, 1 minor).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tunebook.solve.harmony_slots import HarmonySlot
from tunebook.solve.harmony_tables import NEAREST_MODE, STATES, HarmonyTables


def slot_scores(slots: Sequence[HarmonySlot], tables: HarmonyTables) -> np.ndarray:
    """(slots x 24) log weight of each chord in each slot, its neighbours aside."""
    scores = np.empty((len(slots), STATES))
    for index, slot in enumerate(slots):
        tonic = slot.key.tonic_class
        mode = NEAREST_MODE[slot.key.mode]
        weights = np.roll(slot.weights, -tonic)
        row = tables.prior[mode] + tables.phrase[int(mode >= 2), slot.phrase_place]
        for quality in (0, 1):
            row[quality::2] += weights @ tables.melody[quality]
            if slot.first_class is not None:
                row[quality::2] += tables.melody_first[quality, (slot.first_class - tonic) % 12]
        scores[index] = np.roll(row, 2 * tonic)
    return scores


def passages(slots: Sequence[HarmonySlot], tables: HarmonyTables) -> list[np.ndarray]:
    """For each slot the (24 x 24) log weights of coming to it from the slot before."""
    made: dict[tuple[int, int, int], np.ndarray] = {}
    found = []
    for slot in slots:
        is_minor = int(NEAREST_MODE[slot.key.mode] >= 2)
        case = (is_minor, slot.change_place, slot.key.tonic_class)
        if case not in made:
            shift = 2 * slot.key.tonic_class
            table = tables.passage(is_minor, slot.change_place)
            made[case] = np.roll(table, (shift, shift), axis=(0, 1))
        found.append(made[case])
    return found


def chord_probabilities(
    scores: np.ndarray, steps: Sequence[np.ndarray], parents: Sequence[int]
) -> np.ndarray:
    """(slots x 24) posterior probability of each chord in each slot.

    ``parents[i]`` < i is the slot before i, -1 for none.
    """
    count = len(scores)
    weights = np.exp(scores - scores.max(axis=1, keepdims=True))
    ways = [np.exp(step) for step in steps]
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
