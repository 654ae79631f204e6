"""How likely each chord is in each slot, by small networks whose weights were learnt.

Each network looks at a slot from every one of the twelve possible roots in turn (the melody's tones
as intervals over that root, in the slot, before and after it), at the root's degree in the key, and
at the slot's place in bar and section. It gives a score for the major and for the minor triad on
that root, and prices for going from chord to chord, which the exact chain then weighs together.
The scores and prices of all networks are added and divided by their number (a product of experts;
Hinton 2002, Neural Computation 14(8)).

The weights are in data/harmony/network.npz, made by tests/benchmarks/harmony_network_fit.py from
the chords that an editor wrote under 502 folk tunes (Nottingham Music Database, cleaned edition;
GPL 3.0), under the likelihood of a chain of chords (conditional random field: Lafferty, McCallum &
Pereira 2001, Proc. ICML). No tune is in them. The collection is in major and minor; what sets
other modes apart is added from the degrees of chain.toml, which are our own judgement.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np

from tunebook.model.tune import Tune
from tunebook.solve.harmony.slots import PHRASE_PLACES, HarmonySlot
from tunebook.solve.times import whole_times

LOOKS = (
    "whole", "first half", "second half", "struck", "first", "lowest", "highest", "last", "bar",
    "before", "after", "two before", "two after", "first after", "last before", "three before",
    "three after",
)  # fmt: skip
"""What is seen of the melody at a slot, each by pitch class."""
_AROUND = {"before": -1, "after": 1, "two before": -2, "two after": 2, "three before": -3,
           "three after": 3}  # fmt: skip
_INTO = (0.0, 0.5, 1 / 3, 2 / 3, 0.25, 0.75)
PLACES = 8 + 5 + len(_INTO) + len(PHRASE_PLACES) + 7
"""How many numbers say where in the tune a slot is."""
_STEPS = np.array([0, 0, 0, 0, 1, 1, 2, 2, 1, 1])
"""By change place: 0 at a bar line, 1 in the middle of a bar, 2 on another beat."""


@dataclass(frozen=True, eq=False)
class Networks:
    """The weights of all networks, their number N first in every shape; H hidden units.

    ``tones`` and ``keyed`` (N, looks * 12, H) weigh the melody over the root and over the keynote;
    ``degree`` (N, 2, 12, H) the root's degree by minor or not; ``place`` (N, PLACES, H);
    ``inner`` (N, H, H); ``outer`` (N, H, 2). ``prior`` (N, 2, 12, 2) and ``phrase``
    (N, 2, PLACES, 24) add to the scores, ``motion`` (N, 2, 24, 24), ``rise`` (N, 3, 2, 2, 12) and
    ``change`` (N, 2, change places) to the prices of going from chord to chord."""

    tones: np.ndarray
    keyed: np.ndarray
    degree: np.ndarray
    place: np.ndarray
    place_bias: np.ndarray
    inner: np.ndarray
    inner_bias: np.ndarray
    outer: np.ndarray
    outer_bias: np.ndarray
    prior: np.ndarray
    phrase: np.ndarray
    motion: np.ndarray
    rise: np.ndarray
    change: np.ndarray


@functools.lru_cache(maxsize=1)
def networks() -> Networks:
    """Read the weights that come with the program."""
    data = resources.files("tunebook").joinpath("data/harmony/network.npz").read_bytes()
    with np.load(io.BytesIO(data), allow_pickle=False) as kept:
        return Networks(**{name: kept[name].astype(np.float32) for name in kept.files})


def network_scores(tune: Tune, slots: Sequence[HarmonySlot], nets: Networks) -> np.ndarray:
    """(slots x 24) scores of the chords by degree, 2 * semitones over the tonic + (1 when minor):
    logarithms of weights, the neighbours aside."""
    minor = np.array([int(slot.key.is_minor_like) for slot in slots])
    tones = slot_tones(tune, slots).reshape(len(slots), len(LOOKS), 12)
    place = slot_places(tune, slots)
    turns = (np.arange(12)[None, :] + np.arange(12)[:, None]) % 12
    over_root = tones[:, :, turns].transpose(0, 2, 1, 3).reshape(len(slots) * 12, -1)
    over_key = tones.reshape(len(slots), -1)
    total = np.zeros((len(slots), 24), dtype=np.float32)
    for number in range(len(nets.tones)):
        hidden = (over_root @ nets.tones[number]).reshape(len(slots), 12, -1)
        at_place = over_key @ nets.keyed[number] + place @ nets.place[number]
        hidden += nets.degree[number][minor] + (at_place + nets.place_bias[number])[:, None]
        hidden = _bent(hidden)
        hidden = _bent(hidden @ nets.inner[number] + nets.inner_bias[number])
        scores = hidden @ nets.outer[number] + nets.outer_bias[number]
        scores += nets.prior[number][minor]
        total += scores.reshape(len(slots), 24)
        total += np.einsum("sp,spc->sc", place, nets.phrase[number][minor])
    return total / len(nets.tones)


def _bent(values: np.ndarray) -> np.ndarray:
    """Gaussian error linear unit (Hendrycks & Gimpel 2016, arXiv:1606.08415), by its formula with
    the hyperbolic tangent."""
    inner = 0.7978845608 * (values + 0.044715 * values * values * values)
    bent: np.ndarray = 0.5 * values * (1.0 + np.tanh(inner))
    return bent


@functools.lru_cache(maxsize=64)
def network_passage(nets: Networks, is_minor: int, change_place: int) -> np.ndarray:
    """(24 x 24) logarithms of the weights of going from chord to chord, by degree."""
    chords = np.arange(24)
    rise = (chords[None, :] // 2 - chords[:, None] // 2) % 12
    quality = chords % 2
    by_rise = nets.rise[:, _STEPS[change_place]][:, quality[:, None], quality[None, :], rise]
    whole = nets.motion[:, is_minor] + by_rise
    passage = whole.mean(axis=0) + nets.change[:, is_minor, change_place].mean()
    passage = passage.astype(float)
    np.fill_diagonal(passage, 0.0)
    return passage


def slot_tones(tune: Tune, slots: Sequence[HarmonySlot]) -> np.ndarray:
    """(slots, looks, 12) what is seen of the melody at each slot, pitch classes over the tonic."""
    times = whole_times(tune)
    quarter = times.per_whole / 4.0
    found = np.zeros((len(slots), len(LOOKS), 12), dtype=np.float32)
    bars: dict[int, list[tuple[int, int, tuple[int, ...]]]] = {}
    for index, slot in enumerate(slots):
        notes = bars.get(slot.bar_index)
        if notes is None:
            bar = tune.bars[slot.bar_index]
            notes = [
                (onset, onset + length, tuple(pitch.midi for pitch in note.pitches))
                for note, (onset, length) in zip(bar.notes, times.notes[bar.index], strict=True)
                if not note.is_grace and not note.is_rest and length
            ]
            bars[slot.bar_index] = notes
        start, length = times.steps(slot.onset), times.steps(slot.duration)
        _look(found[index], notes, start, length, slot.key.tonic_class, quarter)
    numbers = np.array([slot.bar_index for slot in slots])
    for number in bars:
        is_there = numbers == number
        found[is_there, LOOKS.index("bar")] = found[is_there, 0].mean(axis=0)
    for name, away in _AROUND.items():
        _shifted(found, "whole", name, away)
    _shifted(found, "first", "first after", 1)
    _shifted(found, "last", "last before", -1)
    return found


def _look(
    row: np.ndarray,
    notes: Sequence[tuple[int, int, tuple[int, ...]]],
    start: int,
    length: int,
    tonic: int,
    quarter: float,
) -> None:
    """Fill in what is seen inside one slot: ``notes`` are (onset, end, MIDI pitches), in steps."""
    end, middle = start + length, start + length / 2.0
    lowest = highest = last = first = -1
    for onset, until, pitches in notes:
        if onset >= end or until <= start:
            continue
        sounding = (min(end, until) - max(start, onset)) / length
        early = max(0.0, min(middle, until) - max(start, onset)) / length
        late = max(0.0, min(end, until) - max(middle, onset)) / length
        is_struck = onset >= start and (onset - start) % quarter == 0
        for midi in pitches:
            at = (midi - tonic) % 12
            row[0, at] += sounding
            row[1, at] += early
            row[2, at] += late
            if is_struck:
                row[3, at] += quarter / length
            lowest = midi if lowest < 0 else min(lowest, midi)
            highest = max(highest, midi)
            last = midi
        if onset <= start:
            first = pitches[0]
    for look, midi in ((4, first), (5, lowest), (6, highest), (7, last)):
        if midi >= 0:
            row[look, (midi - tonic) % 12] = 1.0


def _shifted(found: np.ndarray, what: str, name: str, away: int) -> None:
    """Copy a look of the slots so many places ``away`` (negative: before)."""
    source, target = found[:, LOOKS.index(what)], found[:, LOOKS.index(name)]
    if abs(away) >= len(found):
        return
    if away > 0:
        target[:-away] = source[away:]
    else:
        target[-away:] = source[:away]


def slot_places(tune: Tune, slots: Sequence[HarmonySlot]) -> np.ndarray:
    """(slots, PLACES) where each slot is in bar, phrase and section, and what kind of metre."""
    struck = sum(not note.is_grace and not note.is_rest for bar in tune.bars for note in bar.notes)
    density = min(struck / len(slots), 8.0) / 8.0
    rows = np.zeros((len(slots), PLACES), dtype=np.float32)
    for index, slot in enumerate(slots):
        meter = tune.bars[slot.bar_index].meter
        row = rows[index]
        row[slot.measure % 8] = 1.0
        row[8 + min(4, slot.measures - 1 - slot.measure)] = 1.0
        for at, part in enumerate(_INTO):
            row[13 + at] = abs(slot.into_measure - part) < 0.01
        row[19 + slot.phrase_place] = 1.0
        row[19 + len(PHRASE_PLACES) :] = (
            meter.is_compound,
            meter.beats == 3,
            float(slot.duration),
            index == len(slots) - 1,
            slot.measure < 8,
            slot.measures / 16.0,
            density,
        )
    return rows
