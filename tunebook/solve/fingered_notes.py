"""The answer note by note, in written order."""

from __future__ import annotations

from tunebook.model.arrangement import FingeredNote, Stop
from tunebook.model.tune import Tune
from tunebook.solve.events import Event, NoteRef
from tunebook.solve.problem import Problem
from tunebook.solve.walk import Walk
from tunebook.solve.what_is_printed import Played, marks

SHOWN_WAYS = ("crossed", "barre", "row_jump", "shift", "substitution")


def fingered_notes(problem: Problem, walk: Walk | None) -> tuple[FingeredNote, ...]:
    """One entry for each written note that sounds; those that cannot be played have no stops."""
    tune = problem.tune
    entries: list[tuple[NoteRef, Played, dict[str, float], bool, tuple[Stop, ...]]] = []
    starts = section_starts(tune, problem.course.events)
    index = 0
    events = problem.course.events
    while walk is not None and index < len(events):
        pieces = events[index].pieces
        while pieces > 1 and index + pieces > len(events):
            pieces -= 1
        entries.extend(_entries(problem, walk, index, pieces, starts))
        index += pieces
    for event in problem.unplayable:
        if event.piece == 0:
            entries.extend((ref, Played((), 0.0, ()), {}, False, ()) for ref in event.refs)
    entries.sort(key=lambda entry: entry[0])
    shown = marks([entry[1] for entry in entries], problem.tables.reach.instrument)
    return tuple(
        FingeredNote(
            bar_index=ref.bar,
            note_index=ref.note,
            note=tune.bars[ref.bar].notes[ref.note],
            stops=played.stops,
            hand_key=played.hand_key,
            ways=played.ways,
            terms=tuple(sorted(terms.items())),
            is_continued=played.is_continued,
            is_needed=needed,
            shows_string=shows_string,
            beyond_limits=is_beyond,
            stops_after=after,
        )
        for (ref, played, terms, is_beyond, after), (needed, shows_string) in zip(
            entries, shown, strict=True
        )
    )


def _entries(
    problem: Problem, walk: Walk, index: int, pieces: int, starts: set[NoteRef]
) -> list[tuple[NoteRef, Played, dict[str, float], bool, tuple[Stop, ...]]]:
    """Entries of the written notes that the event ``index`` and its later pieces cover."""
    event = problem.course.events[index]
    terms = dict(walk.terms[index])
    for later in range(index + 1, index + pieces):
        for name, cost in walk.terms[later].items():
            terms[name] = terms.get(name, 0.0) + cost
    is_beyond = True in walk.breaks_limits[index : index + pieces]
    stops = _stops(problem, walk, index)
    last = _stops(problem, walk, index + pieces - 1) if pieces > 1 else stops
    note = event.note
    is_pinned = note.string_pin is not None or any(p is not None for p in note.finger_pins)
    hand_key = float(walk.postures[index].hand_key)
    ways = tuple([way for way in SHOWN_WAYS if way in terms])
    found = []
    for number, ref in enumerate(event.refs):
        played = Played(
            stops, hand_key, ways if number == 0 else (), ref in starts, is_pinned, number > 0
        )
        after = last if number == 0 and last != stops else ()
        found.append((ref, played, terms if number == 0 else {}, is_beyond, after))
    return found


def _stops(problem: Problem, walk: Walk, index: int) -> tuple[Stop, ...]:
    return problem.sets[index].stops[walk.rows[index]]


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
        passed = range(bar_before + 1, event.bar + 1)
        waiting = waiting or any(bar in bars for bar in passed)
        bar_before = max(bar_before, event.bar)
        if waiting and not event.is_grace and event.piece == 0:
            starts.add(event.refs[0])
            waiting = False
    return starts
