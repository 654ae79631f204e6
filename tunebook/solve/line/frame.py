"""The frame of a tune: the tones that carry it, in the note values of the beat.

Every beat is struck with one of the tones that sound in it, or goes on with the tone before. The
frame is the cheapest way through each section of the tune, found exactly by dynamic programming
over its beats; the state is the tone and the beat on which it was struck. Its cost is the sum of

- what a beat loses: the weight of its weightiest tone, less the weight of the tone that is taken or
  goes on (nothing, where that does not sound in the beat at all);
- each tone struck on a weak beat, since fewer tones are easier, and one struck again where the tune
  does not strike it;
- each interval between tones wider than a third, by the semitone.

A tone's weight in a beat is the sum of

- the share of the beat through which it sounds (long notes);
- the strength of the place where it is struck, if it begins the beat (strong beats);
- whether it belongs to the chord, the more so just before a section ends (chord tones, cadences);
- the first note of a phrase, and the last; the last note of a section is always kept;
- a trace for the highest tone of the beat; and a tone that goes on weighs less where the tune is on
  another one as the beat begins.

The kinds of preference are those of the time-span reduction of Lerdahl & Jackendoff, A Generative
Theory of Tonal Music (1983), chapter 7, from memory: metrical position (rule 1), local harmony
(rule 2), registral extremes (rule 3), linear stability (rules 5 and 6) and cadential retention
(rule 7). The figures are our judgement. Bars, repeats, endings, upbeats, metres and keys stay what
they are; grace notes, ornaments, slurs, words and pins go; chord symbols and pinned drones stay in
their places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.model.arrangement import ChordSpan
from tunebook.model.tune import Bar, Note, Pitch, Tune
from tunebook.solve.drones.phrases import drone_phrases
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.harmony.names import chord_classes
from tunebook.solve.harmony.slots import starts_section
from tunebook.solve.line.beats import Beat, beats_of, is_one_note
from tunebook.solve.line.written import written_frame


@dataclass(frozen=True, slots=True)
class FrameWeights:
    """All of our judgement; a beat's length is 1. ``struck`` are those of the strengths of a
    place."""

    struck: tuple[float, float, float, float] = (1.0, 0.7, 0.5, 0.2)
    chord_tone: float = 0.6
    cadence: float = 0.3
    phrase_begins: float = 1.0
    phrase_ends: float = 1.5
    section_ends: float = 100.0
    highest: float = 0.05
    away: float = 0.3
    new_tone: tuple[float, float, float, float] = (0.0, 0.1, 0.2, 0.3)
    same_again: float = 0.15
    semitone: float = 0.04
    third: int = 4


@dataclass(frozen=True, slots=True)
class Place:
    """A beat with the tones that sound in it. ``weights`` and ``held`` are their weights where they
    are struck there and where they only go on; ``tied`` is the tone that a tie brings into it,
    ``begun`` the one that the tune strikes as it begins; all are empty in a beat of rest."""

    beat: Beat
    weights: dict[Pitch, float] = field(default_factory=dict)
    held: dict[Pitch, float] = field(default_factory=dict)
    tied: Pitch | None = None
    begun: Pitch | None = None

    @property
    def most(self) -> float:
        """The weight of the weightiest tone."""
        return max(self.weights.values(), default=0.0)


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone of the frame, from the beat ``first`` to before the beat ``end`` of its section; the
    pitch is None for a rest. ``is_tied`` where it goes on the tone before over a bar line."""

    pitch: Pitch | None
    first: int
    end: int
    is_tied: bool = False


def frame_of(
    tune: Tune, whole_notes_per_second: float, weights: FrameWeights = FrameWeights()
) -> Tune:
    """Return the frame of ``tune`` at this speed. Never raises for what a tune contains."""
    chords = choose_chords(tune)
    sections = []
    for bars in sections_of(tune):
        places = places_of(bars, tune, chords, whole_notes_per_second, weights)
        sections.append((bars, places, cheapest_frame(places, weights)))
    return written_frame(
        replace(tune, line="frame"),
        [
            (bars, [(tone.pitch, places[tone.first].beat.onset, places[tone.end - 1].beat.end,
                     tone.is_tied) for tone in tones])
            for bars, places, tones in sections
        ],
    )  # fmt: skip


def sections_of(tune: Tune) -> list[tuple[Bar, ...]]:
    """Runs of bars of which each is played after the one before: parts, endings, what leads to
    them."""
    sections: list[list[Bar]] = []
    before: Bar | None = None
    for bar in tune.bars:
        if not sections or bar.ending or starts_section(bar, before):
            sections.append([])
        sections[-1].append(bar)
        before = bar
    return [tuple(bars) for bars in sections]


def _ends_section(tune: Tune, last: Bar) -> bool:
    """Whether a part or an ending ends with this bar."""
    after = tune.bars[last.index + 1] if last.index + 1 < len(tune.bars) else None
    if after is None or last.ends_ending or ":" in last.sign_after:
        return True
    return starts_section(after, last)


def places_of(
    bars: Sequence[Bar],
    tune: Tune,
    chords: Sequence[ChordSpan],
    whole_notes_per_second: float,
    weights: FrameWeights,
) -> list[Place]:
    """The beats of a section with their tones, weighed."""
    beats = [
        beat for bar in bars if bar.duration > 0 for beat in beats_of(bar, whole_notes_per_second)
    ]
    places = [_weighed(beat, tune.bars[beat.bar_index], chords, weights) for beat in beats]
    begins, ends = _phrase_borders(tune)
    sounding = [at for at, place in enumerate(places) if place.weights]
    for at in sounding:
        notes = _notes_in(tune.bars[beats[at].bar_index], beats[at])
        for note in notes:
            if note.onset in begins:
                _add(places[at], _tone(note), weights.phrase_begins)
            if note.onset + note.duration in ends:
                _add(places[at], _tone(note), weights.phrase_ends)
    if sounding and _ends_section(tune, bars[-1]):
        final = sounding[-1]
        last = _notes_in(tune.bars[beats[final].bar_index], beats[final])[-1]
        _add(places[final], _tone(last), weights.section_ends)
        for at in sounding[-3:-1]:
            classes = _classes_at(chords, beats[at].onset)
            for pitch in places[at].weights:
                if pitch.midi % 12 in classes:
                    _add(places[at], pitch, weights.cadence)
    return places


def _add(place: Place, pitch: Pitch, weight: float) -> None:
    """Give a tone of the place more weight."""
    place.weights[pitch] += weight
    place.held[pitch] += weight


def _phrase_borders(tune: Tune) -> tuple[set[Fraction], set[Fraction]]:
    """When the first note of a phrase begins, and when its last one ends."""
    begins, ends = set(), set()
    for phrase in drone_phrases(tune):
        notes = [note for bar in phrase.bars for note in bar.notes if _sounds(note)]
        if notes:
            begins.add(notes[0].onset)
            ends.add(notes[-1].onset + notes[-1].duration)
    return begins, ends


def _sounds(note: Note) -> bool:
    return not (note.is_rest or note.is_grace or note.is_invisible or note.duration <= 0)


def _notes_in(bar: Bar, beat: Beat) -> list[Note]:
    return [
        note
        for note in bar.notes
        if _sounds(note) and note.onset < beat.end and note.onset + note.duration > beat.onset
    ]


def _tone(note: Note) -> Pitch:
    """The tone of a double stop that the frame has: the highest."""
    return max(note.pitches, key=lambda pitch: (pitch.midi, pitch))


def _classes_at(chords: Sequence[ChordSpan], onset: Fraction) -> tuple[int, ...]:
    for span in chords:
        if span.onset <= onset < span.onset + span.duration:
            return chord_classes(span.chord)
    return ()


def _weighed(beat: Beat, bar: Bar, chords: Sequence[ChordSpan], weights: FrameWeights) -> Place:
    notes = _notes_in(bar, beat)
    if not notes:
        return Place(beat)
    classes = _classes_at(chords, beat.onset)
    highest = max(_tone(note).midi for note in notes)
    held: dict[Pitch, float] = {}
    struck: dict[Pitch, float] = {}
    for note in notes:
        pitch = _tone(note)
        share = min(note.onset + note.duration, beat.end) - max(note.onset, beat.onset)
        if pitch not in held:
            held[pitch] = weights.highest * (pitch.midi == highest)
            held[pitch] += weights.chord_tone * (pitch.midi % 12 in classes)
            struck[pitch] = 0.0
        held[pitch] += float(share / beat.length)
        if note.onset <= beat.onset:
            struck[pitch] = weights.struck[beat.strength]
    first = notes[0]
    comes_tied = any(first.is_tied_from_before) and first.onset == beat.onset
    return Place(
        beat,
        {pitch: weight + struck[pitch] for pitch, weight in held.items()},
        {
            pitch: weight + struck[pitch]
            if _goes_on(first, pitch, beat, comes_tied)
            else max(0.0, weight - weights.away * (pitch != _tone(first)))
            for pitch, weight in held.items()
        },
        _tone(first) if comes_tied and beat.onset == bar.onset else None,
        _tone(first) if first.onset == beat.onset and not comes_tied else None,
    )


def _goes_on(first: Note, pitch: Pitch, beat: Beat, comes_tied: bool) -> bool:
    """Whether the tune too holds the tone into the beat."""
    return _tone(first) == pitch and (first.onset < beat.onset or comes_tied)


_State = tuple[Pitch | None, int, bool]
"""The tone, the beat on which it was struck, and whether a tie brought it there."""


def cheapest_frame(places: Sequence[Place], weights: FrameWeights) -> list[Tone]:
    """The frame of least cost over the beats of a section."""
    if not places:
        return []
    layers: list[dict[_State, tuple[float, _State | None]]] = []
    for at in range(len(places)):
        layer: dict[_State, tuple[float, _State | None]] = {}
        earlier = layers[-1] if layers else {None: (0.0, None)}
        for before, (cost, _) in earlier.items():
            for state, more in _ways_on(before, at, places, weights):
                known = layer.get(state)
                if known is None or cost + more < known[0] - 1e-12:
                    layer[state] = (cost + more, before)
        layers.append(layer)
    return _told(layers, places)


def _ways_on(
    before: _State | None, at: int, places: Sequence[Place], weights: FrameWeights
) -> list[tuple[_State, float]]:
    """The states of beat ``at`` that can follow, and what each costs."""
    place = places[at]
    ways: list[tuple[_State, float]] = []
    # A beat of a bar that does not fit its metre may be no one note; it is written as two.
    may_end = before is None or before[1] + 1 == at or is_one_note(_length(places, before[1], at))
    if may_end:
        for pitch in place.weights or (None,):
            cost = step_cost(before[0] if before else None, pitch, place, weights)
            ways.append(((pitch, at, False), cost))
    if before is None:
        return ways
    pitch, first, _ = before
    is_same_bar = places[first].beat.bar_index == place.beat.bar_index
    if is_same_bar and (pitch is not None or not place.weights):
        ways.append(((pitch, first, before[2]), hold_cost(pitch, place)))
    if not is_same_bar and may_end and pitch is not None and pitch == place.tied:
        ways.append(((pitch, at, True), hold_cost(pitch, place)))
    return ways


def _length(places: Sequence[Place], first: int, end: int) -> Fraction:
    return places[end - 1].beat.end - places[first].beat.onset


def step_cost(
    before: Pitch | None, pitch: Pitch | None, place: Place, weights: FrameWeights
) -> float:
    """What it costs to strike ``pitch`` at the beat after ``before``."""
    if pitch is None:
        return place.most
    cost = place.most - place.weights[pitch] + weights.new_tone[place.beat.strength]
    if before is not None:
        cost += weights.semitone * max(0, abs(pitch.midi - before.midi) - weights.third)
        if pitch == before and pitch != place.begun:
            cost += weights.same_again
    return cost


def hold_cost(pitch: Pitch | None, place: Place) -> float:
    """What it costs that ``pitch`` goes on through the beat."""
    return place.most - (0.0 if pitch is None else place.held.get(pitch, 0.0))


def _told(
    layers: Sequence[dict[_State, tuple[float, _State | None]]], places: Sequence[Place]
) -> list[Tone]:
    """The tones of the cheapest path; the last must be one note too."""
    count = len(places)
    ends = {
        state: cost
        for state, (cost, _) in layers[-1].items()
        if is_one_note(_length(places, state[1], count))
    } or {state: cost for state, (cost, _) in layers[-1].items()}
    least = min(ends.values(), default=math.inf)
    state: _State | None = next(one for one, cost in ends.items() if cost <= least + 1e-12)
    path: list[_State] = []
    for layer in reversed(layers):
        assert state is not None
        path.append(state)
        state = layer[state][1]
    tones: list[Tone] = []
    for at, (pitch, first, is_tied) in enumerate(reversed(path)):
        if tones and tones[-1].first == first:
            tones[-1] = replace(tones[-1], end=at + 1)
        else:
            tones.append(Tone(pitch, first, at + 1, is_tied))
    return tones


def frame_cost(tones: Sequence[Tone], places: Sequence[Place], weights: FrameWeights) -> float:
    """The cost of a frame, added up tone by tone."""
    cost = 0.0
    before: Pitch | None = None
    for number, tone in enumerate(tones):
        place = places[tone.first]
        if tone.is_tied:
            cost += hold_cost(tone.pitch, place)
        else:
            cost += step_cost(before if number else None, tone.pitch, place, weights)
        for at in range(tone.first + 1, tone.end):
            cost += hold_cost(tone.pitch, places[at])
        before = tone.pitch
    return cost
