"""Marks that join notes: numbers of slurs, ends of tuplets, beams. Found before writing, since
each needs notes on both sides.

Results are by place, (index of the bar in the tune, index of the note in the bar).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tunebook.model.tune import Bar, Note
from tunebook.write.musicxml_spans import pieces_of
from tunebook.write.note_values import flag_count

Place = tuple[int, int]
MOST_SLURS = 16  # MusicXML numbers slurs that overlap from 1 to 16


@dataclass(slots=True)
class SlurEnds:
    """Numbers of the slurs that begin and that end at a note."""

    starts: list[int] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)


def slur_ends(bars: Sequence[Bar]) -> dict[Place, SlurEnds]:
    """Return the slurs by note. The innermost open slur ends first; one that never ends, or that
    would end on the note it began on, is left out."""
    ends: dict[Place, SlurEnds] = {}
    open_slurs: list[tuple[int, Place]] = []
    for place, note in _places(bars):
        for _ in range(note.slurs_opened):
            free = set(range(1, MOST_SLURS + 1)) - {number for number, _ in open_slurs}
            if free:
                open_slurs.append((min(free), place))
        for _ in range(min(note.slurs_closed, len(open_slurs))):
            number, start = open_slurs.pop()
            if start != place:
                ends.setdefault(start, SlurEnds()).starts.append(number)
                ends.setdefault(place, SlurEnds()).stops.append(number)
    return ends


def tuplet_ends(bars: Sequence[Bar]) -> tuple[frozenset[Place], frozenset[Place]]:
    """Return the places where tuplets begin, and where they end (a short one at its last note)."""
    first: dict[int, Place] = {}
    last: dict[int, Place] = {}
    for place, note in _places(bars):
        if note.tuplet is not None and not note.is_grace:
            first.setdefault(note.tuplet.serial, place)
            last[note.tuplet.serial] = place
    return frozenset(first.values()), frozenset(last.values())


def beams(bars: Sequence[Bar]) -> dict[Place, tuple[str, ...]]:
    """Return, for each beamed note, the value of its beams from the first level on."""
    found: dict[Place, tuple[str, ...]] = {}
    for bar in bars:
        for is_grace in (False, True):
            for group in _beam_groups(bar, is_grace):
                flags = [flag_count(bar.notes[index].written) for index in group]
                for number, index in enumerate(group):
                    found[bar.index, index] = _beam_values(flags, number)
    return found


def _beam_groups(bar: Bar, is_grace: bool) -> list[list[int]]:
    """Runs of two or more notes with flags that the source joins."""
    groups: list[list[int]] = [[]]
    for index, note in enumerate(bar.notes):
        if note.is_grace != is_grace:
            if is_grace:
                groups.append([])  # grace notes on both sides of a note are not joined
            continue
        if not _takes_beam(note):
            groups.append([])
            continue
        groups[-1].append(index)
        if not note.is_joined:
            groups.append([])
    return [group for group in groups if len(group) > 1]


def _takes_beam(note: Note) -> bool:
    if note.is_rest or flag_count(note.written) == 0:
        return False
    pieces = pieces_of(note.written, note.tuplet)
    return len(pieces) == 1 and pieces[0].type_name is not None


def _beam_values(flags: Sequence[int], number: int) -> tuple[str, ...]:
    values = []
    for level in range(1, min(flags[number], 8) + 1):
        before = number > 0 and flags[number - 1] >= level
        after = number + 1 < len(flags) and flags[number + 1] >= level
        if before and after:
            values.append("continue")
        elif before or after:
            values.append("end" if before else "begin")
        else:
            values.append("backward hook" if number > 0 else "forward hook")
    return tuple(values)


def _places(bars: Sequence[Bar]) -> list[tuple[Place, Note]]:
    return [((bar.index, index), note) for bar in bars for index, note in enumerate(bar.notes)]
