"""Double stops on long or accented notes: a tone of the chord below the note, for as long as it.

An octave, a fifth, a sixth or a third below, or an open string's tone, that is in the chord and
lies under the hand while the melody's finger stays where it is (see ``under_hand``). Octaves and
their fingers (1 and 3, or 2 and 4): American Nyckelharpa Association, "Spela bättre! 3"; fifths,
sixths, thirds and open strings: common practice, no source.

A drone and a double stop exclude each other, since the bow sounds two strings: both are chosen in
one search, which is exact. The line of drones is priced as in ``open``.
"""

from __future__ import annotations

import statistics
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.errors import Message
from tunebook.model.arrangement import (
    Accent,
    ChordSpan,
    DroneSpan,
    FingeredNote,
    Stop,
)
from tunebook.model.names import bar_name
from tunebook.model.tune import AccentPin, Bar, Tune, pitch_name
from tunebook.solve.drones.consonance import consonance_table
from tunebook.solve.drones.held import EFFORT_WORTH
from tunebook.solve.drones.moments import BAR, BEAT, TIED, Lengths, Moment
from tunebook.solve.drones.open import (
    SILENCE,
    START_COSTS,
    change_cost,
    line_values,
    short_cost,
)
from tunebook.solve.drones.under_hand import Grip, UnderHand, busy_stops
from tunebook.solve.search.tree import best_on_tree
from tunebook.solve.times import whole_times

INTERVALS = frozenset({3, 4, 7, 8, 9, 12})
"""Semitones below the melody: third, fifth, sixth, octave."""
HARSH = frozenset({1, 2, 6})
"""Interval classes that no open string makes with the melody here."""
MARKS = frozenset({"accent", "marcato", "fermata", "sf", "sfz"})
"""Decorations that ask for weight."""
UPPER_NOTES = frozenset(
    {"trill", "trill(", "pralltriller", "uppermordent", "lowermordent", "roll", "turn", "turnx"}
)
"""Ornaments that want another finger."""
LONGER = 2
"""A long note is at least so many times as long as the tune's usual one; our judgement."""
LONGEST_QUARTERS = 4.0
"""Beyond that length a double stop is worth no more."""
MOST_EFFORT = 1.5
"""What asks more of the hand does not lie under it: a crossed stop the wrong way, say."""
LOWEST = 24
"""Semitones below the melody at which no open string is looked for any more."""

# In quarters of full consonance; our judgement.
DOUBLE_STOP_COST = 1.3
MARKED_WORTH = 1.0
"""More for a note that the tune marks."""
OCTAVE_WORTH = 0.2
AGAIN_COST = 0.8
"""A double stop right after another."""
PINNED_WORTH = 1000.0


class Option(NamedTuple):
    """A double stop that a note may have, and what it is worth for one playing."""

    grip: Grip
    value: float
    is_pinned: bool = False


class Sound(NamedTuple):
    """What sounds with a moment of the melody: a drone's string and age, or a double stop."""

    string: int
    age: int
    accent: Stop | None = None


SILENT = Sound(SILENCE, 0)


@dataclass(frozen=True)
class Line:
    """What sounds in each moment, and the worth of all of it over the tune as played."""

    sounds: tuple[Sound, ...]
    value: float

    @property
    def strings(self) -> tuple[int, ...]:
        """The string of the drone in each moment, SILENCE for none."""
        return tuple(one.string for one in self.sounds)


def best_accented_line(
    moments: Sequence[Moment], options: Sequence[Sequence[Option]], lengths: Lengths
) -> Line:
    """The best line of open-string drones and double stops. ``options`` are parallel to
    ``moments``, ``lengths`` decide whether a drone is short."""
    search = _Search(moments, options, lengths)
    sounds, value = best_on_tree([moment.parent for moment in moments], search.follow)
    return Line(sounds, value)


class _Search:
    """What may sound in each moment after what sounded before it, and its worth."""

    def __init__(
        self, moments: Sequence[Moment], options: Sequence[Sequence[Option]], lengths: Lengths
    ) -> None:
        self._moments = moments
        self._options = options
        self._lengths = lengths
        self._inner = {moment.parent for moment in moments}

    def follow(self, place: int, before: Sound | None) -> Iterator[tuple[Sound, float]]:
        """Each sound that may follow ``before`` (None at a root), with its worth."""
        moment = self._moments[place]
        if before is not None and _goes_on(moment, before):
            yield before, 0.0
            return
        state = SILENT if before is None else before
        gains = dict(moment.gains)
        for string in (SILENCE, *gains):
            sound = Sound(string, self._age(moment, state, string))
            value = gains.get(string, 0.0) - self._drone_cost(place, before, sound)
            yield sound, value * moment.times
        for option in self._options[place]:
            if _collide(state.accent, option.grip.stop):
                continue
            value = option.value - self._drone_cost(place, before, SILENT)
            value -= AGAIN_COST if state.accent is not None else 0.0
            yield Sound(SILENCE, 0, option.grip.stop), value * moment.times

    def _age(self, moment: Moment, before: Sound, string: int) -> int:
        if string == SILENCE:
            return 0
        goes_on = before.string == string and not moment.is_break
        return min(self._lengths.bar, (before.age if goes_on else 0) + moment.duration)

    def _drone_cost(self, place: int, before: Sound | None, sound: Sound) -> float:
        """What the line of drones costs here: to begin, to end, to change, to be short."""
        moment, string = self._moments[place], sound.string
        cost = 0.0
        if before is None:
            cost = START_COSTS[moment.place] if string else 0.0
        elif before.string != string or (moment.is_break and string):
            drone = before.string, before.age
            cost = change_cost(self._moments[moment.parent], moment, drone, string, self._lengths)
        if place not in self._inner:
            cost += short_cost(string, sound.age, self._lengths)
        return cost


def _goes_on(moment: Moment, before: Sound) -> bool:
    """Whether a double stop goes on: it lasts as long as its note with all that is tied to it."""
    return moment.place == TIED and before.accent is not None


def _collide(one: Stop | None, other: Stop) -> bool:
    """True where one finger would have to go to another key between two double stops."""
    return one is not None and 0 < one.finger == other.finger and one != other


def accented_value(
    moments: Sequence[Moment],
    options: Sequence[Sequence[Option]],
    line: Sequence[tuple[int, Stop | None]],
    lengths: Lengths,
) -> float:
    """What a given line is worth, worked out forwards and on its own; minus infinity where it
    cannot be. ``line`` gives for each moment the drone's string and the double stop."""
    total = sum(line_values(moments, [string for string, _ in line], lengths))
    for place, (moment, (string, stop)) in enumerate(zip(moments, line, strict=True)):
        before = line[moment.parent][1] if moment.parent >= 0 else None
        is_held = moment.place == TIED and before is not None
        if is_held and (stop != before or string):
            return float("-inf")
        if stop is None or is_held:
            continue
        values = [one.value for one in options[place] if one.grip.stop == stop]
        if string or not values or _collide(before, stop):
            return float("-inf")
        total += (max(values) - (AGAIN_COST if before is not None else 0.0)) * moment.times
    return total


def accent_options(
    tune: Tune,
    notes: Sequence[FingeredNote],
    moments: Sequence[Moment],
    under: UnderHand,
    chords: Sequence[ChordSpan],
    ruled: Sequence[tuple[Fraction, Fraction]] = (),
) -> tuple[tuple[Option, ...], ...]:
    """For each moment the double stops that it may have, the best first: none where its note is
    short and not marked, begins off the beat or within a stroke, or has an ornament.

    ``chords`` are the tune's, its own or solved; without one there is no double stop. At times that
    are ``ruled`` (from, to) by other wishes only those are had that the tune itself asks for.
    """
    judge = _Judge(tune, notes, under, chords)
    found = []
    for moment, note in zip(moments, _notes_of(tune, notes, moments), strict=True):
        options: Iterable[Option] = ()
        if note is not None and note.note.accent_pin is not None:
            options = judge.pinned(note, note.note.accent_pin)
        elif note is not None and not any(a <= note.note.onset < b for a, b in ruled):
            options = judge.options(moment, note)
        found.append(tuple(sorted(options, key=lambda one: (-one.value, one.grip.stop.finger))))
    return tuple(found)


class _Judge:
    """Which double stops a note may have, and what each is worth."""

    def __init__(
        self,
        tune: Tune,
        notes: Sequence[FingeredNote],
        under: UnderHand,
        chords: Sequence[ChordSpan],
    ) -> None:
        self._under = under
        self._chords = sorted(chords, key=lambda span: span.onset)
        self._ends = [span.onset + span.duration for span in self._chords]
        self._table = consonance_table()
        self._busy = busy_stops(tune, notes)
        self._inside = _inside_strokes(tune)
        struck = [_length(one) for one in notes if one.stops and not one.is_continued]
        lengths = [length for length in struck if length]
        beat = min(Fraction(1, 4), _beat(tune.bars[0])) if tune.bars else Fraction(1, 4)
        usual = statistics.median_low(lengths) if lengths else beat
        self._long = max(beat, LONGER * usual)

    def options(self, moment: Moment, note: FingeredNote) -> Iterator[Option]:
        if not self._is_eligible(moment, note):
            return
        own, place = note.stops[0], (note.bar_index, note.note_index)
        for midi in self._tones(note, own.midi):
            may_press = own.midi - midi in INTERVALS and _is_still(note)
            if not may_press and not self._under.is_open(midi):
                continue
            busy = self._busy.get(place, ())
            for grip in self._under.grips(own, note.hand_key, midi, busy):
                if grip.effort > MOST_EFFORT or (grip.stop.finger and not may_press):
                    continue
                yield Option(grip, self._value(moment, note, grip))

    def pinned(self, note: FingeredNote, pin: AccentPin) -> Iterator[Option]:
        """The double stops that the tune asks for: as pinned, wherever the hand reaches them."""
        if pin.midi is None or len(note.stops) != 1 or note.is_continued or not _is_still(note):
            return
        for grip in self._under.grips(note.stops[0], note.hand_key, pin.midi):
            if pin.finger is None or pin.finger == grip.stop.finger:
                value = PINNED_WORTH - EFFORT_WORTH * grip.effort
                yield Option(grip, value, is_pinned=True)

    def _is_eligible(self, moment: Moment, note: FingeredNote) -> bool:
        decorations = set(note.note.decorations)
        if len(note.stops) != 1 or note.is_continued or decorations & UPPER_NOTES:
            return False
        if (note.bar_index, note.note_index) in self._inside:
            return False
        is_weighty = moment.place <= BEAT and _length(note) >= self._long
        return is_weighty or bool(decorations & MARKS)

    def _tones(self, note: FingeredNote, melody: int) -> list[int]:
        """Tones below the melody that are in all chords of the note."""
        start, end = note.note.onset, note.note.onset + _length(note)
        classes: set[int] | None = None
        for at in range(bisect_right(self._ends, start), len(self._chords)):
            span = self._chords[at]
            if span.onset >= end:
                break
            tones = _triad(span)
            classes = tones if classes is None else classes & tones
        lowest = max(0, melody - LOWEST)
        return [
            midi
            for midi in range(melody - 1, lowest - 1, -1)
            if midi % 12 in (classes or ()) and _class_of(melody - midi) not in HARSH
        ]

    def _value(self, moment: Moment, note: FingeredNote, grip: Grip) -> float:
        apart = note.stops[0].midi - grip.stop.midi
        quarters = min(LONGEST_QUARTERS, 4.0 * float(_length(note)))
        at_bar, at_beat, between = self._table.accents
        accent = at_bar if moment.place <= BAR else at_beat if moment.place == BEAT else between
        value = quarters * accent * self._table.scaled(self._table.of_interval(apart))
        value += OCTAVE_WORTH if apart == 12 else 0.0
        value += MARKED_WORTH if MARKS & set(note.note.decorations) else 0.0
        return value - DOUBLE_STOP_COST - EFFORT_WORTH * grip.effort


def _class_of(semitones: int) -> int:
    return min(semitones % 12, -semitones % 12)


def _triad(span: ChordSpan) -> set[int]:
    """Pitch classes of the chord's root, third and fifth; root and fifth where it has no third."""
    above = {
        "minor": (0, 3, 7),
        "major": (0, 4, 7),
        "diminished": (0, 3, 6),
        "augmented": (0, 4, 8),
    }.get(span.chord.quality, (0, 7))
    return {(span.chord.root_class + one) % 12 for one in above}


def _beat(bar: Bar) -> Fraction:
    if bar.meter.is_free:
        return Fraction(1, 4)
    return Fraction(3 if bar.meter.is_compound else 1, bar.meter.unit)


def _length(note: FingeredNote) -> Fraction:
    """How long a note sounds with all that is tied to it, in whole notes; 0 for a grace note."""
    if note.note.is_grace:
        return Fraction(0)
    return sum((one.duration for one in note.moments), Fraction(0)) or note.note.duration


def _is_still(note: FingeredNote) -> bool:
    """Whether the hand stays as it is through the note, and holds nothing else."""
    return all(
        one.stops == note.stops and one.hand_key == note.hand_key and one.drone is None
        for one in note.moments
    )


def _inside_strokes(tune: Tune) -> set[tuple[int, int]]:
    """The notes (bar and note index) that a slur joins to the one before."""
    found: set[tuple[int, int]] = set()
    depth = 0
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            if depth > 0:
                found.add((bar.index, index))
            depth = max(0, depth + note.slurs_opened - note.slurs_closed)
    return found


def _notes_of(
    tune: Tune, notes: Sequence[FingeredNote], moments: Sequence[Moment]
) -> list[FingeredNote | None]:
    """The fingered note of each moment, None for a rest."""
    steps = whole_times(tune).steps
    timed = {
        (one.bar_index, steps(one.note.onset)): one
        for one in notes
        if not one.note.is_grace and one.note.duration
    }
    return [timed.get((moment.bar_index, moment.onset)) for moment in moments]


def accents_of(
    tune: Tune,
    notes: Sequence[FingeredNote],
    moments: Sequence[Moment],
    options: Sequence[Sequence[Option]],
    line: Line,
) -> tuple[Accent, ...]:
    """The double stops of a line, in written order."""
    found = []
    fingered = _notes_of(tune, notes, moments)
    for note, some, sound in zip(fingered, options, line.sounds, strict=True):
        option = next((one for one in some if one.grip.stop == sound.accent), None)
        if note is not None and option is not None:
            found.append(
                Accent(
                    bar_index=note.bar_index,
                    note_index=note.note_index,
                    span=DroneSpan(note.note.onset, _length(note), option.grip.stop),
                    below=note.stops[0].midi - option.grip.stop.midi,
                    effort=option.grip.effort,
                    is_pinned=option.is_pinned,
                )
            )
    return tuple(found)


def unheard_pins(
    tune: Tune, notes: Sequence[FingeredNote], accents: Sequence[Accent]
) -> list[Message]:
    """What is to be said of double stops that the tune asks for and that cannot be."""
    heard = {(one.bar_index, one.note_index) for one in accents}
    found = []
    for note in notes:
        pin = note.note.accent_pin
        if pin is None or pin.midi is None or (note.bar_index, note.note_index) in heard:
            continue
        what = (
            f"{bar_name(tune.bars[note.bar_index].number)}: the double stop "
            f"{pitch_name(pin.midi)} does not lie under the hand with this note"
        )
        found.append(Message(pin.place, "pin", what, "choose another tone or finger"))
    return found
