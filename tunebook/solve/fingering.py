"""The cheapest fingering of a tune: string, key, finger and place of the hand for every note.

The search is exact for the costs in ``weights``: it finds the least sum over the tune as played,
each written note having one fingering (see ``shortest_path`` for how repeats are tied). What it
does not know is a player's taste: best for this cost is not the same as what a player would choose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tunebook.errors import Message
from tunebook.model.arrangement import BarDifficulty, DroneSpan, FingeredNote, OtherWay
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.alternatives import different_paths, note_alternatives
from tunebook.solve.cost_tables import tables_for
from tunebook.solve.demands import DroneDemand
from tunebook.solve.difficulty import bar_difficulties, whole_difficulty
from tunebook.solve.drone_spans import drone_spans
from tunebook.solve.fingered_notes import fingered_notes
from tunebook.solve.layers import Path
from tunebook.solve.phrases import same_for_same
from tunebook.solve.problem import Problem, pose_problem
from tunebook.solve.shortest_path import cheapest_path
from tunebook.solve.unplayable import broken_tie_messages
from tunebook.solve.walk import Walk, walk_of
from tunebook.solve.weights import Weights

__all__ = ["DroneDemand", "Fingering", "choose_fingering", "k_best_fingerings"]


@dataclass(frozen=True)
class Fingering:
    """A fingering of a tune. ``notes`` has one entry per written note that sounds, in written
    order; ``cost`` is the sum over the tune as played, ``terms`` its parts by name; ``is_exact``
    is False when a tune's repeats were too entangled for the exact search; ``consistency_cost`` is
    what giving the same phrase the same fingering cost above the cheapest."""

    notes: tuple[FingeredNote, ...]
    drone: tuple[DroneSpan, ...] = ()
    cost: float = 0.0
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
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
    weights: Weights | None = None,
) -> Fingering:
    """The cheapest fingering of ``tune``.

    ``drone`` lists the drones to be held meanwhile. ``alternatives`` asks for that many next best
    stops of each note, with what the whole tune would cost more; ``other_ways`` for that many next
    best fingerings that a player would tell apart from it (see ``alternatives``), ``bars`` (first
    and last bar index) for such as differ within these bars. A note that cannot be played has
    no stops and is reported. Never raises for what a tune contains.
    """
    tables = tables_for(instrument, hand, limits or Limits(), weights)
    problem = pose_problem(tune, tables, whole_notes_per_second, drone)
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
        other_ways=tuple(OtherWay(one.cost - chosen.cost, one.notes) for one in found),
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
    walk = walk_of(problem, path.states)
    others = note_alternatives(problem, path, alternatives) if alternatives else None
    notes = fingered_notes(problem, walk, others)
    totals = walk.totals
    cost = sum(totals.values())
    return Fingering(
        notes=notes,
        drone=drone_spans(problem, walk),
        cost=cost,
        terms=tuple(sorted(totals.items())),
        bar_difficulties=bar_difficulties(problem.tune, notes, problem.speed),
        difficulty=whole_difficulty(cost, problem.course.seconds),
        messages=(*problem.messages, *_notices(problem, path, walk)),
        is_exact=path.is_exact,
        consistency_cost=consistency_cost,
    )


def _notices(problem: Problem, path: Path, walk: Walk) -> list[Message]:
    """What is to be said about the answer itself."""
    tune = problem.tune
    events = zip(problem.course.events, walk.breaks_ties, strict=True)
    found = broken_tie_messages(tune, [event for event, is_broken in events if is_broken])
    if not path.is_exact:
        what = "too many repeats cross each other to prove that the fingering is the cheapest"
        found.append(Message(tune.place, "fingering", what, "write the tune out if it matters"))
    return found
