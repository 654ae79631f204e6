"""The chords of a tune written beside it, a line of symbols by bar: ``D | G A7 | D . G``.

A bar with one symbol holds it throughout; several share the bar's beats evenly; where they cannot,
there is a symbol or a dot (the chord before goes on) for each beat. An empty bar goes on with the
chord before. Bars are those that a player counts: the upbeat has none, a bar that a repeat sign
cuts is one, numbered endings each have theirs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.names import bar_name
from tunebook.model.tune import Bar, ChordSymbol, Meter, Note, Tune
from tunebook.read.abc.symbols import read_chord_symbol

HELD = "."


def with_chord_line(tune: Tune, line: str, place: SourcePlace) -> Tune:
    """Return the tune with these chords in place of its own. Raises ValueError, in the words of a
    message "what is wrong; what to do", when the line does not fit the bars."""
    cells = [cell.split() for cell in _cells(line)]
    numbers = sorted({bar.number for bar in tune.bars if bar.number and bar.duration})
    if len(cells) != len(numbers):
        raise ValueError(
            f"there are {len(cells)} bars of chords, and the tune has {len(numbers)} bars; write "
            "one for each bar, endings too, but none for the upbeat"
        )
    chords: list[tuple[Fraction, ChordSymbol]] = []
    for number, cell in zip(numbers, cells, strict=True):
        halves = [bar for bar in tune.bars if bar.number == number]
        chords += _chords_of(cell, halves, number, place)
    bars = tuple(_with_chords(bar, chords) for bar in tune.bars)
    return replace(tune, bars=bars)


def _cells(line: str) -> list[str]:
    """What stands between bar lines; those at the ends of the line, and signs of repeats, may be
    written or not."""
    text = re.sub(r"[:\[\]]", "", line).strip()
    text = text.removeprefix("|").lstrip("|").rstrip("|")
    return re.split(r"\|+", text)


def _chords_of(
    cell: Sequence[str], halves: Sequence[Bar], number: int, place: SourcePlace
) -> list[tuple[Fraction, ChordSymbol]]:
    """The chords of one bar with the times at which they begin."""
    start = halves[0].onset
    length = sum((bar.duration for bar in halves), Fraction(0))
    beats = [beat for beat in _beats(halves[0].meter, length) if beat < length]
    if cell and len(beats) % len(cell):
        raise ValueError(
            f"{bar_name(number)} has {len(cell)} chords and {len(beats)} beats; write a symbol or "
            "a dot for each beat"
        )
    step = len(beats) // len(cell) if cell else 1
    found = []
    for at, word in enumerate(cell):
        if word == HELD:
            continue
        chord = read_chord_symbol(word, place)
        if chord is None:
            raise ValueError(
                f"{word!r} in {bar_name(number)} is no chord symbol; write D, Em, A7 or D/F#"
            )
        found.append((start + beats[at * step], chord))
    return found


def _beats(meter: Meter, length: Fraction) -> list[Fraction]:
    """Where the beats of a bar begin; a bar of free metre is one beat."""
    if meter.is_free:
        return [Fraction(0)]
    unit = Fraction(1, meter.unit)
    if meter.groups and len(meter.groups) > 1:
        return [sum(meter.groups[:at]) * unit for at in range(len(meter.groups))]
    beat = 3 * unit if meter.is_compound else unit
    count = max(meter.length, length) / beat
    return [at * beat for at in range(max(1, int(count)))]


def _with_chords(bar: Bar, chords: Sequence[tuple[Fraction, ChordSymbol]]) -> Bar:
    notes = tuple(_with_own(note, chords) for note in bar.notes)
    return replace(bar, notes=notes, end_chord=None)


def _with_own(note: Note, chords: Sequence[tuple[Fraction, ChordSymbol]]) -> Note:
    """The note with the chords that begin while it lasts."""
    if note.is_grace:
        return replace(note, chord=None, later_chords=())
    end = note.onset + note.duration
    own = [(at - note.onset, chord) for at, chord in chords if note.onset <= at < end]
    first = next((chord for delay, chord in own if not delay), None)
    return replace(note, chord=first, later_chords=tuple(one for one in own if one[0]))
