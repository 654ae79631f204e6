"""Move a tune to another pitch, spelled as a musician would.

Spelling goes by the line of fifths (Temperley, The Cognition of Basic Musical Structures, 2001,
ch. 5): every name has a place on it (F -1, C 0, G 1, ... F# 6, Bb -2), and a transposition adds
one number to all of them, so that shown accidentals stay what they were.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from tunebook.model.spelling import fifths_of, name_at, with_signs
from tunebook.model.tune import (
    STEP_LETTERS,
    STEP_SEMITONES,
    AccentPin,
    Bar,
    ChordSymbol,
    DronePin,
    Key,
    Moved,
    Note,
    Pitch,
    Tune,
)
from tunebook.model.voices import with_all_bars

_MOST_SIGNS = 7


def transpose_tune(tune: Tune, semitones: int) -> Tune:
    """Return the tune moved by ``semitones`` (up when positive), in the key signature with the
    fewest accidentals. Chords and pinned drones move along. Pins of fingers and strings stay; the
    search leaves out those that the tune cannot keep at its new pitch, and says so."""
    if semitones == 0:
        return tune
    fifths = _fifths_to_add(tune.key.fifths, semitones)
    moved = replace(tune, key=_move_key(tune.key, fifths), moved=_moved(tune, semitones))
    return with_all_bars(
        moved, lambda bars: with_signs([_move_bar(bar, semitones, fifths) for bar in bars])
    )


def _moved(tune: Tune, semitones: int) -> Moved | None:
    """How the tune lies to what is written, after this move and those before."""
    before = tune.moved or Moved(0, tune.key)
    total = before.semitones + semitones
    return replace(before, semitones=total) if total else None


def semitones_to(tune: Tune, keynote: str, is_possible: Callable[[int], bool]) -> int:
    """Semitones by which to move ``tune`` for its keynote to be ``keynote`` ("D", "Bb"): the
    nearest way that ``is_possible``, else the nearest."""
    alter = {"": 0, "#": 1, "b": -1}[keynote[1:]]
    wanted = STEP_SEMITONES[STEP_LETTERS.index(keynote[0])] + alter
    distance = (wanted - tune.key.tonic_class) % 12
    ways = sorted((distance, distance - 12), key=abs)
    return next((way for way in ways if is_possible(way)), ways[0])


def _fifths_to_add(signature: int, semitones: int) -> int:
    """Places to move along the line of fifths: 7 semitones each, modulo 12."""
    around = (7 * semitones) % 12
    options = (around - 12, around, around + 12)
    return min(options, key=lambda fifths: (abs(signature + fifths), -fifths))


def _move_name(step: int, alter: int, fifths: int) -> tuple[int, int]:
    """Move a spelled name; triple accidentals are respelled an octave of fifths nearer."""
    place = fifths_of(step, alter) + fifths
    while place > 19:
        place -= 12
    while place < -15:
        place += 12
    return name_at(place)


def _move_pitch(pitch: Pitch, semitones: int, fifths: int) -> Pitch:
    step, alter = _move_name(pitch.step, pitch.alter, fifths)
    wanted = pitch.midi + semitones
    moved = Pitch(wanted // 12 - 1, step, alter, pitch.quarters)
    # B# and Cb lie across the octave's border from their natural letters.
    return replace(moved, octave=moved.octave + (wanted - moved.midi) // 12)


def _move_key(key: Key, fifths: int) -> Key:
    tonic = _move_name(key.tonic_step, key.tonic_alter, fifths)
    alters = [0] * 7
    for step, alter in enumerate(key.alters):
        moved_step, moved_alter = _move_name(step, alter, fifths)
        alters[moved_step] = moved_alter
    return replace(
        key,
        tonic_step=tonic[0],
        tonic_alter=tonic[1],
        fifths=key.fifths + fifths,
        alters=tuple(alters),
        explicit=tuple(_move_name(step, alter, fifths) for step, alter in key.explicit),
    )


def _move_chord(chord: ChordSymbol, fifths: int) -> ChordSymbol:
    root = _move_name(chord.root_step, chord.root_alter, fifths)
    bass = None if chord.bass is None else _move_name(*chord.bass, fifths)
    moved = replace(chord, root_step=root[0], root_alter=root[1], bass=bass)
    return replace(moved, text=moved.symbol)


def _move_note(note: Note, semitones: int, fifths: int) -> Note:
    return replace(
        note,
        pitches=tuple(_move_pitch(pitch, semitones, fifths) for pitch in note.pitches),
        chord=None if note.chord is None else _move_chord(note.chord, fifths),
        later_chords=tuple(
            (delay, _move_chord(chord, fifths)) for delay, chord in note.later_chords
        ),
        drone_pin=_move_pin(note.drone_pin, semitones),
        accent_pin=_move_pin(note.accent_pin, semitones),
    )


_Pin = TypeVar("_Pin", DronePin, AccentPin)


def _move_pin(pin: _Pin | None, semitones: int) -> _Pin | None:
    if pin is None or pin.midi is None:
        return pin
    return replace(pin, midi=pin.midi + semitones)


def without_pins(tune: Tune, *, keeps_drones: bool = False) -> Tune:
    """Return the tune free of pins, as to ask how it lies in another key; pinned drones stay in it
    if that is asked for."""
    return with_all_bars(tune, lambda bars: tuple(_free_bar(bar, keeps_drones) for bar in bars))


def _free_bar(bar: Bar, keeps_drones: bool) -> Bar:
    notes = (
        replace(
            note,
            finger_pins=(),
            string_pin=None,
            drone_pin=note.drone_pin if keeps_drones else None,
            accent_pin=None,
            trill_pin=None,
        )
        for note in bar.notes
    )
    return replace(bar, notes=tuple(notes))


def _move_bar(bar: Bar, semitones: int, fifths: int) -> Bar:
    """A bar whose own key would come to more than seven signs is respelled whole."""
    while bar.key.fifths + fifths > _MOST_SIGNS:
        fifths -= 12
    while bar.key.fifths + fifths < -_MOST_SIGNS:
        fifths += 12
    return replace(
        bar,
        key=_move_key(bar.key, fifths),
        notes=tuple(_move_note(note, semitones, fifths) for note in bar.notes),
        end_chord=None if bar.end_chord is None else _move_chord(bar.end_chord, fifths),
    )
