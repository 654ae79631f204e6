"""The numbers that the harmoniser's fit starts from, set by hand by our judgement, how far each
kind may move (standard deviation of a normal prior), and how numbers are written as TOML."""

from __future__ import annotations

import numpy as np

from tunebook.solve.harmony.chain import MODES, degree_state
from tunebook.solve.harmony.slots import CHANGE_PLACES, PHRASE_PLACES

Numbers = dict[str, np.ndarray]

DEGREES = (
    "I", "i", "bII", "bii", "II", "ii", "bIII", "biii", "III", "iii", "IV", "iv", "#IV", "#iv",
    "V", "v", "bVI", "bvi", "VI", "vi", "bVII", "bvii", "VII", "vii",
)  # fmt: skip
KINDS = ("major", "minor")
GROUPS = (("I", "V", "IV", "ii", "vi", "other"), ("i", "V", "bVII", "bIII", "iv", "other"))
PROGRESSION_CHORDS = (
    ("I", "ii", "iii", "IV", "V", "vi", "bVII", "II"),
    ("i", "bIII", "iv", "IV", "v", "V", "bVI", "bVII"),
)
SPREAD = {
    "melody": 0.8, "first": 0.5, "prior": 0.8, "phrase": 0.5, "change": 0.8, "motion": 0.4,
    "progression": 0.5,
}  # fmt: skip
TONIC_SHARES = (
    {"I": 0.50, "V": 0.25, "IV": 0.125, "ii": 0.05, "vi": 0.035, "II": 0.012, "bVII": 0.012,
     "iii": 0.006},
    {"i": 0.50, "V": 0.10, "bVII": 0.19, "bIII": 0.075, "iv": 0.05, "bVI": 0.02, "v": 0.03,
     "IV": 0.02},
)  # fmt: skip
"""Part of the time that each degree should have over many tunes, major-like and minor-like."""

_PRIOR = (
    {"I": 0, "V": -0.6, "IV": -0.9, "ii": -1.6, "vi": -1.7, "II": -3, "bVII": -3, "iii": -3,
     "iv": -5, "v": -4, "VI": -4, "III": -4.5},
    {"I": 0, "V": -1.6, "IV": -0.9, "ii": -2, "vi": -2.2, "II": -4, "bVII": -1, "iii": -4,
     "iv": -5, "v": -1.8, "VI": -5, "III": -5},
    {"i": 0, "bVII": -0.5, "bIII": -1.4, "IV": -1.5, "v": -1.5, "iv": -2.6, "V": -2.4,
     "ii": -3.2, "bVI": -3.5, "I": -4},
    {"i": 0, "bVII": -1, "bIII": -1.4, "iv": -1.4, "V": -1.0, "v": -2, "bVI": -2, "IV": -3.2,
     "ii": -4.5, "I": -4},
)  # fmt: skip
_TONIC_AT = {"first bar": 0.8, "fifth bar": 0.5, "last bar": 0.8, "last bar late": 1.8,
             "eighth bar": 0.4, "eighth bar late": 0.8}  # fmt: skip
_DOMINANT_AT = {"fourth bar late": 0.6, "fourth bar": 0.2, "bar before last late": 0.8,
                "bar before last": 0.2}  # fmt: skip
_CHANGE = (0, -0.2, -0.5, -0.8, -1.6, -1.6, -2.6, -2.0, -0.7, -0.8)
_MOTION = {5: 0.3, 7: 0.1, 1: -0.5, 6: -1.0, 11: -0.5, 0: -0.8, 8: -0.2, 4: -0.2}
_PROGRESSIONS = (
    {("V", "I"): 0.6, ("ii", "V"): 0.6, ("IV", "V"): 0.2, ("V", "IV"): -0.6, ("II", "V"): 0.9,
     ("ii", "I"): -0.3, ("I", "IV"): 0.2, ("I", "V"): 0.3, ("IV", "I"): 0.2},
    {("V", "i"): 0.6, ("bVII", "i"): 0.4, ("i", "bVII"): 0.4, ("bVII", "bIII"): 0.3,
     ("iv", "V"): 0.3, ("V", "iv"): -0.6},
)  # fmt: skip


def starting_numbers() -> Numbers:
    """The hand-set values as arrays, shaped as the fit uses them."""
    prior = np.full((len(MODES), 24), -6.0)
    for row, values in enumerate(_PRIOR):
        for name, value in values.items():
            prior[row, degree_state(name)] = value
    phrase = np.zeros((2, len(PHRASE_PLACES), 6))
    for place, value in _TONIC_AT.items():
        phrase[:, PHRASE_PLACES.index(place), 0] = value
    for place, value in _DOMINANT_AT.items():
        phrase[:, PHRASE_PLACES.index(place), 1] = value
    phrase[1, PHRASE_PLACES.index("bar before last late"), 2] = 0.4
    motion = np.zeros((12, 2, 2))
    for interval, value in _MOTION.items():
        motion[interval] = value
    progression = np.zeros((2, 8, 8))
    for kind, values in enumerate(_PROGRESSIONS):
        for (before, after), value in values.items():
            chords = PROGRESSION_CHORDS[kind]
            progression[kind, chords.index(before), chords.index(after)] = value
    return {
        "melody": np.array([
            [2, -2, -0.3, -2, 2, -0.8, -1, 1.6, -2, -0.3, 0.2, -0.5],
            [2, -2, -0.3, 2, -2, -0.5, -1.5, 1.6, -1, -0.6, 0, -0.8],
        ]),
        "first": np.array([
            [0.4, -0.5, -0.2, -0.5, 0.4, -0.2, -0.5, 0.3, -0.5, -0.2, -0.1, -0.3],
            [0.4, -0.5, -0.2, 0.4, -0.5, -0.2, -0.5, 0.3, -0.3, -0.2, -0.1, -0.3],
        ]),
        "prior": prior, "phrase": phrase, "change": np.array(_CHANGE, dtype=float),
        "motion": motion, "progression": progression,
    }  # fmt: skip


def as_toml(numbers: Numbers, head: str) -> str:
    """The numbers as the data file that the program reads, comment lines ``head`` first."""
    lines = [head.rstrip(), ""]
    for section, name in (("melody", "melody"), ("melody_first", "first")):
        lines.append(f"[{section}]")
        lines += [f"{k} = {_list(row)}" for k, row in zip(KINDS, numbers[name], strict=True)]
    for mode, row in zip(MODES, numbers["prior"], strict=True):
        lines.append(f"\n[degrees.{mode}]")
        lines += [f'"{name}" = {_text(row[degree_state(name)])}' for name in DEGREES]
    for kind, groups, table in zip(KINDS, GROUPS, numbers["phrase"], strict=True):
        lines += [f"\n[phrase.{kind}]", f"groups = {_names(groups)}"]
        lines += [f'"{p}" = {_list(row)}' for p, row in zip(PHRASE_PLACES, table, strict=True)]
    lines.append("\n[change]")
    lines += [
        f'"{place}" = {_text(value)}'
        for place, value in zip(CHANGE_PLACES, numbers["change"], strict=True)
    ]
    lines.append("\n[root_motion]")
    for before, first in enumerate(KINDS):
        for after, second in enumerate(KINDS):
            lines.append(f"{first}_to_{second} = {_list(numbers['motion'][:, before, after])}")
    for kind, chords, rows in zip(KINDS, PROGRESSION_CHORDS, numbers["progression"], strict=True):
        lines += [f"\n[progressions.{kind}]", f"chords = {_names(chords)}", "rows = ["]
        lines += [f"  {_list(row)}," for row in rows] + ["]"]
    return "\n".join(lines) + "\n"


def _text(value: float) -> str:
    return f"{value:.2f}".replace("-0.00", "0.00")


def _list(values: np.ndarray) -> str:
    return "[" + ", ".join(_text(float(value)) for value in values) + "]"


def _names(names: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"
