"""Source: Nottingham Music Database, cleaned edition (GPL 3.0): half of its tunes as numbers.

A line is a JSON object: meter, minor or not, bars [start, end, section starts], notes [onset,
duration, semitones above the tonic of the octave from middle C], chords [onset, degree in semitones
above the tonic, quality, extension], times in 1/96 of a whole note. The file is no part of this
project; the scripts that need it take its path.

Here: its tunes as Tunes in C, their chords by slot, agreement with them by quarter beat, and folds
in which variants of a tune stand together.
"""

from __future__ import annotations

import gzip
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.harmony.slots import HarmonySlot, harmony_slots

QUARTER = 24
_NAMES = ("=C", "^C", "=D", "^D", "=E", "=F", "^F", "=G", "^G", "=A", "^A", "=B")
_QUALITIES = ("major", "minor")


@dataclass(frozen=True)
class ChordedTune:
    """A tune with an editor's chords. ``labels`` are the chord states of the slots (2 * degree +
    minor), -1 where there is none or another quality; ``starts`` the slots' times."""

    facts: dict[str, Any]
    tune: Tune
    slots: tuple[HarmonySlot, ...]
    labels: tuple[int, ...]
    starts: tuple[int, ...]


def read_chorded_tunes(path: Path) -> list[ChordedTune]:
    """All tunes of the file."""
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        return [_chorded(json.loads(line)) for line in lines]


def _chorded(facts: dict[str, Any]) -> ChordedTune:
    tune = read_abc(_as_abc(facts))[0]
    slots = harmony_slots(tune)
    spans = [(int(slot.onset * 96), int((slot.onset + slot.duration) * 96)) for slot in slots]
    labels = tuple(_label(facts, start, end) for start, end in spans)
    return ChordedTune(facts, tune, slots, labels, tuple(start for start, _ in spans))


def _as_abc(facts: dict[str, Any]) -> str:
    bars = []
    for number, (start, end, is_section) in enumerate(facts["bars"]):
        words, now = [], start
        for onset, duration, semitones in facts["notes"]:
            begin, until = max(onset, start), min(onset + duration, end)
            if begin < now or until <= begin:
                continue
            if begin > now:
                words.append(f"z{begin - now}")
            words.append(f"{_note(semitones)}{until - begin}" + "-" * (onset + duration > end))
            now = until
        if now < end:
            words.append(f"z{end - now}")
        sign = "" if not number else "||" if is_section else "|"
        bars.append(sign + " ".join(words))
    key = "Cm" if facts["minor"] else "C"
    head = f"X:1\nT:Numbers\nM:{facts['meter']}\nL:1/96\nK:{key}\n"
    return head + "\n".join(bars) + "|]\n"


def _note(semitones: int) -> str:
    octave, step = divmod(semitones, 12)
    name = _NAMES[step]
    return name.lower() + "'" * (octave - 1) if octave > 0 else name + "," * -octave


def _state(chord: Sequence[Any]) -> int:
    return 2 * chord[1] + _QUALITIES.index(chord[2]) if chord[2] in _QUALITIES else -1


def _label(facts: dict[str, Any], start: int, end: int) -> int:
    """The chord that holds most of a slot."""
    chords = facts["chords"]
    ends = [chord[0] for chord in chords[1:]] + [facts["bars"][-1][1]]
    held: Counter[int] = Counter()
    for chord, until in zip(chords, ends, strict=True):
        shared = min(end, until) - max(start, chord[0])
        if shared > 0:
            held[_state(chord)] += shared
    return held.most_common(1)[0][0] if held else -1


def agreement(one: ChordedTune, states: Sequence[int]) -> np.ndarray:
    """(quarter beats, those with the editor's root, those with root and triad) for chord states by
    slot. Beats are counted from the beginning of each bar, from the first chord on."""
    chords = one.facts["chords"]
    counts = np.zeros(3)
    for start, end, _ in one.facts["bars"]:
        for beat in range(start, end, QUARTER):
            theirs = [chord for chord in chords if chord[0] <= beat]
            if not theirs:
                continue
            counts[0] += 1
            ours = [state for at, state in zip(one.starts, states, strict=True) if at <= beat]
            if ours and ours[-1] // 2 == theirs[-1][1]:
                counts[1] += 1
                counts[2] += _QUALITIES[ours[-1] % 2] == theirs[-1][2]
    return counts


def folds(tunes: Sequence[ChordedTune], count: int, seed: int = 0) -> list[list[int]]:
    """The numbers of the tunes in ``count`` parts; tunes whose first ten notes rise and fall alike,
    or whose first twelve quarter beats have the same tones, stand in one part."""
    family = list(range(len(tunes)))

    def head(number: int) -> int:
        while family[number] != number:
            number = family[number]
        return number

    seen: dict[tuple[object, ...], int] = {}
    for number, one in enumerate(tunes):
        for key in _incipits(one):
            family[head(number)] = head(seen.setdefault(key, number))
    heads = sorted({head(number) for number in family})
    np.random.default_rng(seed).shuffle(heads)
    fold_of = {one: at % count for at, one in enumerate(heads)}
    return [
        [number for number in range(len(tunes)) if fold_of[head(number)] == part]
        for part in range(count)
    ]


def _incipits(one: ChordedTune) -> tuple[tuple[object, ...], ...]:
    first = one.facts["chords"][0][0]
    notes = [note for note in one.facts["notes"] if note[0] >= first]
    rises = tuple(note[2] - notes[0][2] for note in notes[:10])
    beats = []
    for at in range(first, first + 12 * QUARTER, QUARTER):
        sounding = [note[2] % 12 for note in notes if note[0] <= at < note[0] + note[1]]
        beats.append(sounding[0] if sounding else -1)
    return ("rises", *rises), ("beats", *beats)
