"""The moments of a fingered melody, and what each open string would be worth in them.

A moment is a note of the melody: a drone begins and ends with a stroke of the bow. What a drone
is worth is counted in quarters of full consonance: how well it goes with the melody's tone
(interval classes by Huron 1994, see data/harmony/consonance.toml, weighted by length and accent),
whether it is keynote or fifth, and whether it belongs to the chord. Where it would clash on a beat
by a semitone or a tritone, and where it is the third of the chord, it is silent (common practice,
no source).

Moments form a tree: the one after a second ending comes from the same one as that after the first,
and each counts as often as it is played.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.arrangement import ChordSpan, DroneDemand, FingeredNote, Stop
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Tune
from tunebook.solve.drones.consonance import consonance_table
from tunebook.solve.harmony.slots import heard_key, starts_section
from tunebook.solve.times import WholeTimes, whole_times

PHRASE, BAR, BEAT, BETWEEN, TIED = range(5)
"""Where a moment begins: with a phrase of four bars, with a bar, on a beat, between beats, or with
a note that is tied from the one before, so that no stroke begins."""
PHRASE_BARS = 4

LEAST_CONSONANCE = 0.5
"""Consonance (0 to 1) at which a drone is worth as much as silence; our judgement."""
TONIC_BONUS, FIFTH_BONUS, OTHER_COST, STRANGE_COST = 0.25, 0.15, 0.25, 0.6
"""For each quarter: a drone on the keynote, on the fifth, on another tone of the key's chords, on
a second, a tritone or a seventh; our judgement."""
STRANGE = frozenset({1, 2, 6, 10, 11})
CHORD_WORTHS = {0: 0.15, 7: 0.05}
"""For each quarter in which the drone is the root or the fifth of the chord, where it is worth less
as a tone of the key: it goes with the harmony for a while; our judgement."""
OFF_CHORD_COST, FOREIGN_COST = 0.3, 0.6
"""For each quarter in which the drone is no tone of the chord: keynote and fifth, others; our
judgement."""
THIRD_COST = 0.6
"""The same where it is the chord's third, of a drone that is held all the same."""
ABOVE_COST = 0.05
"""For each quarter of a drone above the melody, which covers it; our judgement."""
UNISON_COST = 0.1
"""For each quarter in which the melody itself is on the open string: the bow sounds one string."""
CLASHES = frozenset({1, 6})
"""Interval classes that are silent on a beat: semitone (or major seventh) and tritone."""
PINNED_WORTH = 4.0
"""A quarter of a drone that is asked for: more than any that is not."""

CLASH, THIRD = "clash", "third"
"""Why a string is silent: its tone against the melody's, or against the chord."""


class Moment(NamedTuple):
    """One note of the melody. ``onset`` and ``duration`` are in steps of the tune's whole times,
    ``melody`` is the melody's string (0 for a rest or a double stop) and ``midi`` its tone,
    ``gains`` the value of each open string that may sound (string index, value for one playing),
    ``barred`` the strings that are silent here though they lie beside the melody's (string index,
    CLASH or THIRD). ``place``
    is one of PHRASE to TIED; ``is_break`` where a drone begins anew; ``parent`` the moment before
    it as first played, -1 for none; ``times`` how often it is played."""

    bar_index: int
    onset: int
    duration: int
    melody: int
    midi: int
    gains: tuple[tuple[int, float], ...]
    barred: tuple[tuple[int, str], ...]
    place: int
    is_break: bool
    parent: int
    times: int


Gains = tuple[tuple[int, float], ...]
Barred = tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Wishes:
    """What is asked for. While one of the open strings in ``pinned`` is, no other sounds, and it
    does wherever the bow reaches it; while another drone is ``taken`` up, or at any other time that
    is ``ruled`` (from, to), none does."""

    pinned: tuple[DroneDemand, ...] = ()
    taken: tuple[DroneDemand, ...] = ()
    ruled: tuple[tuple[Fraction, Fraction], ...] = ()

    @property
    def are_none(self) -> bool:
        return not (self.pinned or self.taken or self.ruled)

    def bars_all(self, time: Fraction) -> bool:
        """Whether no open string may sound at this time, ``pinned`` ones aside."""
        if _asked(self.taken, time) is not None:
            return True
        return any(first <= time < last for first, last in self.ruled)


def drone_moments(
    tune: Tune,
    notes: Sequence[FingeredNote],
    instrument: Instrument,
    chords: Sequence[ChordSpan] = (),
    wishes: Wishes | None = None,
) -> tuple[Moment, ...]:
    """The moments of ``tune`` in written order, its melody fingered as ``notes`` says.

    ``chords`` are the tune's, its own or solved.
    """
    judge = DroneJudge(tune, instrument, chords)
    fingered = {(one.bar_index, one.note_index): one for one in notes}
    counts = Counter(tune.played)
    parents = _parents(tune)
    moments: list[Moment] = []
    last_of: dict[int, int] = {}
    for bar, is_phrase, is_section in _bars(tune):
        parent = last_of.get(parents.get(bar.index, bar.index - 1), -1)
        strokes = _strokes(bar, judge.times)
        for at, (number, onset, duration) in enumerate(strokes):
            one = fingered.get((bar.index, number))
            stops = () if one is None else one.stops
            place = _place(bar, onset, judge.times, is_phrase=is_phrase)
            gains, barred = judge.strings(bar, stops, onset, duration, place, wishes or Wishes())
            moments.append(
                Moment(
                    bar_index=bar.index,
                    onset=onset,
                    duration=duration,
                    melody=stops[0].string_index if len(stops) == 1 else 0,
                    midi=stops[0].midi if len(stops) == 1 else 0,
                    gains=gains,
                    barred=barred,
                    place=TIED if one is not None and one.is_continued else place,
                    is_break=is_section and at == 0,
                    parent=len(moments) - 1 if at else parent,
                    times=counts[bar.index] or 1,
                )
            )
        if strokes:
            last_of[bar.index] = len(moments) - 1
        elif parent >= 0:
            last_of[bar.index] = parent
    return tuple(moments)


class Lengths(NamedTuple):
    """What makes a drone short, in steps: a ``beat`` (a quarter note where that is shorter) and a
    ``bar`` (three quarter notes where that is longer, a whole note in a free metre)."""

    beat: int
    bar: int


def drone_lengths(tune: Tune, times: WholeTimes) -> Lengths:
    """The lengths by which drones of ``tune`` are judged."""
    quarter = times.per_whole // 4 or 1
    if not tune.bars:
        return Lengths(quarter, 4 * quarter)
    beat = min(quarter, _beat(tune.bars[0], times))
    return Lengths(beat, max(3 * quarter, times.of_meter(tune.bars[0].meter) or 4 * quarter))


class DroneJudge:
    """What drones are worth with one tune. Asked for moments in written order."""

    def __init__(
        self, tune: Tune, instrument: Instrument, chords: Sequence[ChordSpan] = ()
    ) -> None:
        self.times = whole_times(tune)
        self._instrument = instrument
        self._table = consonance_table()
        self._keys = {
            number: heard_key(tune, key)
            for number, key in {id(bar.key): bar.key for bar in tune.bars}.items()
        }
        per_whole = self.times.per_whole
        self._chords = [
            (float(per_whole * span.onset), float(per_whole * (span.onset + span.duration)), span)
            for span in chords
        ]
        self._ends = [end for _, end, _ in self._chords]
        self._tones = {string.index: string.open_midi for string in instrument.strings}
        self._worths: dict[tuple[int, int, int, int], tuple[float, str]] = {}

    def strings(
        self,
        bar: Bar,
        stops: Sequence[Stop],
        onset: int,
        duration: int,
        place: int,
        wishes: Wishes,
    ) -> tuple[Gains, Barred]:
        """The open strings that may sound with the melody's ``stops``, and those that may not
        though the bow would reach them."""
        asked, is_barred = None, False
        if not wishes.are_none:
            time = Fraction(onset, self.times.per_whole)
            asked = _asked(wishes.pinned, time)
            is_barred = asked is None and wishes.bars_all(time)
        if asked is not None and not stops:
            return ((asked.string_index, 0.0),), ()  # it may go on through a rest
        if len(stops) != 1 or is_barred:
            return (), ()
        melody = stops[0].string_index
        quarters = 4.0 * duration / self.times.per_whole
        beside = [one for one in (melody - 1, melody, melody + 1) if one in self._tones]
        if stops[0].key:
            beside.remove(melody)
        if asked is not None:
            pinned = [one for one in beside if asked.string_index == one]
            return tuple((one, PINNED_WORTH * quarters) for one in pinned), ()
        found, barred = [], []
        for string in beside:
            if string == melody:
                found.append((string, -UNISON_COST * quarters))
                continue
            value, why = self.value(bar, self._tones[string], stops[0].midi, onset, duration, place)
            if why:
                barred.append((string, why))
            else:
                found.append((string, value - ABOVE_COST * quarters if string > melody else value))
        return tuple(found), tuple(barred)

    def value(
        self, bar: Bar, drone: int, melody: int, onset: int, duration: int, place: int
    ) -> tuple[float, str]:
        """(value of the MIDI tone ``drone`` during a note of the melody, why it is silent)."""
        worth, why = self._worth(bar, drone, melody, place)
        quarter = self.times.per_whole
        value = 4.0 * duration / quarter * worth
        for part, span in self._chords_during(onset, duration):
            above = (drone - span.chord.root_class) % 12
            if above in _THIRDS.get(span.chord.quality, ()):
                why = why or THIRD
                value -= 4.0 * part / quarter * THIRD_COST
            elif above in CHORD_WORTHS:
                more = CHORD_WORTHS[above] - self._degree_value(bar, drone)
                value += 4.0 * part / quarter * max(0.0, more)
            else:
                is_of_key = self._degree_value(bar, drone) > 0.0
                cost = OFF_CHORD_COST if is_of_key else FOREIGN_COST
                value -= 4.0 * part / quarter * cost
        return value, why

    def _worth(self, bar: Bar, drone: int, melody: int, place: int) -> tuple[float, str]:
        """What a quarter of ``drone`` is worth whatever the chord, and whether it clashes."""
        asked = id(bar.key), drone, melody, place
        if asked not in self._worths:
            apart = (melody - drone) % 12
            sweet = self._table.scaled(self._table.of_interval(apart)) - LEAST_CONSONANCE
            at_bar, at_beat, between = self._table.accents
            accent = {PHRASE: at_bar, BAR: at_bar, BEAT: at_beat}.get(place, between)
            is_clash = min(apart, 12 - apart) in CLASHES and place <= BEAT
            worth = sweet * accent + self._degree_value(bar, drone)
            self._worths[asked] = worth, CLASH if is_clash else ""
        return self._worths[asked]

    def _chords_during(self, onset: int, duration: int) -> Iterator[tuple[float, ChordSpan]]:
        """(steps, chord) of the chords that sound during a note."""
        end = onset + duration
        for at in range(bisect_right(self._ends, onset), len(self._ends)):
            begin, until, span = self._chords[at]
            if begin >= end:
                break
            yield float(min(until, end) - max(begin, onset)), span

    def _degree_value(self, bar: Bar, midi: int) -> float:
        above = (midi - self._keys[id(bar.key)].tonic_class) % 12
        if above in STRANGE:
            return -STRANGE_COST
        return {0: TONIC_BONUS, 7: FIFTH_BONUS}.get(above, -OTHER_COST)


_THIRDS = {"minor": (3,), "diminished": (3,), "major": (4,), "augmented": (4,)}
"""Semitones from the root to the chord's third; none where the quality names none."""


def _asked(demands: Sequence[DroneDemand], time: Fraction) -> DroneDemand | None:
    return next((one for one in demands if one.onset <= time < one.end), None)


def _bars(tune: Tune) -> Iterator[tuple[Bar, bool, bool]]:
    """(bar, whether a phrase begins with it, whether a section does)."""
    measure = 0
    before: Bar | None = None
    for bar in tune.bars:
        is_section = starts_section(bar, before)
        measure = 0 if is_section else measure
        yield bar, measure % PHRASE_BARS == 0, is_section
        measure += bar.duration >= bar.meter.length
        before = bar


def _strokes(bar: Bar, times: WholeTimes) -> list[tuple[int, int, int]]:
    """(number of the note, onset, duration) of all notes and rests that take time."""
    return [
        (number, onset, duration)
        for number, (note, (onset, duration)) in enumerate(
            zip(bar.notes, times.notes[bar.index], strict=True)
        )
        if duration and not note.is_grace
    ]


def _missing(bar: Bar, times: WholeTimes) -> int:
    """What a pickup lacks of a full bar, so that beats are counted from its end (as a shift)."""
    if not bar.is_pickup:
        return 0
    return times.bars[bar.index][1] - times.of_meter(bar.meter)


def _beat(bar: Bar, times: WholeTimes) -> int:
    if bar.meter.is_free:
        return times.per_whole // 4 or 1
    unit = times.per_whole // bar.meter.unit
    return (3 * unit if bar.meter.is_compound else unit) or 1


def _place(bar: Bar, onset: int, times: WholeTimes, *, is_phrase: bool) -> int:
    into = onset - times.bars[bar.index][0] - _missing(bar, times)
    if into == 0:
        return PHRASE if is_phrase else BAR
    return BEAT if into % _beat(bar, times) == 0 else BETWEEN


def _parents(tune: Tune) -> dict[int, int]:
    """For each bar the bar played before it when it is first played."""
    found: dict[int, int] = {}
    before = -1
    for index in tune.played or range(len(tune.bars)):
        if index not in found:
            found[index] = before if before < index else index - 1
        before = index
    return found
