"""The answer note by note, in written order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.model.arrangement import WAYS, FingeredNote, HandMoment, Stop
from tunebook.model.tune import Tune
from tunebook.solve.demands import has_pins
from tunebook.solve.events import Event, NoteRef
from tunebook.solve.problem import Problem
from tunebook.solve.walk import Walk
from tunebook.solve.what_is_printed import Played, marks

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
                ref,
                Played(
                    first.stops,
                    first.hand_key,
                    ways if is_struck else (),
                    ref in starts,
                    has_pins(event.note),
                    not is_struck,
                ),
                tuple(sorted(terms.items())) if is_struck else (),
                is_beyond,
                last.stops if is_struck and last.stops != first.stops else (),
                moments if is_struck else (),
                alternatives.get(index, ()) if is_struck else (),
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
        event.onset,
        _NO_TIME if event.is_grace else event.duration,
        layer.stops[row],
        float(posture.hand_key),
        None if layer.drone is None else _drone_stop(problem, layer.drone, posture.holder),
        layer.may_pause and bool(layer.pause[row]),
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
