"""A path through the layers told as music: notes with their stops, drones, costs, hard bars.

The bow sounds the drone with the melody where the two lie on neighbouring strings, and alone where
the melody is the drone's own tone. Elsewhere the drone pauses; each pause was priced by the event
and by the second. Rests of the melody do not interrupt a drone, bars wholly of rests do.

How hard a tune is, is the cost of its fingering for each second of music. The figure has no
authority beyond the costs themselves: it ranks bars and tunes for one instrument and hand. The
words for it follow the quarters of 200 tunes taken at random from three printed collections of
reels, jigs, hornpipes and airs (2.3, 3.9 and 6.4), played at usual tempi."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

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
from tunebook.solve.fingering.moves import Chosen, choose, hands_of, movement_terms
from tunebook.solve.fingering.postures import POSTURE_TERMS, Array, HeldDrone, Posture, Slot
from tunebook.solve.fingering.printed import Played, marks
from tunebook.solve.fingering.problem import Problem
from tunebook.solve.fingering.trills import trill_finger
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
PAUSE = "drone_pause"
"""What it costs the bow to leave a drone: no effort of the hand, and counted apart."""

NOTHING = 1e-9
"""Smaller costs are rounding, not reasons."""

_OWN = (*POSTURE_TERMS, PAUSE)


@dataclass(frozen=True)
class PricedPath:
    """One posture for each event. ``terms[i]`` are the hand's costs of event i and of the movement
    into it as it is first played; ``totals`` are sums over the tune as played, limits left out;
    ``bow_cost`` is what it costs the bow to leave the drones;
    ``breaks_limits[i]`` says that event i lies beyond the limits, ``breaks_ties[i]`` that a tone
    tied to it had to be struck again."""

    rows: tuple[int, ...]
    postures: tuple[Posture, ...]
    terms: tuple[dict[str, float], ...]
    totals: dict[str, float]
    bow_cost: float
    breaks_limits: tuple[bool, ...]
    breaks_ties: tuple[bool, ...]


def price_path(problem: Problem, rows: Sequence[int]) -> PricedPath:
    """Price the path that takes posture ``rows[i]`` for event i."""
    order, sets = problem.order, problem.sets
    chosen = choose(sets, rows)
    own = _own_terms(problem, chosen)
    moved_names, moved = _movement_costs(problem, chosen)
    # The order of the names decides in which order the cost is added up.
    named = {
        name for layer in {id(layer): layer for layer in sets}.values() for name in layer.terms
    }
    totals = {name: 0.0 for name in POSTURE_TERMS if name in named}
    for names, table, counts in (
        (_OWN, own, order.event_counts), (moved_names, moved, order.way_counts),
    ):  # fmt: skip
        for name, costs, is_used in zip(
            names, table, np.count_nonzero(table, axis=1).tolist(), strict=True
        ):
            if is_used:
                totals[name] = totals.get(name, 0.0) + float(costs @ counts)
    terms = _terms_by_event(own, moved_names, _entered(problem, moved))
    broken = tuple([found.pop(LIMIT, 0.0) > 0 for found in terms])
    retied = tuple([found.pop(MOVED_TONE, 0.0) > 0 for found in terms])
    for found in terms:
        found.pop(PAUSE, None)
    bow_cost = totals.pop(PAUSE, 0.0)
    totals = {name: cost for name, cost in totals.items() if name not in (LIMIT, MOVED_TONE)}
    return PricedPath(
        rows=tuple(rows),
        postures=tuple([layer.postures[row] for layer, row in zip(sets, rows, strict=True)]),
        terms=tuple(terms),
        totals={name: cost for name, cost in totals.items() if cost},
        bow_cost=bow_cost,
        breaks_limits=broken,
        breaks_ties=retied,
    )


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
    np.multiply(chosen.costs, problem.order.shares, out=costs[:-1])
    np.multiply(chosen.pause, problem.pauses, out=costs[-1])
    return costs


def _entered(problem: Problem, moved: Array) -> Array:
    """Costs of the movement into each event as it is first played, shape (terms, events)."""
    ways, events = problem.order.entries
    entered = np.zeros((len(moved), len(problem.sets)))
    costs = moved[:, ways]
    entered[:, events] = np.where(np.abs(costs) > NOTHING, costs, 0.0)
    return entered


def _movement_costs(problem: Problem, chosen: Chosen) -> tuple[list[str], Array]:
    """Names of the movement terms and their costs, shape (terms, ways)."""
    order = problem.order
    if not order.ways:
        return [], np.zeros((0, 0))
    starts, ends = order.ends
    before, after = hands_of(chosen, starts), hands_of(chosen, ends)
    terms = movement_terms(before, after, order.passage, problem.tables.reach)
    costs = np.zeros((len(terms), len(order.ways)))
    for number, (fixed, by_time) in enumerate(terms.values()):
        costs[number] = fixed + by_time / order.times_s
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
    trill_finger: int = 0


def fingered_notes(
    problem: Problem,
    priced: PricedPath | None,
    alternatives: Mapping[int, Alternatives] | None = None,
) -> tuple[FingeredNote, ...]:
    """One entry for each written note that sounds; those that cannot be played have no stops.

    ``alternatives`` are other stops by the number of the event, with their extra costs.
    """
    tune = problem.tune
    entries = [] if priced is None else list(_entries(problem, priced, alternatives or {}))
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
            trill_finger=entry.trill_finger,
        )
        for entry, (needed, shows_string) in zip(entries, shown, strict=True)
    )


def _entries(
    problem: Problem, priced: PricedPath, alternatives: Mapping[int, Alternatives]
) -> Iterator[_Entry]:
    """Entries of all written notes that were solved."""
    events = problem.order.events
    starts = section_starts(problem.tune, events)
    index = 0
    while index < len(events):
        event = events[index]
        end = index + 1
        while end < len(events) and events[end].refs == event.refs:
            end += 1
        moments = tuple([_moment(problem, priced, piece) for piece in range(index, end)])
        first, last = moments[0], moments[-1]
        terms = _joined_terms(priced, index, end)
        ways = tuple([way for way in WAYS if way in terms])
        is_beyond = True in priced.breaks_limits[index:end]
        trill = _trill_finger(problem, priced, index) if event.trill else 0
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
                trill_finger=trill if is_struck else 0,
            )
        index = end


def _trill_finger(problem: Problem, priced: PricedPath, index: int) -> int:
    """The finger that trills at an event."""
    posture, drone = priced.postures[index], problem.sets[index].drone
    pressed = [slot for slot in posture.slots if slot.finger]
    if posture.holder and drone is not None:
        pressed.append(Slot(drone.string, drone.key, posture.holder))
    trill = posture.slots[-1], problem.order.events[index].trill
    wish = problem.order.events[index].note.trill_pin
    return trill_finger(problem.tables.reach, pressed, trill, posture.hand_key, wish)


def _joined_terms(priced: PricedPath, start: int, end: int) -> dict[str, float]:
    terms = priced.terms[start]
    if end > start + 1:
        terms = dict(terms)
        for later in priced.terms[start + 1 : end]:
            for name, cost in later.items():
                terms[name] = terms.get(name, 0.0) + cost
    return terms


def _moment(problem: Problem, priced: PricedPath, index: int) -> HandMoment:
    event, layer, row = problem.order.events[index], problem.sets[index], priced.rows[index]
    posture = priced.postures[index]
    return HandMoment(
        onset=event.onset,
        duration=_NO_TIME if event.is_grace else event.duration,
        stops=layer.stops[row],
        hand_key=float(posture.hand_key),
        drone=None if layer.drone is None else _drone_stop(problem, layer.drone, posture.holder),
        is_drone_paused=layer.may_pause and bool(layer.pause[row]),
    )


def _drone_stop(problem: Problem, drone: HeldDrone, holder: int) -> Stop:
    open_midi = problem.tables.reach.instrument.string(drone.string).open_midi
    return Stop(open_midi + drone.key, drone.string, drone.key, holder)


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


class _Held(NamedTuple):
    """A drone that one finger holds (0 none, an open string) from event ``first`` to ``last``;
    ``is_taken_over`` where another finger held it before."""

    first: int
    last: int
    demand: DroneDemand
    finger: int
    is_taken_over: bool


def drone_spans(problem: Problem, priced: PricedPath) -> tuple[DroneSpan, ...]:
    """Spans in written order, each with its finger."""
    if not problem.drone:
        return ()
    found: list[_Held] = []
    is_sounding = False
    for index, (event, demand) in enumerate(zip(problem.order.events, problem.held, strict=True)):
        if event.is_grace:
            continue
        layer, row = problem.sets[index], priced.rows[index]
        if demand is None or layer.pause[row]:
            is_sounding = False
            continue
        finger = _finger(demand, priced, index)
        is_same = is_sounding and found[-1].demand is demand
        if is_same and found[-1].finger == finger:
            found[-1] = found[-1]._replace(last=index)
        else:
            found.append(_Held(index, index, demand, finger, is_same and finger > 0))
        is_sounding = True
    spans = [_span(problem, one) for one in found]
    return drones_without_rests((span for span in spans if span.duration > 0), problem.tune)


def _span(problem: Problem, held: _Held) -> DroneSpan:
    onset, demand = problem.order.events[held.first].onset, held.demand
    end = min(demand.end, _next_onset(problem, held.last))
    string = problem.tables.reach.instrument.string(demand.string_index)
    stop = Stop(string.open_midi + demand.key, demand.string_index, demand.key, held.finger)
    return DroneSpan(onset, end - onset, stop, held.is_taken_over)


def _finger(demand: DroneDemand, priced: PricedPath, index: int) -> int:
    """The drone's finger; where the melody is the drone's tone its finger is the drone's too."""
    posture = priced.postures[index]
    finger = posture.holder
    for string, key, pressing in posture.slots:
        if string == demand.string_index and key == demand.key:
            finger = pressing
    return finger


def _next_onset(problem: Problem, index: int) -> Fraction:
    """Onset of the next event that takes time, or the end of the last bar."""
    for event in problem.order.events[index + 1 :]:
        if not event.is_grace:
            return event.onset
    last = problem.tune.bars[-1]
    return last.onset + last.duration
