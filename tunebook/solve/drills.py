"""Drills: scales over drones, and changes between two chords, as tunes of their own.

A drill is a Tune like any other, its drones and strings pinned, so that it is solved, written and
engraved as tunes are. What they practise is common practice, no source: the scale on a string over
the open string below, the same over each held key in turn, the two shapes of a change to and fro.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan, Stop
from tunebook.model.hand import Limits
from tunebook.model.instrument import Instrument, String
from tunebook.model.page_signs import with_signs
from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import Bar, ChordSymbol, DronePin, Key, Meter, Note, Pitch, Tempo, Tune
from tunebook.solve.chord_changes import ChordChange
from tunebook.solve.chord_names import spell_tone

MAJOR = (0, 2, 4, 5, 7, 9, 11)
HIGHEST_KEY = 7
QUARTERS_A_MINUTE = 66.0
QUARTER = Fraction(1, 4)
METER = Meter(4, 4, "4/4", (4,))
PLACE = SourcePlace("drills")


def open_drone_drill(instrument: Instrument, melody_string: int, title: str) -> Tune | None:
    """The scale on a string, up and down, over the open string below it.

    The scale is the drone's major scale as far as first position goes. None when there is no
    string below or the string has no keys.
    """
    return _drone_drill(instrument, melody_string, (0,), title)


def held_drone_drill(
    instrument: Instrument,
    melody_string: int,
    title: str,
    limits: Limits | None = None,
) -> Tune | None:
    """The scale on a string over each held key of the string below in turn: the keys of the open
    string's major scale within first position. None when that string has no keys."""
    if melody_string < 2:
        return None
    highest = _highest(instrument.string(melody_string - 1), limits)
    keys = tuple(key for key in range(1, highest + 1) if key in MAJOR)
    return _drone_drill(instrument, melody_string, keys, title) if keys else None


def chord_drill(changes: Sequence[ChordChange], title: str, key: Key) -> Tune | None:
    """Each change to and fro: two bars of half notes and two of quarters, then the next one. Of a
    broken shape the two highest strings are taken. None without any change."""
    bars: list[list[tuple[tuple[Pitch, ...], Fraction, ChordSymbol | None, None]]] = []
    for change in changes:
        pair = [(_tones(span), span.chord) for span in (change.before, change.after)]
        for length in (Fraction(1, 2), QUARTER):
            for _ in range(2):
                strokes = [pair[at % 2] for at in range(int(1 / length))]
                bars.append([(tones, length, chord, None) for tones, chord in strokes])
    return _tune(title, key, bars) if bars else None


def _drone_drill(
    instrument: Instrument, melody_string: int, drone_keys: Sequence[int], title: str
) -> Tune | None:
    """One section of two or more bars for each drone."""
    if not 2 <= melody_string <= len(instrument.strings):
        return None
    melody, below = instrument.string(melody_string), instrument.string(melody_string - 1)
    tonic = below.open_midi % 12
    key = _major_key(tonic)
    rising = [
        place
        for place in range(_highest(melody, None) + 1)
        if (melody.open_midi + place - tonic) % 12 in MAJOR
    ]
    if len(rising) < 2:
        return None
    bars = []
    for drone_key in drone_keys:
        midi = below.open_midi + drone_key
        pin = DronePin(PLACE, midi, None, below.name)
        line = [*rising, *reversed(rising[:-1])]
        line += [rising[0]] * (-len(line) % 4)
        for start in range(0, len(line), 4):
            bars.append([
                ((_spell(melody.open_midi + place, key),), QUARTER, None,
                 pin if start + at == 0 else None)
                for at, place in enumerate(line[start : start + 4])
            ])  # fmt: skip
    return _tune(title, key, bars, melody.name)


def _highest(string: String, limits: Limits | None) -> int:
    highest = min(HIGHEST_KEY, string.key_count)
    if limits is not None and limits.highest_key is not None:
        highest = min(highest, limits.highest_key)
    return highest


def _major_key(tonic_class: int) -> Key:
    """The major key on a pitch class with the smallest signature."""
    fifths = (tonic_class * 7 + 5) % 12 - 5
    step, alter = spell_in_key(tonic_class, Key(fifths=fifths))
    alters = [0] * 7
    for place in range(abs(fifths)):
        order = (3, 0, 4, 1, 5, 2, 6)
        alters[order[place] if fifths > 0 else order[6 - place]] = 1 if fifths > 0 else -1
    return Key(step, alter, "ionian", fifths, tuple(alters))


def _spell(midi: int, key: Key) -> Pitch:
    step, alter = spell_in_key(midi % 12, key)
    return Pitch((midi - Pitch(0, step, alter).midi) // 12, step, alter)


def _tones(span: ChordSpan) -> tuple[Pitch, ...]:
    stops: Sequence[Stop] = span.shape[-2:]
    return tuple(spell_tone(stop.midi, span.chord) for stop in stops)


def _tune(title: str, key: Key, bars: Sequence[Sequence[tuple]], string: str | None = None) -> Tune:
    """A tune of full bars in 4/4 from (pitches, length, chord, drone pin) of each note."""
    made = []
    for index, content in enumerate(bars):
        notes, onset = [], Fraction(index)
        for pitches, length, chord, pin in content:
            notes.append(_note(pitches, onset, length, chord, pin, string))
            onset += length
        is_last = index == len(bars) - 1
        made.append(Bar(
            PLACE, index, index + 1, tuple(notes), Fraction(index), Fraction(1), METER, key,
            sign_after="|]" if is_last else "|", breaks_line_after=index % 4 == 3 and not is_last,
        ))  # fmt: skip
    return Tune(
        place=PLACE, number="", titles=(title,), composer="", origin="", rhythm="", key=key,
        meter=METER, unit_length=Fraction(1, 8), tempo=Tempo(QUARTER, QUARTERS_A_MINUTE),
        bars=with_signs(made), played=tuple(range(len(made))),
    )  # fmt: skip


def _note(
    pitches: tuple[Pitch, ...],
    onset: Fraction,
    length: Fraction,
    chord: ChordSymbol | None,
    pin: DronePin | None,
    string: str | None,
) -> Note:
    nothing = tuple(None for _ in pitches)
    untied = tuple(False for _ in pitches)
    return Note(
        PLACE, pitches, onset, length, length, nothing, untied, untied, chord=chord,
        finger_pins=nothing, string_pin=string, drone_pin=pin,
    )  # fmt: skip
