"""What a retuning changes in a tune and on the strings."""

from __future__ import annotations

import math
from collections.abc import Iterable

from tunebook.model.arrangement import Arrangement, FingeredNote
from tunebook.model.changes import StringChange, TuneChange
from tunebook.model.choices import Way
from tunebook.model.instrument import Instrument
from tunebook.model.tune import pitch_name
from tunebook.solve.harmony.names import says_chord

A4_HZ = 440.0
"""Concert pitch (ISO 16:1975)."""
RISKY_TENSION_PERCENT = 10.0
"""Above this rise the report warns. Our judgement; string makers' charts decide."""


def find_changes(identity: str, before: Arrangement, after: Arrangement) -> TuneChange:
    """Return what differs between two arrangements of the same tune."""
    old = {(note.bar_index, note.note_index): note for note in before.notes}
    pairs = [
        (old[place], note)
        for note in after.notes
        if (place := (note.bar_index, note.note_index)) in old
    ]
    moved = [new for was, new in pairs if _places(was) != _places(new)]
    refingered = [
        new for was, new in pairs if _places(was) == _places(new) and _fingers(was) != _fingers(new)
    ]
    drones = _drones(before), _drones(after)
    chords_after = _said_chords(after)
    return TuneChange(
        identity=identity,
        title=after.tune.title,
        moved_notes=len(moved),
        refingered_notes=len(refingered),
        crossed_stops=(_count(before, "crossed"), _count(after, "crossed")),
        row_jumps=(_count(before, "row_jump"), _count(after, "row_jump")),
        shifts=(_count(before, "shift"), _count(after, "shift")),
        out_of_compass=(_unplayable(before), _unplayable(after)),
        difficulty=(before.difficulty, after.difficulty),
        lost_drones=tuple(name for name in drones[0] if name not in drones[1]),
        gained_drones=tuple(name for name in drones[1] if name not in drones[0]),
        lost_chords=tuple(name for name in _said_chords(before) if name not in chords_after),
        changed_bars=frozenset(note.bar_index for note in (*moved, *refingered)),
        keys=None if before.tune.moved == after.tune.moved else (before.tune.key, after.tune.key),
    )


def find_string_changes(before: Instrument, after: Instrument) -> tuple[StringChange, ...]:
    """Return the retuning card, a line a string, lowest first; empty when no string is tuned
    anew, or the instruments have different numbers of strings or string lengths, so that no string
    is merely retuned.

    At equal length and mass tension goes with the square of the frequency (Mersenne's law,
    Harmonie universelle, 1636): the change in percent is 100 (2^(semitones/6) - 1).
    """
    if len(before.strings) != len(after.strings):
        return ()
    if not math.isclose(before.string_length_mm, after.string_length_mm):
        return ()
    pairs = list(zip(before.strings, after.strings, strict=True))
    if all(old.open_midi == new.open_midi for old, new in pairs):
        return ()
    lines = []
    for old, new in pairs:
        semitones = new.open_midi - old.open_midi
        tension = 100.0 * (2.0 ** (semitones / 6.0) - 1.0)
        lines.append(
            StringChange(
                index=new.index,
                pitch_before=pitch_name(old.open_midi),
                pitch_after=pitch_name(new.open_midi),
                hz_before=frequency_hz(old.open_midi),
                hz_after=frequency_hz(new.open_midi),
                cents=100.0 * semitones,
                tension_percent=tension,
                is_risky=tension > RISKY_TENSION_PERCENT,
            )
        )
    return tuple(lines)


def frequency_hz(midi: int) -> float:
    """Frequency of a MIDI key number in equal temperament at A4 = 440 Hz (ISO 16:1975)."""
    return A4_HZ * float(2.0 ** ((midi - 69) / 12.0))


def _places(note: FingeredNote) -> tuple[tuple[int, int], ...]:
    return tuple((stop.string_index, stop.key) for stop in note.stops)


def _fingers(note: FingeredNote) -> tuple[int, ...]:
    return tuple(stop.finger for stop in note.stops)


def _count(arrangement: Arrangement, way: Way) -> int:
    return sum(way in note.ways for note in arrangement.notes)


def _unplayable(arrangement: Arrangement) -> int:
    return sum(not note.stops for note in arrangement.notes)


def _drones(arrangement: Arrangement) -> tuple[str, ...]:
    return _unique(pitch_name(span.stop.midi) for span in arrangement.drone)


def _said_chords(arrangement: Arrangement) -> tuple[str, ...]:
    """Chords that at least one of their shapes says with root and third."""
    return _unique(span.chord.symbol for span in arrangement.chords if says_chord(span))


def _unique(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))
