"""Exact inference on the tree of slots: the probability of every chord in every slot.

Source of the method: Pearl 1988, Probabilistic Reasoning in Intelligent Systems, chapter 4 (sums of
products on trees; on a chain it is the forward-backward algorithm), and for the single best
labelling the same with maxima (Viterbi 1967, IEEE Transactions on Information Theory 13(2)).
Reading each slot's likeliest chord makes the fewest errors a slot; the single best labelling is
kept for comparison and for tests.

The numbers stand in data/harmony/chain.toml; each is the natural logarithm of a weight. There they
are laid out by degree: state 2 * degree + quality, degree 0 to 11 semitones over the tonic,
quality 0 major, 1 minor; 24 states. In a tune chords are numbered absolutely: 2 * pitch class of
the root + quality."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

from tunebook.model.tune import ChordSymbol
from tunebook.solve.harmony.slots import CHANGE_PLACES, PHRASE_PLACES, HarmonySlot

STATES = 24
MODES = ("ionian", "mixolydian", "dorian", "aeolian")
NEAREST_MODE = {
    "ionian": 0, "lydian": 0, "none": 0, "mixolydian": 1, "dorian": 2, "aeolian": 3,
    "phrygian": 3, "locrian": 3,
}  # fmt: skip
_ROMAN = ("I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII")


def degree_state(name: str) -> int:
    """State number of a degree in Roman figures: capitals major, small letters minor."""
    is_minor = name.lstrip("b#").islower()
    figure = (
        name
        if not is_minor
        else name[: len(name) - len(name.lstrip("b#"))] + (name.lstrip("b#").upper())
    )
    return 2 * _ROMAN.index(figure) + is_minor


@dataclass(frozen=True, eq=False)
class HarmonyTables:
    """``melody[q]`` (12 x 12): rows pitch class over the tonic, columns degree, for quality q; so
    a row of weights times it gives the fit of every chord of that quality. ``melody_first`` the
    same for the first pitch class. ``prior[mode]`` (24), ``phrase[minor-like]`` (places x 24),
    ``change`` (places), ``motion[minor-like]`` (24 x 24, zero on the diagonal)."""

    melody: np.ndarray
    melody_first: np.ndarray
    prior: np.ndarray
    phrase: np.ndarray
    change: np.ndarray
    motion: np.ndarray

    def passage(self, is_minor: int, change_place: int) -> np.ndarray:
        """Log weights (24 x 24) of going from chord to chord at this place."""
        passage: np.ndarray = self.motion[is_minor] + self.change[change_place]
        np.fill_diagonal(passage, 0.0)
        return passage


@lru_cache(maxsize=1)
def harmony_tables() -> HarmonyTables:
    """Read the tables that come with the program."""
    text = resources.files("tunebook").joinpath("data/harmony/chain.toml").read_text("utf-8")
    return _lay_out(tomllib.loads(text))


def _lay_out(data: dict[str, Any]) -> HarmonyTables:
    prior = np.empty((len(MODES), STATES))
    for row, mode in enumerate(MODES):
        for name, value in data["degrees"][mode].items():
            prior[row, degree_state(name)] = value
    phrase = np.empty((2, len(PHRASE_PLACES), STATES))
    for row, kind in enumerate(("major", "minor")):
        phrase[row] = _phrase_table(data["phrase"][kind], row)
    return HarmonyTables(
        melody=np.stack([_by_degree(data["melody"][q]) for q in ("major", "minor")]),
        melody_first=np.stack([_by_degree(data["melody_first"][q]) for q in ("major", "minor")]),
        prior=prior,
        phrase=phrase,
        change=np.array([data["change"][place] for place in CHANGE_PLACES]),
        motion=np.stack([_motion(data, kind) for kind in ("major", "minor")]),
    )


def _by_degree(by_interval: list[float]) -> np.ndarray:
    """(12 x 12) from values by interval over the root: [pitch class, degree]."""
    classes = np.arange(12)
    by_degree: np.ndarray = np.array(by_interval)[(classes[:, None] - classes[None, :]) % 12]
    return by_degree


def _phrase_table(data: dict[str, Any], is_minor: int) -> np.ndarray:
    groups: list[str] = data["groups"]
    column = np.full(STATES, groups.index("other"))
    for index, name in enumerate(groups):
        if name != "other":
            column[degree_state(name)] = index
    if is_minor:
        # Minor v goes with V, major IV with iv: the moving seventh and sixth degrees.
        column[degree_state("v")] = groups.index("V")
        column[degree_state("IV")] = groups.index("iv")
    return np.array([data[place] for place in PHRASE_PLACES])[:, column]


def _motion(data: dict[str, Any], kind: str) -> np.ndarray:
    motion = np.zeros((STATES, STATES))
    states = np.arange(STATES)
    rise = (states[None, :] // 2 - states[:, None] // 2) % 12
    for first, first_name in enumerate(("major", "minor")):
        for second, second_name in enumerate(("major", "minor")):
            values = np.array(data["root_motion"][f"{first_name}_to_{second_name}"])
            motion[first::2, second::2] = values[rise[first::2, second::2]]
    chords = [degree_state(name) for name in data["progressions"][kind]["chords"]]
    motion[np.ix_(chords, chords)] += np.array(data["progressions"][kind]["rows"])
    np.fill_diagonal(motion, 0.0)
    return motion


def slot_scores(slots: Sequence[HarmonySlot], tables: HarmonyTables) -> np.ndarray:
    """(slots x 24) log weight of each chord in each slot, its neighbours aside."""
    tonics = np.array([slot.key.tonic_class for slot in slots])
    modes = np.array([NEAREST_MODE[slot.key.mode] for slot in slots])
    places = np.array([slot.phrase_place for slot in slots])
    classes = np.arange(12)
    weights = np.array([slot.weights for slot in slots])
    turned = np.take_along_axis(weights, (classes + tonics[:, None]) % 12, axis=1)
    firsts = np.array([-1 if slot.first_class is None else slot.first_class for slot in slots])
    begins = firsts >= 0
    rows = tables.prior[modes] + tables.phrase[(modes >= 2).astype(int), places]
    for quality in (0, 1):
        rows[:, quality::2] += (turned[:, None, :] @ tables.melody[quality])[:, 0]
        struck = tables.melody_first[quality, (firsts - tonics) % 12]
        rows[begins, quality::2] += struck[begins]
    states = np.arange(STATES)
    return np.take_along_axis(rows, (states - 2 * tonics[:, None]) % STATES, axis=1)


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
    weights = np.exp(scores - scores.max(axis=1, keepdims=True))
    exponentials = {id(step): np.exp(step) for step in {id(step): step for step in steps}.values()}
    ways = [exponentials[id(step)] for step in steps]
    below = list(weights)
    messages = list(np.ones_like(weights))
    for index in range(len(below) - 1, -1, -1):
        here = below[index]
        here /= np.add.reduce(here)
        if parents[index] >= 0:
            messages[index] = message = ways[index].dot(here)
            below[parents[index]] *= message
    found: np.ndarray = np.empty_like(weights)
    rows = list(found)
    for row, parent, here, message, way in zip(rows, parents, below, messages, ways, strict=True):
        if parent < 0:
            row[:] = here
        else:
            np.multiply(here, (rows[parent] / message).dot(way), out=row)
        row /= np.add.reduce(row)
    return found
