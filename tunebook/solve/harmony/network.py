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
from typing import NamedTuple

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
STEP_KINDS = np.array([0, 0, 0, 0, 1, 1, 2, 2, 1, 1])
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


_ROWS = 32
"""Slots that are worked on together: so small products are made by one thread, and quickly, where
larger ones would wake all threads of the machine, which costs more than it gains."""


class _Layers(NamedTuple):
    """The weights laid out for the products: ``first`` (12, N, looks * 12, H) for each root,
    ``degree`` (2, 12, N, 1, H), and what is the mean of all networks: ``prior`` (2, 24),
    ``phrase`` (2, PLACES, 24)."""

    first: np.ndarray
    degree: np.ndarray
    prior: np.ndarray
    phrase: np.ndarray


@functools.lru_cache(maxsize=4)
def _layers(nets: Networks) -> _Layers:
    count, hidden = nets.place_bias.shape
    tones = nets.tones.reshape(count, len(LOOKS), 12, hidden)
    # The interval over a root is the pitch class over the keynote less the root's.
    turns = (np.arange(12)[None, :] - np.arange(12)[:, None]) % 12
    by_root = tones[:, :, turns].transpose(2, 0, 1, 3, 4)
    return _Layers(
        first=np.ascontiguousarray(by_root.reshape(12, count, len(LOOKS) * 12, hidden)),
        degree=nets.degree.transpose(1, 2, 0, 3)[:, :, :, None],
        prior=nets.prior.mean(axis=0).reshape(2, 24),
        phrase=nets.phrase.mean(axis=0),
    )


def network_scores(tune: Tune, slots: Sequence[HarmonySlot], nets: Networks) -> np.ndarray:
    """(slots x 24) scores of the chords by degree, 2 * semitones over the tonic + (1 when minor):
    logarithms of weights, the neighbours aside."""
    minor = np.array([int(slot.key.is_minor_like) for slot in slots])
    tones = slot_tones(tune, slots).reshape(len(slots), -1)
    place = slot_places(tune, slots)
    scores = np.empty((len(slots), 24), dtype=np.float32)
    for is_minor in np.unique(minor).tolist():
        alike = np.flatnonzero(minor == is_minor)
        for start in range(0, len(alike), _ROWS):
            rows = alike[start : start + _ROWS]
            scores[rows] = _scores(tones[rows], place[rows], is_minor, nets)
    return scores


def _scores(tones: np.ndarray, place: np.ndarray, is_minor: int, nets: Networks) -> np.ndarray:
    """(rows x 24) scores of slots in modes of one kind; hidden values have the shape
    (roots, N, rows, H)."""
    layers = _layers(nets)
    hidden = tones @ layers.first
    hidden += tones @ nets.keyed + place @ nets.place + nets.place_bias[:, None]
    hidden += layers.degree[is_minor]
    hidden = _bent(_bent(hidden) @ nets.inner + nets.inner_bias[:, None])
    outer = (hidden @ nets.outer + nets.outer_bias[:, None]).mean(axis=1)
    scores: np.ndarray = outer.transpose(1, 0, 2).reshape(len(tones), 24)
    scores += layers.prior[is_minor] + place @ layers.phrase[is_minor]
    return scores


def _bent(values: np.ndarray) -> np.ndarray:
    """Gaussian error linear unit (Hendrycks & Gimpel 2016, arXiv:1606.08415), by its formula with
    the hyperbolic tangent."""
    inner: np.ndarray = values * values
    inner *= 0.044715
    inner += 1.0
    inner *= values
    inner *= 0.7978845608
    np.tanh(inner, out=inner)
    inner += 1.0
    inner *= values
    inner *= 0.5
    return inner


@functools.lru_cache(maxsize=64)
def network_passage(nets: Networks, is_minor: int, change_place: int) -> np.ndarray:
    """(24 x 24) logarithms of the weights of going from chord to chord, by degree."""
    chords = np.arange(24)
    rise = (chords[None, :] // 2 - chords[:, None] // 2) % 12
    quality = chords % 2
    by_rise = nets.rise[:, STEP_KINDS[change_place]][:, quality[:, None], quality[None, :], rise]
    whole = nets.motion[:, is_minor] + by_rise
    change = nets.change[:, is_minor, change_place].mean()
    passage: np.ndarray = (whole.mean(axis=0) + change).astype(float)
    np.fill_diagonal(passage, 0.0)
    return passage


def slot_tones(tune: Tune, slots: Sequence[HarmonySlot]) -> np.ndarray:
    """(slots, looks, 12) what is seen of the melody at each slot, pitch classes over the tonic."""
    found = np.zeros((len(slots), len(LOOKS), 12), dtype=np.float32)
    _look_inside(found, tune, slots)
    numbers = np.array([slot.bar_index for slot in slots])
    starts = np.flatnonzero(np.diff(numbers, prepend=-1))
    lengths = np.diff(starts, append=len(slots))
    means = np.add.reduceat(found[:, 0], starts, axis=0) / lengths[:, None]
    found[:, LOOKS.index("bar")] = np.repeat(means, lengths, axis=0)
    for name, away in _AROUND.items():
        _shifted(found, "whole", name, away)
    _shifted(found, "first", "first after", 1)
    _shifted(found, "last", "last before", -1)
    tonics = np.array([slot.key.tonic_class for slot in slots])
    if (tonics == tonics[0]).all():
        return np.roll(found, -int(tonics[0]), axis=2)
    turn = (np.arange(12) + tonics[:, None, None]) % 12
    return np.take_along_axis(found, np.broadcast_to(turn, found.shape), axis=2)


def _look_inside(found: np.ndarray, tune: Tune, slots: Sequence[HarmonySlot]) -> None:
    """Fill in what is seen inside each slot; pitch classes from C."""
    times = whole_times(tune)
    notes: list[tuple[float, float, int]] = [
        (onset, onset + length, pitch.midi)
        for bar, spans in zip(tune.bars, times.notes, strict=True)
        for note, (onset, length) in zip(bar.notes, spans, strict=True)
        if length and not note.is_grace
        for pitch in note.pitches
    ]
    melody_notes = len(notes)
    notes += _further_notes(tune, times.per_whole)
    if not notes:
        return
    onsets, ends, midis = np.array(notes).T
    midis = midis.astype(int)
    start = np.array([times.steps(slot.onset) for slot in slots])[:, None]
    length = np.array([times.steps(slot.duration) for slot in slots])[:, None]
    end, middle = start + length, start + length / 2.0
    until, since = np.minimum(end, ends), np.maximum(start, onsets)
    whole = np.maximum(0.0, until - since)
    early = np.maximum(0.0, np.minimum(middle, ends) - since)
    late = np.maximum(0.0, until - np.maximum(middle, onsets))
    quarter = times.per_whole / 4.0
    sounds = whole > 0
    struck = sounds & (onsets >= start) & ((onsets - start) % quarter == 0)
    at, note = np.nonzero(sounds)
    cell = at * 12 + midis[note] % 12
    for look, share in enumerate((whole, early, late, struck * quarter)):
        parts = share[at, note] / length[at, 0]
        found[:, look] = np.bincount(cell, parts, len(slots) * 12).reshape(-1, 12)
    heard = sounds.any(axis=1)
    place = np.arange(len(notes))
    # What begins and ends a slot is the melody's, where it sounds.
    melody = sounds & (place < melody_notes)
    leading = np.where(melody.any(axis=1)[:, None], melody, sounds)
    begun = leading & (onsets <= start)
    rows = np.arange(len(slots))
    # Of a chord the first tone counts as the one that begins, the last as the one that ends.
    latest = np.where(begun, onsets, -1).max(axis=1)
    first = np.where(begun & (onsets == latest[:, None]), place, len(notes)).min(axis=1)
    last = np.where(leading, place, -1).max(axis=1)
    lowest = np.where(sounds, midis, 999).argmin(axis=1)
    highest = np.where(sounds, midis, -1).argmax(axis=1)
    for look, index, is_there in (
        (4, first, begun.any(axis=1)), (5, lowest, heard), (6, highest, heard), (7, last, heard),
    ):  # fmt: skip
        found[rows[is_there], look, midis[index[is_there]] % 12] = 1.0


def _further_notes(tune: Tune, per_whole: int) -> list[tuple[float, float, int]]:
    """Beginnings and ends, in steps, and pitches of the notes of the voices beside the melody; they
    count as the tones of double stops do."""
    return [
        (float(note.onset * per_whole), float((note.onset + note.duration) * per_whole), pitch.midi)
        for voice in tune.voices
        for bar in voice.bars
        for note in bar.notes
        if note.duration and not note.is_grace
        for pitch in note.pitches
    ]


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
