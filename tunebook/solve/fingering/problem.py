"""A tune made ready for the search: its events, their played order, postures, layers with costs.

Each written note has one fingering, however often it is played. So the chain is the written one,
and the played order only says how often each event and each way from one event to another counts:
the last note of a repeated part leads back to its first (a leap) as well as on.

A tune is posed several times in a row, with one drone after the other. What stays the same
whatever drone is held, its events and their order, is kept meanwhile."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from tunebook.errors import Message
from tunebook.model.arrangement import DroneDemand
from tunebook.model.tune import Tune
from tunebook.solve.fingering.demands import (
    Event,
    LostPin,
    NoteRef,
    drones_at,
    has_pins,
    lost_pin_messages,
    possible_drones,
    postures_for,
    written_events,
)
from tunebook.solve.fingering.move_tables import CostTables, Link
from tunebook.solve.fingering.moves import Passage
from tunebook.solve.fingering.postures import Array, Demand, HeldDrone, PostureSet
from tunebook.solve.search.layers import Layers, layers_with_leaps
from tunebook.solve.times import Same, whole_times
from tunebook.solve.unplayable import unplayable_messages
from tunebook.solve.weights import Weights

TIME_GRAIN = 4


class Way(NamedTuple):
    """From event ``start`` to event ``end``, ``times`` times in the tune as played."""

    start: int
    end: int
    link: Link
    times: int


@dataclass(frozen=True)
class PlayedOrder:
    """All events in written order, how often each is played, and all ways between them.

    ``steps[i]`` leads from event i to i + 1 (0 times when it is never played so); ``leaps`` are
    all other ways, also those from i to i + 1 that take another time in another pass. ``shares``
    are the parts of a posture's cost that the events bear, ``pauses`` what it costs when a drone
    pauses during them.
    """

    events: tuple[Event, ...]
    times_played: tuple[int, ...]
    steps: tuple[Way, ...]
    leaps: tuple[Way, ...]
    seconds: float
    shares: tuple[float, ...]
    pauses: tuple[float, ...]

    @functools.cached_property
    def ways(self) -> tuple[Way, ...]:
        """Steps, then leaps."""
        return (*self.steps, *self.leaps)

    @functools.cached_property
    def link_numbers(self) -> list[int]:
        """For each way the number of its link, the same for like links."""
        numbers: dict[Link, int] = {}
        return [numbers.setdefault(way.link, len(numbers)) for way in self.ways]

    @functools.cached_property
    def ends(self) -> tuple[Array, Array]:
        """The events before and after each way."""
        starts = np.array([way.start for way in self.ways], dtype=np.intp)
        return starts, np.array([way.end for way in self.ways], dtype=np.intp)

    @functools.cached_property
    def passage(self) -> Passage:
        """What all ways are like besides their times."""
        links = [way.link for way in self.ways]
        pairs = sorted({pair for link in links for pair in link.kept})
        return Passage(
            np.array([link.is_slurred for link in links], dtype=bool),
            np.array([link.is_freed for link in links], dtype=bool),
            np.array([link.is_held for link in links], dtype=bool),
            tuple((p, q, np.array([(p, q) in link.kept for link in links])) for p, q in pairs),
            np.array([link.is_turning for link in links], dtype=bool),
        )

    @functools.cached_property
    def times_s(self) -> Array:
        """The time that each way takes, in s."""
        return np.array([way.link.time_s for way in self.ways])

    @functools.cached_property
    def way_counts(self) -> Array:
        """How often each way is taken."""
        return np.array([way.times for way in self.ways], dtype=float)

    @functools.cached_property
    def lengths(self) -> list[float]:
        """How long each event is, in whole notes."""
        return [float(event.duration) for event in self.events]

    @functools.cached_property
    def event_counts(self) -> Array:
        """How often each event counts."""
        return np.array(self.times_played, dtype=float)

    @functools.cached_property
    def entries(self) -> tuple[Array, Array]:
        """The ways by which events are entered when they are first played, and these events."""
        entered: dict[int, int] = {}
        for number, way in enumerate(self.ways):
            if way.times > 0 and way.end > way.start:
                entered.setdefault(way.end, number)
        return np.array([*entered.values()], dtype=np.intp), np.array([*entered], dtype=np.intp)


def event_share(event: Event, weights: Weights) -> float:
    """Share of a posture's cost that one event bears."""
    return weights.grace_share if event.is_grace else 1.0 / event.pieces


def pause_cost(event: Event, speed: float, weights: Weights) -> float:
    """Cost of a drone that pauses during this event."""
    if event.is_grace:
        return 0.0
    seconds = float(event.duration) / speed
    return weights.drone_pause / event.pieces + weights.drone_pause_second * seconds


def order_of_playing(
    tune: Tune, events: Sequence[Event], speed: float, weights: Weights
) -> PlayedOrder:
    """Count how often each event and each way between events is played.

    ``speed`` is in whole notes a second. Events that the played order leaves out count once, in
    written order, so that they get a fingering too.
    """
    passages = _Passages(events, speed, _slurred_events(tune, events), weights)
    played, seconds = _as_played(tune, events, speed)
    counts = [0] * len(events)
    ways: dict[tuple[int, int, Link], int] = {}
    for index, _ in played:
        counts[index] += 1
    links: dict[tuple[int, int, float], Link] = {}
    for (start, start_s), (end, end_s) in itertools.pairwise(played):
        gap_s = end_s - start_s
        known = (start, end, round(gap_s, TIME_GRAIN + 2))
        link = links.get(known)
        if link is None:
            link = _link(passages, start, end, gap_s)
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
        link = _link(passages, index, index + 1, gap_s)
        steps.append(Way(index, index + 1, link, 0 if counts[index] and counts[index + 1] else 1))
    leaps.sort()
    return PlayedOrder(
        events=tuple(events),
        times_played=tuple(max(1, count) for count in counts),
        steps=tuple(steps),
        leaps=tuple(leaps),
        seconds=seconds,
        shares=tuple([event_share(event, weights) for event in events]),
        pauses=tuple([pause_cost(event, speed, weights) for event in events]),
    )


def _as_played(
    tune: Tune, events: Sequence[Event], speed: float
) -> tuple[list[tuple[int, float]], float]:
    """(event, time in s) as played, and the whole time in s."""
    by_bar: list[list[int]] = [[] for _ in tune.bars]
    onsets = [float(event.onset) for event in events]
    for index, event in enumerate(events):
        by_bar[event.bar].append(index)
    played: list[tuple[int, float]] = []
    clock = 0.0
    for bar_index in tune.played or range(len(tune.bars)):
        start = float(tune.bars[bar_index].onset)
        for index in by_bar[bar_index]:
            played.append((index, clock + (onsets[index] - start) / speed))
        clock += float(tune.bars[bar_index].duration) / speed
    return played, clock


def _slurred_events(tune: Tune, events: Sequence[Event]) -> list[bool]:
    """For each event whether a slur leads on from it."""
    depth = 0
    open_after: dict[NoteRef, bool] = {}
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            depth = max(0, depth + note.slurs_opened - note.slurs_closed)
            open_after[NoteRef(bar.index, index)] = depth > 0
    return [open_after[event.refs[-1]] for event in events]


class _Passages(NamedTuple):
    """What the links between events are made of: the events, the speed (whole notes a second), and
    for each event whether a slur leads on from it."""

    events: Sequence[Event]
    speed: float
    slurred: Sequence[bool]
    weights: Weights


def _link(passages: _Passages, start: int, end: int, gap_s: float) -> Link:
    """How event ``start`` leads to event ``end``, which begins ``gap_s`` after it."""
    events, speed, slurred, weights = passages
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
    is_turning = is_next and _is_turning(events, start)
    return Link(
        time_s=round(time_s, TIME_GRAIN),
        is_slurred=is_slurred,
        is_freed=is_freed,
        is_held=is_held,
        kept=kept,
        is_turning=is_turning,
    )


def _is_turning(events: Sequence[Event], start: int) -> bool:
    """Whether the step from event ``start`` on lies in a figure that goes to another tone and back:
    the tone before it is the one after it, or the tone after the next is its own."""
    midis = [event.midis for event in events[max(0, start - 1) : start + 3]]
    here = min(start, 1)
    first, second = midis[here : here + 2]
    if first == second:
        return False
    return (here == 1 and midis[0] == second) or (len(midis) > here + 2 and midis[-1] == first)


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


@dataclass(frozen=True, eq=False)
class TuneEvents:
    """Events in written order; ``demands`` are what each asks for while no drone is held, None
    where pins have a say in that. ``end`` is a time, in whole notes, by which all have begun."""

    tune: Tune
    speed: float
    weights: Weights
    events: tuple[Event, ...]
    demands: tuple[Demand | None, ...]
    end: Fraction


def events_of_tune(
    tune: Tune, speed: float, weights: Weights, drone: Sequence[DroneDemand]
) -> TuneEvents:
    """The events of ``tune`` at ``speed`` (whole notes a second), long notes cut where the drone
    changes. Those of the last few tunes are kept."""
    end = whole_times(tune).end
    cuts = {time for demand in drone for time in (demand.onset, demand.end) if 0 < time < end}
    return _events_of_tune(Same(tune), speed, weights, tuple(sorted(cuts)))


@functools.lru_cache(maxsize=4)
def _events_of_tune(
    same: Same, speed: float, weights: Weights, cuts: tuple[Fraction, ...]
) -> TuneEvents:
    tune = same.tune
    long_note = Fraction(weights.long_note_s * speed).limit_denominator(4096)
    events = tuple(written_events(tune, cuts, long_note))
    known: dict[tuple[tuple[int, ...], int], Demand] = {}
    demands: list[Demand | None] = []
    for event in events:
        if has_pins(event.note):
            demands.append(None)
            continue
        asked = event.midis, event.trill
        if asked not in known:
            known[asked] = Demand(event.midis, (), None, None, event.trill)
        demands.append(known[asked])
    end = whole_times(tune).end
    begun = max([event.onset for event in events if event.onset >= end], default=None)
    if begun is not None:
        end = begun + 1
    return TuneEvents(
        tune=tune, speed=speed, weights=weights, events=events, demands=tuple(demands), end=end
    )


@functools.lru_cache(maxsize=4)
def order_without(written: TuneEvents, left_out: tuple[int, ...]) -> PlayedOrder:
    """The order of the events, those with these numbers left out."""
    events = written.events
    if left_out:
        lacking = set(left_out)
        events = tuple([event for n, event in enumerate(events) if n not in lacking])
    return order_of_playing(written.tune, events, written.speed, written.weights)


@dataclass(frozen=True)
class Problem:
    """A tune made ready for the search: the playable events, their postures, their order.
    ``held`` is the drone that is asked for at each event, ``pauses`` what it costs the bow to leave
    it."""

    tune: Tune
    tables: CostTables
    order: PlayedOrder
    sets: tuple[PostureSet, ...]
    layers: Layers
    drone: tuple[DroneDemand, ...]
    held: tuple[DroneDemand | None, ...]
    pauses: tuple[float, ...]
    speed: float
    unplayable: tuple[Event, ...]
    messages: tuple[Message, ...]


def pose_problem(
    tune: Tune,
    tables: CostTables,
    speed: float,
    drone: Sequence[DroneDemand] = (),
    strings: Mapping[tuple[int, int], int] | None = None,
) -> Problem:
    """Make the search's layers for ``tune`` at ``speed`` (whole notes a second). ``strings`` gives
    the string on which a note stays, by the index of its bar and its own in the bar."""
    kept, messages = possible_drones(drone, tables.reach.instrument, tune)
    written = events_of_tune(tune, speed, tables.weights, kept)
    held = drones_at(kept, written.events, written.end)
    found = _postures(written, held, tables, strings or {}, messages)
    left_out = tuple([number for number, postures in enumerate(found) if postures is None])
    sets = tuple([postures for postures in found if postures is not None])
    order = order_without(written, left_out)
    asked = tuple([drone for drone, layer in zip(held, found, strict=True) if layer is not None])
    pauses = _pauses(order, asked, tables.weights)
    return Problem(
        tune=tune,
        tables=tables,
        order=order,
        sets=sets,
        layers=_layers(order, sets, pauses, tables),
        drone=kept,
        held=asked,
        pauses=pauses,
        speed=speed,
        unplayable=tuple([written.events[number] for number in left_out]),
        messages=tuple(messages),
    )


def _pauses(
    order: PlayedOrder, asked: Sequence[DroneDemand | None], weights: Weights
) -> tuple[float, ...]:
    """What it costs the bow to leave the drone during each event."""
    return tuple(
        [
            pause * weights.drone_strict if drone is not None and drone.is_strict else pause
            for pause, drone in zip(order.pauses, asked, strict=True)
        ]
    )


def _postures(
    written: TuneEvents,
    held: Sequence[DroneDemand | None],
    tables: CostTables,
    strings: Mapping[tuple[int, int], int],
    messages: list[Message],
) -> list[PostureSet | None]:
    """The postures for each event, None where it cannot be played; ``messages`` are added to."""
    known: dict[tuple[int, int, int | None], PostureSet | None] = {}
    found: list[PostureSet | None] = []
    lost: list[LostPin] = []
    unplayable: list[Event] = []
    tune = written.tune
    for event, plain, over in zip(written.events, written.demands, held, strict=True):
        if plain is None:
            postures, lost_here = postures_for(event, over, tables, strings.get(event.refs[0]))
            lost.extend(lost_here)
        else:
            string = strings.get(event.refs[0])
            asked = id(plain), id(over), string
            if asked not in known:
                known[asked] = tables.postures(_over(plain, over)._replace(string=string))
            postures = known[asked]
        if postures is None and not event.piece:
            unplayable.append(event)
        found.append(postures)
    messages.extend(unplayable_messages(tune, unplayable, tables.reach.instrument))
    messages.extend(lost_pin_messages(tune, lost))
    return found


def _over(plain: Demand, drone: DroneDemand | None) -> Demand:
    """The demand with a drone held meanwhile."""
    if drone is None:
        return plain
    return plain._replace(drone=HeldDrone(drone.string_index, drone.key, drone.finger))


def _layers(
    order: PlayedOrder, sets: Sequence[PostureSet], pauses: Sequence[float], tables: CostTables
) -> Layers:
    """Costs of the search: own costs times how often they are played, steps, leaps."""
    states = _own_costs(order, sets, pauses, tables)
    costs = _way_costs(order, sets, tables)
    steps, leaps = costs[: len(order.steps)], costs[len(order.steps) :]
    ends = ((way.start, way.end) for way in order.leaps)
    return layers_with_leaps(states, steps, zip(ends, leaps, strict=True))


def _own_costs(
    order: PlayedOrder, sets: Sequence[PostureSet], pauses: Sequence[float], tables: CostTables
) -> list[Array]:
    """Costs of each event's postures, as often as it is played."""
    known: dict[tuple[Demand, float, float, int], Array] = {}
    states: list[Array] = []
    for postures, share, pause, count in zip(
        sets, order.shares, pauses, order.times_played, strict=True
    ):
        asked = postures.demand, share, pause if postures.may_pause else 0.0, count
        if asked not in known:
            known[asked] = tables.own_cost(postures, *asked[1:])
        states.append(known[asked])
    return states


def _way_costs(order: PlayedOrder, sets: Sequence[PostureSet], tables: CostTables) -> list[Array]:
    """Costs of each way, as often as it is taken."""
    asked = [
        (sets[way.start].demand, sets[way.end].demand, number)
        for way, number in zip(order.ways, order.link_numbers, strict=True)
    ]
    once = dict(zip(asked, order.ways, strict=True))
    made = tables.all_moves([(sets[w.start], sets[w.end], w.link) for w in once.values()])
    known = dict(zip(once, made, strict=True))
    often: dict[tuple[Hashable, ...], Array] = {}
    costs = []
    for key, way in zip(asked, order.ways, strict=True):
        if way.times == 1:
            costs.append(known[key])
            continue
        counted = key, way.times
        if counted not in often:
            often[counted] = known[key] * way.times
        costs.append(often[counted])
    return costs
