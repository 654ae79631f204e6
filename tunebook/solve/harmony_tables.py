"""The harmoniser's numbers, read from data/harmony/chain.toml and laid out as arrays.

A chord state is numbered 2 * degree + quality: degree 0 to 11 semitones over the tonic, quality 0
major, 1 minor; 24 states. Every number is a natural logarithm of a weight.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

import numpy as np

from tunebook.solve.harmony_slots import CHANGE_PLACES, PHRASE_PLACES

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
        passage = self.motion[is_minor] + self.change[change_place]
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
    return np.array(by_interval)[(classes[:, None] - classes[None, :]) % 12]


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
