"""A path through the layers told as music: notes with their stops, drones, costs, hard bars.

How hard a tune is: the cost of its fingering for each second of music.

The figure has no authority beyond the costs themselves: it ranks bars and tunes for one instrument
and hand. The words for it follow the quarters of 200 tunes taken at random from three printed
collections of reels, jigs, hornpipes and airs (2.3, 3.9 and 6.4), played at usual tempi.

A path through the layers with what each of its movements costs, term by term.

The answer note by note, in written order.

The drone as it sounds: spans with the finger that holds each, take-overs and pauses.

The bow sounds the drone with the melody where the two lie on neighbouring strings, and alone where
the melody is the drone's own tone. Elsewhere the drone pauses; each pause was priced by the event
and by the second. Rests of the melody do not interrupt a drone, bars wholly of rests do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from tunebook.model.arrangement import (
    BarDifficulty,
    DroneDemand,
    DroneSpan,
    FingeredNote,
    HandMoment,
    Stop,
)
from tunebook.model.choices import WAYS
from tunebook.model.tune import Tune
from tunebook.solve.fingering.demands import Event, NoteRef, has_pins
from tunebook.solve.fingering.moves import Chosen, choose, movement_terms, view_of
from tunebook.solve.fingering.postures import POSTURE_TERMS, Array, Posture
from tunebook.solve.fingering.printed import Played, marks
from tunebook.solve.fingering.problem import Problem
from tunebook.solve.times import drones_without_rests

LEAST_BAR_S = 0.5
"""Shorter bars (pickups) count as this long, so that one note does not seem a hard passage."""


def bar_difficulties(
    tune: Tune, notes: Sequence[FingeredNote], speed: float
) -> tuple[BarDifficulty, ...]:
    """Cost per second of each written bar, as it is first played; ``speed`` in whole notes/s."""
    costs = [0.0] * len(tune.bars)
    for note in notes:
        costs[note.bar_index] += note.cost
    return tuple(
        BarDifficulty(bar.index, cost / max(LEAST_BAR_S, float(bar.duration) / speed))
        for bar, cost in zip(tune.bars, costs, strict=True)
    )


def whole_difficulty(cost: float, seconds: float) -> float:
    """Cost per second of the whole tune as played."""
    return cost / max(LEAST_BAR_S, seconds)


LIMIT, MOVED_TONE = "limit", "moved_tone"
"""Terms of a broken limit and of a tied tone that has to be struck again: they steer the search
and are never counted in a shown cost."""

NOTHING = 1e-9
"""Smaller costs are rounding, not reasons."""

_OWN = (*POSTURE_TERMS, "drone_pause")


@dataclass(frozen=True)
class Walk:
    """One posture for each event. ``terms[i]`` are the costs of event i and of the movement into
    it as it is first played; ``totals`` are sums over the tune as played, limits left out;
    ``breaks_limits[i]`` says that event i lies beyond the limits, ``breaks_ties[i]`` that a tone
    tied to it had to be struck again."""

    rows: tuple[int, ...]
    postures: tuple[Posture, ...]
    terms: tuple[dict[str, float], ...]
    totals: dict[str, float]
    breaks_limits: tuple[bool, ...]
    breaks_ties: tuple[bool, ...]


def walk_of(problem: Problem, rows: Sequence[int]) -> Walk:
    """Price the path that takes posture ``rows[i]`` for event i."""
    course, sets = problem.course, problem.sets
    chosen = choose(sets, rows)
    own = _own_terms(problem, chosen)
    moved_names, moved = _movement_costs(problem, chosen)
    # The order of the names decides in which order the cost is added up.
    named = {
        name for layer in {id(layer): layer for layer in sets}.values() for name in layer.terms
    }
    totals = {name: 0.0 for name in POSTURE_TERMS if name in named}
    for names, table, counts in (
        (_OWN, own, course.event_counts), (moved_names, moved, course.way_counts),
    ):  # fmt: skip
        for name, costs, is_used in zip(
            names, table, np.count_nonzero(table, axis=1).tolist(), strict=True
        ):
            if is_used:
                totals[name] = totals.get(name, 0.0) + float(costs @ counts)
    terms = _terms_by_event(own, moved_names, _entered(problem, moved))
    broken = tuple([found.pop(LIMIT, 0.0) > 0 for found in terms])
    retied = tuple([found.pop(MOVED_TONE, 0.0) > 0 for found in terms])
    totals = {name: cost for name, cost in totals.items() if name not in (LIMIT, MOVED_TONE)}
    return Walk(
        rows=tuple(rows),
        postures=tuple([layer.postures[row] for layer, row in zip(sets, rows, strict=True)]),
        terms=tuple(terms),
        totals={name: cost for name, cost in totals.items() if cost},
        breaks_limits=broken,
        breaks_ties=retied,
    )


def event_costs(problem: Problem, rows: Sequence[int]) -> list[float]:
    """The sums of the terms of each event, as ``walk_of`` has them."""
    chosen = choose(problem.sets, rows)
    own = _own_terms(problem, chosen)
    moved_names, moved = _movement_costs(problem, chosen)
    own[np.abs(own) <= NOTHING] = 0.0
    entered = _entered(problem, moved)
    for number, name in enumerate(moved_names):
        if name in POSTURE_TERMS:
            # Terms of one name are added up first, and stand where the event's own would.
            costs = own[POSTURE_TERMS.index(name)]
            is_joined = costs != 0.0
            costs[is_joined] += entered[number, is_joined]
            entered[number, is_joined] = 0.0
        if name in (LIMIT, MOVED_TONE):
            entered[number] = 0.0
    own[POSTURE_TERMS.index(LIMIT)] = 0.0
    sums: list[float] = np.add.reduce(np.concatenate([own, entered]), axis=0).tolist()
    return sums


def _terms_by_event(
    own: Array, moved_names: Sequence[str], entered: Array
) -> list[dict[str, float]]:
    """What each event costs by name: its own terms, then those of the movement into it."""
    terms: list[dict[str, float]] = [{} for _ in range(own.shape[1])]
    for names, table in ((_OWN, own), (moved_names, entered)):
        rows, events = np.nonzero(np.abs(table) > NOTHING)
        costs = table[rows, events].tolist()
        for row, event, cost in zip(rows.tolist(), events.tolist(), costs, strict=True):
            found = terms[event]
            name = names[row]
            found[name] = found.get(name, 0.0) + cost
    return terms


def _own_terms(problem: Problem, chosen: Chosen) -> Array:
    """Costs of the postures, shape (terms, events), by the names of _OWN."""
    costs = np.empty((len(_OWN), len(chosen.pause)))
    np.multiply(chosen.costs, problem.course.shares, out=costs[:-1])
    np.multiply(chosen.pause, problem.course.pauses, out=costs[-1])
    return costs


def _entered(problem: Problem, moved: Array) -> Array:
    """Costs of the movement into each event as it is first played, shape (terms, events)."""
    ways, events = problem.course.entries
    entered = np.zeros((len(moved), len(problem.sets)))
    costs = moved[:, ways]
    entered[:, events] = np.where(np.abs(costs) > NOTHING, costs, 0.0)
    return entered


def _movement_costs(problem: Problem, chosen: Chosen) -> tuple[list[str], Array]:
    """Names of the movement terms and their costs, shape (terms, ways)."""
    course = problem.course
    if not course.ways:
        return [], np.zeros((0, 0))
    starts, ends = course.ends
    before, after = view_of(chosen, starts), view_of(chosen, ends)
    terms = movement_terms(before, after, course.passage, problem.tables.reach)
    costs = np.zeros((len(terms), len(course.ways)))
    for number, (fixed, by_time) in enumerate(terms.values()):
        costs[number] = fixed + by_time / course.times_s
    return list(terms), costs


_NO_TIME = Fraction(0)

Alternatives = tuple[tuple[float, tuple[Stop, ...]], ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """One written note before it is known what is printed of it."""

    ref: NoteRef
    played: Played
    terms: tuple[tuple[str, float], ...] = ()
    is_beyond: bool = False
    after: tuple[Stop, ...] = ()
    moments: tuple[HandMoment, ...] = field(default=())
    alternatives: Alternatives = ()


def fingered_notes(
    problem: Problem, walk: Walk | None, alternatives: Mapping[int, Alternatives] | None = None
) -> tuple[FingeredNote, ...]:
    """One entry for each written note that sounds; those that cannot be played have no stops.

    ``alternatives`` are other stops by the number of the event, with their extra costs.
    """
    tune = problem.tune
    entries = [] if walk is None else list(_entries(problem, walk, alternatives or {}))
    for event in problem.unplayable:
        if event.piece == 0:
            entries.extend(_Entry(ref, Played((), 0.0, ())) for ref in event.refs)
    entries.sort(key=lambda entry: entry.ref)
    shown = marks([entry.played for entry in entries], problem.tables.reach.instrument)
    return tuple(
        FingeredNote(
            bar_index=entry.ref.bar,
            note_index=entry.ref.note,
            note=tune.bars[entry.ref.bar].notes[entry.ref.note],
            stops=entry.played.stops,
            hand_key=entry.played.hand_key,
            ways=entry.played.ways,
            terms=entry.terms,
            is_continued=entry.played.is_continued,
            is_needed=needed,
            shows_string=shows_string,
            beyond_limits=entry.is_beyond,
            alternatives=entry.alternatives,
            stops_after=entry.after,
            moments=entry.moments,
        )
        for entry, (needed, shows_string) in zip(entries, shown, strict=True)
    )


def _entries(
    problem: Problem, walk: Walk, alternatives: Mapping[int, Alternatives]
) -> Iterator[_Entry]:
    """Entries of all written notes that were solved."""
    events = problem.course.events
    starts = section_starts(problem.tune, events)
    index = 0
    while index < len(events):
        event = events[index]
        end = index + 1
        while end < len(events) and events[end].refs == event.refs:
            end += 1
        moments = tuple([_moment(problem, walk, piece) for piece in range(index, end)])
        first, last = moments[0], moments[-1]
        terms = _joined_terms(walk, index, end)
        ways = tuple([way for way in WAYS if way in terms])
        is_beyond = True in walk.breaks_limits[index:end]
        for number, ref in enumerate(event.refs):
            is_struck = number == 0
            yield _Entry(
                ref=ref,
                played=Played(
                    stops=first.stops,
                    hand_key=first.hand_key,
                    ways=ways if is_struck else (),
                    is_start=ref in starts,
                    is_pinned=has_pins(event.note),
                    is_continued=not is_struck,
                ),
                terms=tuple(sorted(terms.items())) if is_struck else (),
                is_beyond=is_beyond,
                after=last.stops if is_struck and last.stops != first.stops else (),
                moments=moments if is_struck else (),
                alternatives=alternatives.get(index, ()) if is_struck else (),
            )
        index = end


def _joined_terms(walk: Walk, start: int, end: int) -> dict[str, float]:
    terms = walk.terms[start]
    if end > start + 1:
        terms = dict(terms)
        for later in walk.terms[start + 1 : end]:
            for name, cost in later.items():
                terms[name] = terms.get(name, 0.0) + cost
    return terms


def _moment(problem: Problem, walk: Walk, index: int) -> HandMoment:
    event, layer, row = problem.course.events[index], problem.sets[index], walk.rows[index]
    posture = walk.postures[index]
    return HandMoment(
        onset=event.onset,
        duration=_NO_TIME if event.is_grace else event.duration,
        stops=layer.stops[row],
        hand_key=float(posture.hand_key),
        drone=None if layer.drone is None else _drone_stop(problem, layer.drone, posture.holder),
        is_drone_paused=layer.may_pause and bool(layer.pause[row]),
    )


def _drone_stop(problem: Problem, drone: tuple[int, int, int | None], holder: int) -> Stop:
    string_index, key, _ = drone
    open_midi = problem.tables.reach.instrument.string(string_index).open_midi
    return Stop(open_midi + key, string_index, key, holder)


def section_starts(tune: Tune, events: tuple[Event, ...]) -> set[NoteRef]:
    """The first struck note of the tune, of each repeated section and of each labelled part."""
    starts: set[NoteRef] = set()
    bars = {
        bar.index
        for bar in tune.bars
        if bar.index == 0 or bar.part or bar.sign_before in ("|:", "::")
    }
    waiting = False
    bar_before = -1
    for event in events:
        for passed in range(bar_before + 1, event.bar + 1):
            waiting = waiting or passed in bars
        bar_before = max(bar_before, event.bar)
        if waiting and not event.is_grace and event.piece == 0:
            starts.add(event.refs[0])
            waiting = False
    return starts


def drone_spans(problem: Problem, walk: Walk) -> tuple[DroneSpan, ...]:
    """Spans in written order, each with its finger."""
    if not problem.drone:
        return ()
    # (first event, last event, demand, finger, whether another finger held it before)
    found: list[tuple[int, int, DroneDemand, int, bool]] = []
    is_sounding = False
    for index, (event, demand) in enumerate(zip(problem.course.events, problem.held, strict=True)):
        if event.is_grace:
            continue
        layer, row = problem.sets[index], walk.rows[index]
        if demand is None or layer.pause[row]:
            is_sounding = False
            continue
        finger = _finger(demand, walk, index)
        is_same = is_sounding and found[-1][2] is demand
        if is_same and found[-1][3] == finger:
            first, _, _, _, is_taken_over = found.pop()
            found.append((first, index, demand, finger, is_taken_over))
        else:
            found.append((index, index, demand, finger, is_same and finger > 0))
        is_sounding = True
    spans = [_span(problem, *one) for one in found]
    return drones_without_rests((span for span in spans if span.duration > 0), problem.tune)


def _span(
    problem: Problem, first: int, last: int, demand: DroneDemand, finger: int, is_taken_over: bool
) -> DroneSpan:
    onset = problem.course.events[first].onset
    end = min(demand.end, _next_onset(problem, last))
    string = problem.tables.reach.instrument.string(demand.string_index)
    stop = Stop(string.open_midi + demand.key, demand.string_index, demand.key, finger)
    return DroneSpan(onset, end - onset, stop, is_taken_over)


def _finger(demand: DroneDemand, walk: Walk, index: int) -> int:
    """The drone's finger; where the melody is the drone's tone its finger is the drone's too."""
    posture = walk.postures[index]
    finger = posture.holder
    for string, key, pressing in posture.slots:
        if string == demand.string_index and key == demand.key:
            finger = pressing
    return finger


def _next_onset(problem: Problem, index: int) -> Fraction:
    """Onset of the next event that takes time, or the end of the last bar."""
    for event in problem.course.events[index + 1 :]:
        if not event.is_grace:
            return event.onset
    last = problem.tune.bars[-1]
    return last.onset + last.duration
