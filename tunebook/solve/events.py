"""A tune as a chain of events to be fingered, and the ways that lead from one to the next.

An event is one stroke of fingers: a note with all that is tied to it, a chord, or a grace note. A
long note, and a note during which the drone changes, is cut into several events that sound on, so
that another finger may take over silently. Rests are no events; they free the hand.

Each written note has one fingering, however often it is played. So the chain is the written one,
and the played order only says how often each event and each way from one event to another counts:
the last note of a repeated part leads back to its first (a leap) as well as on.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.model.tune import Bar, Note, Tune
from tunebook.solve.cost_tables import Link
from tunebook.solve.weights import Weights

UPPER_NOTE_DECORATIONS = frozenset(
    {"trill", "T", "trill(", "pralltriller", "uppermordent", "roll", "~", "P", "turn"}
)
TIME_GRAIN = 4


class NoteRef(NamedTuple):
    """A written note: index of its bar in the tune, index of the note in the bar."""

    bar: int
    note: int


@dataclass(frozen=True, slots=True)
class Event:
    """One event. ``refs`` are the written notes it covers, the struck one first. ``piece`` counts
    the parts of a note that was cut, of ``pieces``. Onset and duration are of the event itself,
    in whole notes along the written tune."""

    refs: tuple[NoteRef, ...]
    midis: tuple[int, ...]
    onset: Fraction
    duration: Fraction
    is_grace: bool
    trill: int
    note: Note
    piece: int = 0
    pieces: int = 1

    @property
    def bar(self) -> int:
        return self.refs[0].bar


class Way(NamedTuple):
    """From event ``start`` to event ``end``, ``times`` times in the tune as played."""

    start: int
    end: int
    link: Link
    times: int


@dataclass(frozen=True)
class Course:
    """All events in written order, how often each is played, and all ways between them.

    ``steps[i]`` leads from event i to i + 1 (0 times when it is never played so); ``leaps`` are
    all other ways, also those from i to i + 1 that take another time in another pass.
    """

    events: tuple[Event, ...]
    times_played: tuple[int, ...]
    steps: tuple[Way, ...]
    leaps: tuple[Way, ...]
    seconds: float


def written_events(tune: Tune, cuts: Iterable[Fraction], long_note: Fraction) -> list[Event]:
    """Events in written order.

    ``cuts`` are times at which a sounding note is cut (changes of the drone); notes of at least
    ``long_note`` whole notes are cut in half.
    """
    strokes: list[tuple[list[NoteRef], Note, Fraction]] = []
    before: Note | None = None
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            if note.is_rest:
                continue
            ref = NoteRef(bar.index, index)
            if before is not None and _is_continued(before, strokes[-1], note):
                refs, first, duration = strokes[-1]
                strokes[-1] = ([*refs, ref], first, duration + note.duration)
            else:
                strokes.append(([ref], note, _NO_TIME if note.is_grace else note.duration))
            before = note
    events: list[Event] = []
    times = sorted(set(cuts))
    long = float(long_note)
    for refs, note, duration in strokes:
        points = _cut_points(note, duration, times, long)
        events.extend(_cut(tune, refs, note, duration, points))
    return events


_NO_TIME = Fraction(0)


def _is_continued(before: Note, stroke: tuple[list[NoteRef], Note, Fraction], note: Note) -> bool:
    """True when every tone of ``note`` is tied to the note before, the last of ``stroke``."""
    if not note.is_tied_from_before or not all(note.is_tied_from_before):
        return False
    _, first, duration = stroke
    if note.is_grace or before.is_grace or not before.ties or not all(before.ties):
        return False
    same = sorted(p.midi for p in note.pitches) == sorted(p.midi for p in first.pitches)
    return same and first.onset + duration == note.onset


def _cut_points(
    note: Note, duration: Fraction, times: list[Fraction], long_note: float
) -> list[Fraction]:
    """Times within a note at which it is cut."""
    if note.is_grace:
        return []
    points = []
    if times:
        end = note.onset + duration
        points = [time for time in times if note.onset < time < end]
    if not points and float(duration) >= long_note:
        points = [note.onset + duration / 2]
    return points


def _cut(
    tune: Tune, refs: list[NoteRef], note: Note, duration: Fraction, points: list[Fraction]
) -> Iterator[Event]:
    midis = tuple([pitch.midi for pitch in note.pitches])
    trill = upper_note_interval(note, tune.bars[refs[0].bar]) if note.decorations else 0
    if not points:
        yield Event(tuple(refs), midis, note.onset, duration, note.is_grace, trill, note)
        return
    starts = [note.onset, *points]
    ends = [*points, note.onset + duration]
    for piece, (start, stop) in enumerate(zip(starts, ends, strict=True)):
        yield Event(
            tuple(refs), midis, start, stop - start, note.is_grace, trill, note, piece, len(starts)
        )


def upper_note_interval(note: Note, bar: Bar) -> int:
    """Semitones up to the upper note of a trill or the like in the key of ``bar``, else 0."""
    if not note.decorations or not UPPER_NOTE_DECORATIONS.intersection(note.decorations):
        return 0
    top = max(note.pitches, key=lambda pitch: pitch.midi)
    step = (top.step + 1) % 7
    natural = (0, 2, 4, 5, 7, 9, 11)[step] + (12 if step == 0 else 0)
    own = (0, 2, 4, 5, 7, 9, 11)[top.step] + top.alter
    return max(1, min(3, natural + bar.key.alters[step] - own))


def build_course(tune: Tune, events: list[Event], speed: float, weights: Weights) -> Course:
    """Count how often each event and each way between events is played.

    ``speed`` is in whole notes a second. Events that the played order leaves out count once, in
    written order, so that they get a fingering too.
    """
    slurred = _slurred_events(tune, events)
    walk, seconds = _played_walk(tune, events, speed)
    counts = [0] * len(events)
    ways: dict[tuple[int, int, Link], int] = {}
    for index, _ in walk:
        counts[index] += 1
    links: dict[tuple[int, int, float], Link] = {}
    for (start, start_s), (end, end_s) in itertools.pairwise(walk):
        gap_s = end_s - start_s
        known = (start, end, round(gap_s, TIME_GRAIN + 2))
        link = links.get(known)
        if link is None:
            link = _link(events, start, end, gap_s, speed, slurred, weights)
            links[known] = link
        ways[start, end, link] = ways.get((start, end, link), 0) + 1
    steps: list[Way] = []
    leaps: list[Way] = []
    taken: dict[int, Way] = {}
    for (start, end, link), count in ways.items():
        way = Way(start, end, link, count)
        if end == start + 1 and start not in taken:
            taken[start] = way
        else:
            leaps.append(way)
    for index in range(len(events) - 1):
        if index in taken:
            steps.append(taken[index])
            continue
        gap_s = float(events[index + 1].onset - events[index].onset) / speed
        link = _link(events, index, index + 1, gap_s, speed, slurred, weights)
        steps.append(Way(index, index + 1, link, 0 if counts[index] and counts[index + 1] else 1))
    leaps.sort()
    return Course(
        tuple(events),
        tuple(max(1, count) for count in counts),
        tuple(steps),
        tuple(leaps),
        seconds,
    )


def _played_walk(
    tune: Tune, events: list[Event], speed: float
) -> tuple[list[tuple[int, float]], float]:
    """(event, time in s) as played, and the whole time in s."""
    by_bar: list[list[int]] = [[] for _ in tune.bars]
    onsets = [float(event.onset) for event in events]
    for index, event in enumerate(events):
        by_bar[event.bar].append(index)
    walk: list[tuple[int, float]] = []
    clock = 0.0
    for bar_index in tune.played or range(len(tune.bars)):
        start = float(tune.bars[bar_index].onset)
        for index in by_bar[bar_index]:
            walk.append((index, clock + (onsets[index] - start) / speed))
        clock += float(tune.bars[bar_index].duration) / speed
    return walk, clock


def _slurred_events(tune: Tune, events: list[Event]) -> list[bool]:
    """For each event whether a slur leads on from it."""
    depth = 0
    open_after: dict[NoteRef, bool] = {}
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            depth = max(0, depth + note.slurs_opened - note.slurs_closed)
            open_after[NoteRef(bar.index, index)] = depth > 0
    return [open_after[event.refs[-1]] for event in events]


def _link(
    events: list[Event],
    start: int,
    end: int,
    gap_s: float,
    speed: float,
    slurred: list[bool],
    weights: Weights,
) -> Link:
    first, second = events[start], events[end]
    is_next = end == start + 1
    if first.is_grace:
        return Link(weights.grace_time_s, True)
    is_held = second.piece > 0 and is_next
    rest_s = gap_s - float(first.duration) / speed
    if first.piece and not is_held:
        # The hand has had the whole of a long note to get ready.
        gap_s += float(first.onset - first.note.onset) / speed
    time_s = min(max(gap_s, weights.least_time_s), weights.most_time_s)
    is_freed = rest_s >= weights.rest_gap_s and not is_held
    is_slurred = slurred[start] and not is_freed and not is_held
    kept = _kept_tones(first, second) if is_next and second.piece == 0 else ()
    return Link(round(time_s, TIME_GRAIN), is_slurred, is_freed, is_held, kept)


def _kept_tones(first: Event, second: Event) -> tuple[tuple[int, int], ...]:
    """Pairs of tones that a tie joins where the other tones are struck anew."""
    if True not in second.note.is_tied_from_before:
        return ()
    return tuple(
        (first.midis.index(midi), number)
        for number, (midi, is_tied) in enumerate(
            zip(second.midis, second.note.is_tied_from_before, strict=False)
        )
        if is_tied and midi in first.midis
    )
