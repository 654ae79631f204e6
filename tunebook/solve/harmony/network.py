"""How likely each chord is in each slot, by a small network whose weights were learnt.

The network looks at a slot from every one of the twelve possible roots in turn (the melody's tones
as intervals over that root, in the slot, before and after it), at the root's degree in the key, and
at the slot's place in bar and section. It gives a score for the major and for the minor triad on
that root, and prices for going from chord to chord, which the exact chain then weighs together.
Where there are several, their scores and prices are added and divided by their number (a product of
experts; Hinton 2002, Neural Computation 14(8)); what comes with the program is one, distilled from
four (Hinton, Vinyals & Dean 2015, arXiv:1503.02531).

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

from tunebook.model.tune import Meter, Tune
from tunebook.solve.harmony.slots import PHRASE_PLACES, HarmonySlot, bar_tones
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
    starts = _starts(numbers)
    lengths = _lengths(starts, len(slots))
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
        (onset, end, midi)
        for tones in bar_tones(tune)
        for onset, end, midis in tones
        for midi in midis
    ]
    melody_notes = len(notes)
    notes += _further_notes(tune, times.per_whole)
    if not notes:
        return
    onsets, ends, midis = np.array(notes).T
    midis = midis.astype(int)
    start = np.array([times.steps(slot.onset) for slot in slots])
    end = start + np.array([times.steps(slot.duration) for slot in slots])
    # A pair is a slot and a tone that sounds in it.
    at, note = np.nonzero((onsets < end[:, None]) & (ends > start[:, None]))
    tones = midis[note]
    parts = _parts(_Pairs(start[at], end[at], onsets[note], ends[note]), times.per_whole / 4.0)
    cell = at * 12 + tones % 12
    for look, part in enumerate(parts):
        found[:, look] = np.bincount(cell, part, len(slots) * 12).reshape(-1, 12)
    heard = _starts(at)
    rows = at[heard]
    # Of a chord the first tone counts as the one that begins, the last as the one that ends.
    found[rows, 5, np.minimum.reduceat(tones, heard) % 12] = 1.0
    found[rows, 6, np.maximum.reduceat(tones, heard) % 12] = 1.0
    # What begins and ends a slot is the melody's, where it sounds.
    is_melody = note < melody_notes
    has_melody = np.zeros(len(slots), dtype=bool)
    has_melody[at[is_melody]] = True
    leading = is_melody | ~has_melody[at]
    at, note = at[leading], note[leading]
    heard = _starts(at)
    found[rows, 7, midis[np.maximum.reduceat(note, heard)] % 12] = 1.0
    begun = np.flatnonzero(onsets[note] <= start[at])
    _look_at_beginnings(found, at[begun], note[begun], onsets, midis)


def _starts(numbers: np.ndarray) -> np.ndarray:
    """Where runs of one number begin."""
    is_new = np.ones(len(numbers), dtype=bool)
    np.not_equal(numbers[1:], numbers[:-1], out=is_new[1:])
    return is_new.nonzero()[0]


def _lengths(starts: np.ndarray, end: int) -> np.ndarray:
    """The lengths of the runs that begin there."""
    lengths = np.empty_like(starts)
    np.subtract(starts[1:], starts[:-1], out=lengths[:-1])
    lengths[-1:] = end - starts[-1:]
    return lengths


class _Pairs(NamedTuple):
    """Of each pair: where the slot begins and ends, and the tone."""

    start: np.ndarray
    end: np.ndarray
    onset: np.ndarray
    until: np.ndarray


def _parts(pairs: _Pairs, quarter: float) -> tuple[np.ndarray, ...]:
    """Over what part of the slot each tone sounds, of its first and second half, and a quarter
    for each tone struck on one."""
    length = pairs.end - pairs.start
    middle = pairs.start + length / 2.0
    until, since = np.minimum(pairs.end, pairs.until), np.maximum(pairs.start, pairs.onset)
    early = np.maximum(0.0, np.minimum(middle, pairs.until) - since)
    late = np.maximum(0.0, until - np.maximum(middle, pairs.onset))
    struck = (pairs.onset >= pairs.start) & ((pairs.onset - pairs.start) % quarter == 0)
    return (until - since) / length, early / length, late / length, struck * quarter / length


def _look_at_beginnings(
    found: np.ndarray, at: np.ndarray, note: np.ndarray, onsets: np.ndarray, midis: np.ndarray
) -> None:
    """Fill in the first tone of the slots ``at``, given all tones that sound as they begin: of
    those that began last, the one written first."""
    if not len(at):
        return
    groups = _starts(at)
    begun = onsets[note]
    latest = np.repeat(np.maximum.reduceat(begun, groups), _lengths(groups, len(at)))
    first = np.minimum.reduceat(np.where(begun == latest, note, len(midis)), groups)
    found[at[groups], 4, midis[first] % 12] = 1.0


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
    rows = np.array(
        [
            _place_row(
                (slot.measure, slot.measures, slot.into_measure),
                slot.phrase_place,
                (slot.duration.numerator, slot.duration.denominator),
                tune.bars[slot.bar_index].meter,
            )
            for slot in slots
        ]
    )
    rows[-1, -4] = 1.0
    rows[:, -1] = density
    return rows


@functools.lru_cache(maxsize=4096)
def _place_row(
    place: tuple[int, int, float],
    phrase_place: int,
    duration: tuple[int, int],
    meter: Meter,
) -> np.ndarray:
    """What all slots share at one ``place`` (measure, measures, part before the slot); the
    tune's last slot and its density aside."""
    measure, measures, into_measure = place
    row = np.zeros(PLACES, dtype=np.float32)
    row[measure % 8] = 1.0
    row[8 + min(4, measures - 1 - measure)] = 1.0
    for at, part in enumerate(_INTO):
        row[13 + at] = abs(into_measure - part) < 0.01
    row[19 + phrase_place] = 1.0
    length = duration[0] / duration[1]
    is_early = measure < 8
    row[-7:] = (meter.is_compound, meter.beats == 3, length, 0.0, is_early, measures / 16.0, 0.0)
    return row
