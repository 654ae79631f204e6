"""Drones tried with the melody: how well each goes with it, and what it costs the left hand.

How well a held tone goes with a melody is read from a table (Huron 1994, see
data/harmony/consonance.toml); each tone of the melody counts with its length and with where in the
bar it begins. What the drone costs is solved phrase by phrase."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib import resources

from tunebook.model.arrangement import DroneDemand, Stop
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Tune
from tunebook.solve.fingering.answer import event_costs
from tunebook.solve.fingering.move_tables import tables_for
from tunebook.solve.fingering.problem import Problem, pose_problem
from tunebook.solve.harmony.slots import starts_section
from tunebook.solve.search.shortest_path import cheapest_path
from tunebook.solve.times import Same, WholeTimes, whole_times


@dataclass(frozen=True, slots=True)
class ConsonanceTable:
    """``by_class[i]`` is the consonance of interval class i (0 to 6 semitones); ``accents`` are the
    weights of tones that begin a bar, a beat, or between."""

    by_class: tuple[float, ...]
    accents: tuple[float, float, float]

    def of_interval(self, semitones: int) -> float:
        """Consonance of an interval of any size: octaves do not count, nor which tone is lower."""
        within = semitones % 12
        return self.by_class[min(within, 12 - within)]

    def scaled(self, value: float) -> float:
        """The value laid between 0 (the harshest class) and 1 (the most consonant)."""
        low, high = min(self.by_class), max(self.by_class)
        return (value - low) / (high - low)


@functools.lru_cache(maxsize=1)
def consonance_table() -> ConsonanceTable:
    """Read the table that comes with the program."""
    text = resources.files("tunebook").joinpath("data/harmony/consonance.toml").read_text("utf-8")
    data = tomllib.loads(text)
    accent = data["accent"]
    return ConsonanceTable(
        tuple(data["interval_class"]), (accent["bar"], accent["beat"], accent["between"])
    )


def weigh_tones(tune: Tune, bars: Iterable[Bar] | None = None) -> tuple[float, ...]:
    """Weight of each pitch class (0 = C) in these bars: length in whole notes times accent."""
    weighed = _weighed_bars(Same(tune))
    weights = [0.0] * 12
    for bar in tune.bars if bars is None else bars:
        for pitch_class, weight in weighed[bar.index]:
            weights[pitch_class] += weight
    return tuple(weights)


@functools.lru_cache(maxsize=1)
def _weighed_bars(same: Same) -> list[list[tuple[int, float]]]:
    """(pitch class, weight) of every tone of each bar."""
    times = whole_times(same.tune)
    found = []
    for bar, notes in zip(same.tune.bars, times.notes, strict=True):
        tones: list[tuple[int, float]] = []
        for note, (onset, duration) in zip(bar.notes, notes, strict=True):
            if note.is_grace or note.is_rest:
                continue
            weight = duration / times.per_whole * _accent(bar, onset, times)
            count = len(note.pitches)
            tones += [(pitch.midi % 12, weight / count) for pitch in note.pitches]
        found.append(tones)
    return found


def consonance(midi: int, tones: Sequence[float]) -> float:
    """Consonance, 0 (harsh) to 1, of a held tone with tones weighted as by ``weigh_tones``."""
    table = consonance_table()
    total = sum(tones)
    if total <= 0:
        return 0.0
    value = sum(
        weight * table.of_interval(pitch_class - midi) for pitch_class, weight in enumerate(tones)
    )
    return table.scaled(value / total)


def _accent(bar: Bar, onset: int, times: WholeTimes) -> float:
    at_bar, at_beat, between = consonance_table().accents
    start, duration = times.bars[bar.index]
    into = onset - start
    if bar.is_pickup:
        into += times.of_meter(bar.meter) - duration
    if into == 0:
        return at_bar
    beat = (3 if bar.meter.is_compound else 1) * (times.per_whole // bar.meter.unit)
    return at_beat if into % beat == 0 else between


PHRASE_MEASURES = 8


@dataclass(frozen=True, slots=True)
class Phrase:
    """Bars that may have a drone of their own: a part of the tune, eight measures at most."""

    bars: tuple[Bar, ...]

    @property
    def onset(self) -> Fraction:
        return self.bars[0].onset

    @property
    def end(self) -> Fraction:
        return self.bars[-1].onset + self.bars[-1].duration


@dataclass(frozen=True, slots=True)
class Trial:
    """A drone held through the whole tune, solved. ``cost_per_s`` and ``costs`` (by phrase) are
    per second of music; ``sounding`` the part of the melody's time at which it sounds; ``finger``
    the one that holds it longest, 0 for an open string."""

    cost_per_s: float
    costs: tuple[float, ...]
    sounding: float
    finger: int


def drone_phrases(tune: Tune) -> tuple[Phrase, ...]:
    """The phrases of ``tune`` in written order; a pickup belongs to the phrase that it leads to,
    numbered endings to the part that they end."""
    phrases: list[list[Bar]] = []
    measures = 0
    before: Bar | None = None
    for bar in tune.bars:
        is_long = measures >= PHRASE_MEASURES and not bar.ending and not bar.is_continued
        if starts_section(bar, before) or is_long:
            phrases.append([])
            measures = 0
        phrases[-1].append(bar)
        measures += bar.duration >= bar.meter.length
        before = bar
    merged: list[Phrase] = []
    for bars in phrases:
        has_music = any(not note.is_rest for bar in bars for note in bar.notes)
        is_fragment = sum((bar.duration for bar in bars), Fraction(0)) < bars[0].meter.length
        if merged and (is_fragment or not has_music):
            merged[-1] = Phrase((*merged[-1].bars, *bars))
        else:
            merged.append(Phrase(tuple(bars)))
    return tuple(merged)


def demand_for(stop: Stop, phrase: Phrase, finger: int | None = None) -> DroneDemand:
    """The demand to hold ``stop`` through ``phrase``."""
    length = phrase.end - phrase.onset
    return DroneDemand(phrase.onset, length, stop.string_index, stop.key, finger)


def try_drone(
    tune: Tune,
    phrases: Sequence[Phrase],
    instrument: Instrument,
    hand: Hand,
    limits: Limits,
    whole_notes_per_second: float,
    drone: Stop | None,
) -> Trial:
    """Solve ``tune`` as written (repeats not tied) with ``drone`` held throughout."""
    tables = tables_for(instrument, hand, limits)
    whole = Phrase(tune.bars)
    demands = () if drone is None else (demand_for(drone, whole),)
    problem = pose_problem(tune, tables, whole_notes_per_second, demands)
    if not problem.sets:
        return Trial(0.0, tuple(0.0 for _ in phrases), 0.0, 0)
    path = cheapest_path(replace(problem.layers, leaps=()))
    by_event = event_costs(problem, path.states)
    phrase_of = {bar.index: number for number, phrase in enumerate(phrases) for bar in phrase.bars}
    sums = [0.0] * len(phrases)
    for event, cost in zip(problem.order.events, by_event, strict=True):
        sums[phrase_of[event.bar]] += cost
    costs = []
    for phrase, inside in zip(phrases, sums, strict=True):
        seconds = float(phrase.end - phrase.onset) / whole_notes_per_second
        costs.append(inside / seconds if seconds else 0.0)
    seconds = float(whole.end - whole.onset) / whole_notes_per_second
    sounding, finger = _held(problem, path.states, drone)
    return Trial(sum(by_event) / seconds if seconds else 0.0, tuple(costs), sounding, finger)


def _held(problem: Problem, rows: Sequence[int], drone: Stop | None) -> tuple[float, int]:
    """(part of the melody's time at which the drone sounds, the finger that holds it longest)."""
    if drone is None:
        return 0.0, 0
    total = heard = 0.0
    fingers: dict[int, float] = {}
    order = problem.order
    for event, length, layer, row in zip(
        order.events, order.lengths, problem.sets, rows, strict=True
    ):
        if event.is_grace:
            continue
        total += length
        if not layer.pause[row]:
            heard += length
            holder = layer.postures[row].holder
            if holder:
                fingers[holder] = fingers.get(holder, 0.0) + length
    finger = max(fingers, key=lambda one: (fingers[one], -one), default=0)
    return heard / total if total else 0.0, finger
