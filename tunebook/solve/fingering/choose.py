"""The cheapest fingering of a tune: string, key, finger and place of the hand for every note.

The search is exact for the costs in ``weights``: it finds the least sum over the tune as played,
each written note having one fingering (see ``shortest_path`` for how repeats are tied). What it
does not know is a player's taste: best for this cost is not the same as what a player would choose.

The same phrase gets the same fingering, unless that costs more than a stated amount. The unit is
the written bar: bars that ask for the same (tones, lengths, pins, drones) are likes. Their usual
form is the fingering that most of them have, counted as played. A bar that differs is given the
usual form when the whole tune then costs at most ``same_phrase`` (see ``weights``) more for each
bar that was changed. The price paid is part of the answer.

Other good ways are for each note the next best stops, for a passage the next best fingerings. A
different fingering must be one that a player would notice. Each note on another string or key
counts 2, each note with another finger only counts 1, the same note in several passes once; grace
notes, and the hand's place where the fingers are the same, count nothing. Two fingerings are told
apart when they differ by at least ``NOTICEABLE``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tunebook.errors import Message
from tunebook.model.arrangement import (
    BarDifficulty,
    DroneDemand,
    DroneSpan,
    FingeredNote,
    OtherWay,
    Stop,
)
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.fingering.answer import (
    PricedPath,
    bar_difficulties,
    drone_spans,
    fingered_notes,
    price_path,
    whole_difficulty,
)
from tunebook.solve.fingering.move_tables import tables_for
from tunebook.solve.fingering.problem import Problem, pose_problem
from tunebook.solve.search.layers import Array, Layers, Path
from tunebook.solve.search.shortest_path import (
    cheapest_different,
    cheapest_path,
    cheapest_within,
    leaps_fixed,
)
from tunebook.solve.unplayable import broken_tie_messages
from tunebook.solve.weights import Weights

LEAST_EVENTS = 2
MOST_TRIALS = 8

Form = tuple[int, ...]
"""Labels of a bar's events."""


class _Change(NamedTuple):
    """A bar, its events, and the form that it is to have."""

    bar: int
    events: list[int]
    form: Form


class _PricedWay(NamedTuple):
    """A form for likes: how often it is played already, the changes to it with their bounds, and
    those of them that can be afforded."""

    votes: int
    bounds: list[tuple[float, _Change]]
    affordable: list[tuple[float, _Change]]

    @property
    def is_whole(self) -> bool:
        return len(self.affordable) == len(self.bounds)

    @property
    def sum(self) -> float:
        return sum(bound for bound, _ in self.bounds)


def same_for_same(problem: Problem, path: Path) -> Path:
    """Give bars their usual form where it costs little; the path returned has its true cost."""
    allowance = problem.tables.weights.same_phrase
    changes = _affordable_changes(problem, path, path.cost + allowance)
    if not changes:
        return path
    together = _solve_with(problem, changes, path.cost + allowance * len(changes))
    if together is not None:
        return together
    kept: list[_Change] = []
    best = path
    for change in changes[:MOST_TRIALS]:
        found = _solve_with(problem, [*kept, change], best.cost + allowance)
        if found is not None:
            kept.append(change)
            best = found
    return best


def _affordable_changes(problem: Problem, path: Path, most: float) -> list[_Change]:
    """Changes to a form that all likes are to have, least first: each with a lower bound of the
    tune's cost of at most ``most``. The form is that which most of them have, or else the next for
    which all can be changed; of equals the one with the least bounds."""
    found: list[tuple[float, _Change]] = []
    for ways in _ways_to_be_alike(problem, path):
        priced: list[_PricedWay] = []
        for votes, changes in ways:
            if any(one.is_whole and one.votes > votes for one in priced):
                break
            bounds = [(_bound(problem, change), change) for change in changes]
            priced.append(_PricedWay(votes, bounds, [one for one in bounds if one[0] <= most]))
        whole = [one for one in priced if one.is_whole]
        best = min(whole, key=lambda one: (-one.votes, one.sum)) if whole else priced[0]
        found += best.affordable
    return [change for _, change in sorted(found, key=lambda item: (item[0], item[1].bar))]


def _ways_to_be_alike(problem: Problem, path: Path) -> list[list[tuple[int, list[_Change]]]]:
    """For bars that ask for the same and differ: for each of their forms how often it is played,
    and the changes of the others to it; the most played first."""
    events = problem.order.events
    by_bar: dict[int, list[int]] = {}
    for index, event in enumerate(events):
        by_bar.setdefault(event.bar, []).append(index)
    likes: dict[tuple[Hashable, ...], list[int]] = {}
    for bar, members in by_bar.items():
        if len(members) >= LEAST_EVENTS:
            asked = tuple(
                (problem.sets[i].demand, events[i].duration, events[i].piece) for i in members
            )
            likes.setdefault(asked, []).append(bar)
    found = []
    for bars in likes.values():
        forms = {bar: _form(problem, path, by_bar[bar]) for bar in bars}
        if len(set(forms.values())) == 1:
            continue
        votes: Counter[Form] = Counter()
        for bar in bars:
            votes[forms[bar]] += problem.order.times_played[by_bar[bar][0]]
        found.append(
            [
                (count, [_Change(bar, by_bar[bar], form) for bar in bars if forms[bar] != form])
                for form, count in votes.most_common()
            ]
        )
    return found


def _bound(problem: Problem, change: _Change) -> float:
    """A lower bound of the tune's cost with the change."""
    layers = problem.layers
    members, form = change.events, change.form
    first, last = members[0], members[-1]
    costs = layers.reached[first - 1] if first else None
    for index in range(first, last + 1):
        way = np.zeros(1) if costs is None else (layers.steps[index - 1] + costs).min(axis=1)
        costs = way + layers.relaxed[index]
        if index in members:
            allowed = problem.sets[index].label == form[members.index(index)]
            costs = np.where(allowed, costs, np.inf)
    return float("inf") if costs is None else float((costs + layers.ahead[last]).min())


def _form(problem: Problem, path: Path, members: list[int]) -> Form:
    return tuple(int(problem.sets[i].label[path.states[i]]) for i in members)


def _solve_with(problem: Problem, forced: list[_Change], most: float) -> Path | None:
    """The cheapest path with some events' labels given, if it costs at most ``most``."""
    states = list(problem.layers.states)
    for change in forced:
        for index, label in zip(change.events, change.form, strict=True):
            allowed = problem.sets[index].label == label
            states[index] = np.where(allowed, states[index], np.inf)
    layers = Layers(states, problem.layers.steps, problem.layers.leaps)
    return cheapest_within(layers, most)


NOTICEABLE = 2
MOST_EXTRA_COST = 500.0
"""Alternatives that cost more break a limit and are left out."""


def different_paths(
    problem: Problem, count: int, bars: tuple[int, int] | None = None, first: Path | None = None
) -> list[Path]:
    """The ``count`` cheapest paths of which each differs noticeably from all before it.

    ``bars`` (first and last bar index) narrows what counts as a difference to these bars; the
    rest of the tune goes along. ``first`` stands in for the cheapest path. Each path is the
    cheapest that differs from those before it, so the list is in rising order of cost.
    """
    paths = [first if first is not None else cheapest_path(problem.layers)]
    differences: list[list[Array]] = []
    while len(paths) < count:
        differences.append(differences_from(problem, paths[-1].states, bars))
        others = [path.states for path in paths]
        found = cheapest_different(problem.layers, others, differences, NOTICEABLE)
        if found is None or found.cost - paths[0].cost >= MOST_EXTRA_COST:
            break
        paths.append(found)
    return paths


def differences_from(
    problem: Problem, states: Sequence[int], bars: tuple[int, int] | None
) -> list[Array]:
    """For each layer how much each state differs from the path's state there: 0, 1 or 2."""
    found = []
    for event, layer, row in zip(problem.order.events, problem.sets, states, strict=True):
        is_outside = bars is not None and not bars[0] <= event.bar <= bars[1]
        if event.is_grace or event.piece or is_outside:
            found.append(np.zeros(len(layer), dtype=np.int64))
            continue
        tones = layer.tones
        moved = (layer.string[:, :tones] != layer.string[row, :tones]).any(axis=1)
        refingered = layer.label != layer.label[row]
        found.append(np.where(moved, 2, refingered.astype(np.int64)))
    return found


def note_alternatives(
    problem: Problem, path: Path, count: int
) -> dict[int, tuple[tuple[float, tuple[Stop, ...]], ...]]:
    """For each event the next best stops and what the whole tune would cost more with them.

    Where a tune has repeats, the notes at their far ends are kept as ``path`` has them, so that
    each figure is the true cost of a fingering that can be played; without repeats it is the least
    one. It can be below 0 where a note follows its phrase's usual form at a small cost.
    """
    layers = Layers(leaps_fixed(problem.layers, path.states), problem.layers.steps)
    bounds = layers.bounds
    found: dict[int, tuple[tuple[float, tuple[Stop, ...]], ...]] = {}
    for index, (event, layer) in enumerate(zip(problem.order.events, problem.sets, strict=True)):
        if event.piece:
            continue
        own = layer.stops[path.states[index]]
        best: dict[tuple[Stop, ...], float] = {}
        for state in np.argsort(bounds[index], kind="stable"):
            stops = layer.stops[state]
            extra = float(bounds[index][state]) - path.cost
            if stops != own and extra < MOST_EXTRA_COST:
                best.setdefault(stops, extra)
            if len(best) >= count:
                break
        found[index] = tuple((extra, stops) for stops, extra in best.items())
    return found


__all__ = ["DroneDemand", "Fingering", "choose_fingering", "k_best_fingerings"]


@dataclass(frozen=True)
class Fingering:
    """A fingering of a tune. ``notes`` has one entry per written note that sounds, in written
    order; ``cost`` is the effort of the hand, the sum over the tune as played, ``terms`` its parts
    by name; ``bow_cost`` is what it costs the bow to leave the drones; ``is_exact`` is False when a
    tune's repeats were too entangled for the exact search; ``consistency_cost`` is what giving the
    same phrase the same fingering cost above the cheapest."""

    notes: tuple[FingeredNote, ...]
    drone: tuple[DroneSpan, ...] = ()
    cost: float = 0.0
    bow_cost: float = 0.0
    terms: tuple[tuple[str, float], ...] = ()
    bar_difficulties: tuple[BarDifficulty, ...] = ()
    difficulty: float = 0.0
    messages: tuple[Message, ...] = ()
    is_exact: bool = True
    consistency_cost: float = 0.0
    other_ways: tuple[OtherWay, ...] = ()


def choose_fingering(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
    drone: Sequence[DroneDemand] = (),
    strings: Mapping[tuple[int, int], int] | None = None,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
    weights: Weights | None = None,
) -> Fingering:
    """The cheapest fingering of ``tune``.

    ``drone`` lists the drones to be held meanwhile; ``strings`` the strings on which notes stay,
    by the index of the bar and that of the note in it. ``alternatives`` asks for that many next
    best stops of each note, with what the whole tune would cost more; ``other_ways`` for that many
    next best fingerings that a player would tell apart from it (see ``alternatives``), ``bars``
    (first and last bar index) for such as differ within these bars. A note that cannot be played
    has no stops and is reported. Never raises for what a tune contains.
    """
    tables = tables_for(instrument, hand, limits or Limits(), weights)
    problem = pose_problem(tune, tables, whole_notes_per_second, drone, strings)
    if not problem.sets:
        return Fingering(fingered_notes(problem, None), messages=problem.messages)
    best = cheapest_path(problem.layers)
    path = same_for_same(problem, best)
    chosen = finish(problem, path, alternatives, path.cost - best.cost)
    if not other_ways:
        return chosen
    others = different_paths(problem, other_ways + 1, bars, path)[1:]
    found = (finish(problem, other) for other in others)
    return replace(
        chosen,
        other_ways=tuple(
            OtherWay(one.cost + one.bow_cost - chosen.cost - chosen.bow_cost, one.notes, one.drone)
            for one in found
        ),
    )


def k_best_fingerings(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
    drone: Sequence[DroneDemand] = (),
    count: int = 3,
    bars: tuple[int, int] | None = None,
    weights: Weights | None = None,
) -> tuple[Fingering, ...]:
    """The ``count`` cheapest fingerings that a player would tell apart, cheapest first.

    The first is the cheapest of all (bars are not made alike here), each further one the cheapest
    that differs noticeably from all before it (see ``alternatives``). ``bars`` (first and last bar
    index) asks for other ways through these bars only. Fewer come back where there are no more.
    """
    tables = tables_for(instrument, hand, limits or Limits(), weights)
    problem = pose_problem(tune, tables, whole_notes_per_second, drone)
    if not problem.sets:
        return ()
    return tuple(finish(problem, path) for path in different_paths(problem, count, bars))


def finish(
    problem: Problem, path: Path, alternatives: int = 0, consistency_cost: float = 0.0
) -> Fingering:
    """Write a path out as a fingering."""
    priced = price_path(problem, path.states)
    others = note_alternatives(problem, path, alternatives) if alternatives else None
    notes = fingered_notes(problem, priced, others)
    totals = priced.totals
    cost = sum(totals.values())
    return Fingering(
        notes=notes,
        drone=drone_spans(problem, priced),
        cost=cost,
        bow_cost=priced.bow_cost,
        terms=tuple(sorted(totals.items())),
        bar_difficulties=bar_difficulties(problem.tune, notes, problem.speed),
        difficulty=whole_difficulty(cost, problem.order.seconds),
        messages=(*problem.messages, *_notices(problem, path, priced)),
        is_exact=path.is_exact,
        consistency_cost=consistency_cost,
    )


def _notices(problem: Problem, path: Path, priced: PricedPath) -> list[Message]:
    """What is to be said about the answer itself."""
    tune = problem.tune
    events = zip(problem.order.events, priced.breaks_ties, strict=True)
    found = broken_tie_messages(tune, [event for event, is_broken in events if is_broken])
    if not path.is_exact:
        what = "too many repeats cross each other to prove that the fingering is the cheapest"
        found.append(Message(tune.place, "fingering", what, "write the tune out if it matters"))
    return found
