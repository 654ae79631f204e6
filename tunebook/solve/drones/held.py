"""Keys held through a phrase, where that says more than the open strings do.

A held key takes a finger away from the melody, so it has to earn it: it lasts for a phrase, the
melody's notes keep their strings, and no shift is added to the melody (common practice, no source).
Only keynote and fifth are held unasked. Each promising key is solved with the melody, and what it
adds to the hand's effort is weighed against what it sounds better than the open strings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.model.arrangement import DroneDemand, FingeredNote, Stop
from tunebook.model.tune import Tune
from tunebook.solve.drones.moments import DroneJudge, Moment, drone_lengths
from tunebook.solve.drones.open import (
    START_COSTS,
    best_line_in_sections,
    line_values,
)
from tunebook.solve.drones.phrases import Phrase, demand_for, drone_phrases
from tunebook.solve.fingering.choose import Fingering
from tunebook.solve.times import whole_times

TRIED = 3
"""So many keys are solved with the melody, the most promising ones."""
EFFORT_WORTH = 0.12
"""Quarters of full consonance that one unit of the hand's effort is worth; our judgement."""
LEAST_GAIN = 1.5
"""What a held key must be worth more than the open strings in its phrase, likewise."""
LEAST_SOUNDING = 0.6
"""Part of a phrase over which a held key must sound."""
MOST_PIECES = 2
"""So often a held key may begin to sound in a phrase: what comes and goes holds nothing together;
our judgement."""

Solve = Callable[[Sequence[DroneDemand]], Fingering]
Parts = dict[int, float]
"""For each moment that a drone sounds in the part of it, by the number of the moment."""


def choose_held(
    tune: Tune,
    bare: Fingering,
    moments: Sequence[Moment],
    stops: Sequence[Stop],
    judge: DroneJudge,
    solve: Solve,
    *,
    is_taken_over: bool,
    ruled: Sequence[tuple[Fraction, Fraction]] = (),
) -> tuple[tuple[DroneDemand, ...], Fingering]:
    """The keys among ``stops`` to be held in some of the tune's phrases, and the fingering over
    them; none and ``bare`` where the open strings do as well.

    ``solve`` fingers the melody over drones, its strings kept. ``is_taken_over`` where another
    finger may silently take over, else one finger holds through the phrase. Phrases in which a pin
    rules (``ruled``, from and to) are left alone.
    """
    view = _View(tune, bare, moments, judge)
    best: dict[int, tuple[float, DroneDemand]] = {}
    free = [number for number, one in enumerate(view.phrases) if not _is_ruled(one, ruled)]
    for stop, phrases in _promising(view, stops, free):
        fingering = solve([demand_for(stop, view.phrases[one]) for one in phrases])
        for phrase, gain, finger in view.gains(stop, fingering, phrases):
            if gain > max(LEAST_GAIN, best[phrase][0] if phrase in best else 0.0):
                demand = demand_for(stop, view.phrases[phrase], None if is_taken_over else finger)
                best[phrase] = gain, demand
    while best:
        demands = _joined([best[phrase][1] for phrase in sorted(best)])
        fingering = solve(demands)
        failing = view.failing(fingering, best)
        if not failing:
            return demands, fingering
        for phrase in failing:
            del best[phrase]
    return (), bare


def _is_ruled(phrase: Phrase, ruled: Sequence[tuple[Fraction, Fraction]]) -> bool:
    return any(first < phrase.end and last > phrase.onset for first, last in ruled)


def _joined(demands: Sequence[DroneDemand]) -> tuple[DroneDemand, ...]:
    """One demand where the same key goes on with the same finger into the next phrase."""
    found: list[DroneDemand] = []
    for one in demands:
        if found and _goes_on(found[-1], one):
            found[-1] = replace(found[-1], duration=one.end - found[-1].onset)
        else:
            found.append(one)
    return tuple(found)


def _goes_on(before: DroneDemand, after: DroneDemand) -> bool:
    is_same = before == replace(after, onset=before.onset, duration=before.duration)
    return is_same and before.end == after.onset


@dataclass(frozen=True)
class _Phrasing:
    """Something counted for each phrase."""

    values: list[float]
    shares: list[float]


class _View:
    """A tune's phrases, and what is known of each before a key is held."""

    def __init__(
        self, tune: Tune, bare: Fingering, moments: Sequence[Moment], judge: DroneJudge
    ) -> None:
        self.tune = tune
        self.moments = moments
        self.judge = judge
        self.phrases = drone_phrases(tune)
        self.phrase_of = {
            bar.index: number for number, phrase in enumerate(self.phrases) for bar in phrase.bars
        }
        counts = Counter(tune.played)
        self.times = {bar.index: counts[bar.index] or 1 for bar in tune.bars}
        times = whole_times(tune)
        lengths = drone_lengths(tune, times)
        _, line = best_line_in_sections(moments, lengths, times.per_whole / 4)
        self.open_values = [0.0 for _ in self.phrases]
        for moment, value in zip(moments, line_values(moments, line, lengths), strict=True):
            self.open_values[self.phrase_of[moment.bar_index]] += value
        self.efforts = self._efforts(bare.notes)
        self.shifts = self._shifts(bare.notes)

    def worth(self, stop: Stop, parts: Parts) -> _Phrasing:
        """What ``stop`` is worth in each phrase where it sounds in these moments, and over which
        part of the phrase's notes that is."""
        values = [0.0 for _ in self.phrases]
        lengths = [0.0 for _ in self.phrases]
        heard = [0.0 for _ in self.phrases]
        was_heard = False
        for at, moment in enumerate(self.moments):
            number = self.phrase_of[moment.bar_index]
            lengths[number] += moment.duration
            part = parts.get(at, 0.0)
            if part and not was_heard:
                values[number] -= START_COSTS[moment.place] * moment.times
            if part:
                bar = self.tune.bars[moment.bar_index]
                value, _ = self.judge.value(
                    bar, stop.midi, moment.midi, moment.onset, moment.duration, moment.place
                )
                values[number] += part * value * moment.times
                heard[number] += part * moment.duration
            was_heard = part > 0
        return _Phrasing(values, [a / b if b else 0.0 for a, b in zip(heard, lengths, strict=True)])

    def beside(self, stop: Stop) -> Parts:
        """The moments in which the bow would reach ``stop`` as the melody lies without it."""
        return {
            at: 1.0
            for at, moment in enumerate(self.moments)
            if abs(moment.melody - stop.string_index) == 1 and moment.melody
        }

    def gains(
        self, stop: Stop, fingering: Fingering, phrases: Sequence[int]
    ) -> Iterator[tuple[int, float, int]]:
        """(phrase, what the held key is worth more there, the finger that holds it longest)."""
        parts, fingers = self._sounding(fingering)
        worth, pieces = self.worth(stop, parts), self._pieces(parts)
        efforts, shifts = self._efforts(fingering.notes), self._shifts(fingering.notes)
        for one in phrases:
            if worth.shares[one] < LEAST_SOUNDING or shifts[one] > self.shifts[one]:
                continue
            if pieces[one] > MOST_PIECES:
                continue
            added = efforts[one] - self.efforts[one]
            gain = worth.values[one] - self.open_values[one] - EFFORT_WORTH * max(0.0, added)
            if fingers[one]:
                yield one, gain, max(fingers[one], key=lambda f: (fingers[one][f], -f))

    def failing(self, fingering: Fingering, held: dict[int, tuple[float, DroneDemand]]) -> set[int]:
        """The phrases in which the hand now shifts more often, or the key sounds too little or in
        too many pieces; all that hold a key where shifts are added elsewhere."""
        shifts = self._shifts(fingering.notes)
        parts, _ = self._sounding(fingering)
        pieces = self._pieces(parts)
        found = {one for one in held if shifts[one] > self.shifts[one] or pieces[one] > MOST_PIECES}
        for one in held:
            total = sum(m.duration for m in self.moments if self.phrase_of[m.bar_index] == one)
            heard = sum(
                part * self.moments[at].duration
                for at, part in parts.items()
                if self.phrase_of[self.moments[at].bar_index] == one
            )
            if heard < LEAST_SOUNDING * total:
                found.add(one)
        if not found and sum(shifts) > sum(self.shifts):
            found = set(held)
        return found

    def _pieces(self, parts: Parts) -> list[int]:
        """How often a key that sounds in these moments begins to, in each phrase."""
        found = [0 for _ in self.phrases]
        before = -1
        for at in sorted(parts):
            number = self.phrase_of[self.moments[at].bar_index]
            is_new = at != before + 1 or number != self.phrase_of[self.moments[before].bar_index]
            found[number] += is_new
            before = at
        return found

    def _sounding(self, fingering: Fingering) -> tuple[Parts, list[Counter[int]]]:
        """Where the held keys sound, and for how long each finger holds one in each phrase."""
        steps = self.judge.times.steps
        at_onset = {moment.onset: at for at, moment in enumerate(self.moments)}
        parts: Parts = {}
        fingers: list[Counter[int]] = [Counter() for _ in self.phrases]
        for note in fingering.notes:
            for hand in note.moments if not note.note.is_grace else ():
                if hand.drone is None or hand.is_drone_paused:
                    continue
                at = at_onset.get(steps(note.note.onset))
                if at is None or not self.moments[at].melody:
                    continue
                share = float(hand.duration / note.note.duration)
                parts[at] = min(1.0, parts.get(at, 0.0) + share)
                if hand.drone.finger:
                    number = self.phrase_of[note.bar_index]
                    fingers[number][hand.drone.finger] += int(steps(note.note.duration))
        return parts, fingers

    def _efforts(self, notes: Sequence[FingeredNote]) -> list[float]:
        """The hand's effort in each phrase, as often as it is played."""
        found = [0.0 for _ in self.phrases]
        for note in notes:
            found[self.phrase_of[note.bar_index]] += note.cost * self.times[note.bar_index]
        return found

    def _shifts(self, notes: Sequence[FingeredNote]) -> list[int]:
        """How often the hand changes its place in each phrase."""
        found = [0 for _ in self.phrases]
        for note in notes:
            found[self.phrase_of[note.bar_index]] += "shift" in note.ways
        return found


def _promising(
    view: _View, stops: Sequence[Stop], free: Sequence[int]
) -> list[tuple[Stop, list[int]]]:
    """The keys that might do better than the open strings if they cost the hand nothing, each with
    the phrases among ``free`` where they might, the most promising first."""
    found: list[tuple[float, Stop, list[int]]] = []
    for stop in stops:
        worth = view.worth(stop, view.beside(stop))
        gains = [a - b for a, b in zip(worth.values, view.open_values, strict=True)]
        phrases = [
            one
            for one, (gain, share) in enumerate(zip(gains, worth.shares, strict=True))
            if one in free and gain > LEAST_GAIN and share >= LEAST_SOUNDING
        ]
        if phrases:
            found.append((sum(gains[one] for one in phrases), stop, phrases))
    found.sort(key=lambda one: (-one[0], one[1].key, one[1].string_index))
    return [(stop, phrases) for _, stop, phrases in found[:TRIED]]
