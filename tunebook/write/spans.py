"""Slurs, ties, beams and long trills of a staff: what opens and closes at which note."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from tunebook.model.tune import Note, Pitch
from tunebook.write.note_values import flag_count

_MOST_SLURS = 6


@dataclass
class NoteSpans:
    """Post-events for one note: those at its first head, and those at its last (a long note may
    be written as several heads tied together). ``tied_heads`` are the places, from the lowest
    tone, of those tied on where the others of the same pitch are struck again; ``held`` are the
    tones that a tie drawn from the note before brings here. ``trills`` are events at the first
    head, ``trill_ends`` commands after the last."""

    first: list[str] = field(default_factory=list)
    last: list[str] = field(default_factory=list)
    trills: list[str] = field(default_factory=list)
    trill_ends: list[str] = field(default_factory=list)
    tied_heads: tuple[int, ...] = ()
    held: frozenset[Pitch] = frozenset()


def spans_of(bars: Sequence[Sequence[Note]]) -> dict[int, NoteSpans]:
    """Slurs, ties, beams and long trills of the notes in ``bars``, by ``id`` of the note.

    Only notes that are printed may be passed. A slur or tie without its other end is left out
    (a tie into or out of a numbered ending is drawn as a half tie); beams end with their bar.
    """
    spans: dict[int, NoteSpans] = defaultdict(NoteSpans)
    for notes in bars:
        _add_beams([note for note in notes if not note.is_grace], spans)
        for group in _grace_groups(notes):
            _add_beams(group, spans, is_joined=True)
    every = [note for notes in bars for note in notes]
    _add_slurs(every, spans)
    timed = [note for note in every if not note.is_grace]
    _add_ties(timed, spans)
    _add_trills(timed, spans)
    return spans


def _add_beams(
    notes: Sequence[Note], spans: dict[int, NoteSpans], *, is_joined: bool = False
) -> None:
    run: list[Note] = []
    for note in notes:
        if note.is_rest or flag_count(note.written) == 0:
            _close_run(run, spans)
            run = []
            continue
        run.append(note)
        if not (note.is_joined or is_joined):
            _close_run(run, spans)
            run = []
    _close_run(run, spans)


def _close_run(run: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    if len(run) > 1:
        spans[id(run[0])].first.append("[")
        spans[id(run[-1])].last.append("]")


def _grace_groups(notes: Sequence[Note]) -> list[list[Note]]:
    groups: list[list[Note]] = [[]]
    for note in notes:
        if note.is_grace:
            groups[-1].append(note)
        elif groups[-1]:
            groups.append([])
    return [group for group in groups if len(group) > 1]


def _add_slurs(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    opened: list[tuple[int, int]] = []
    pairs: list[tuple[int, int]] = []
    for place, note in enumerate(notes):
        for _ in range(note.slurs_closed):
            if opened and opened[-1][0] < place:
                pairs.append((opened.pop()[0], place))
        opened += [(place, number) for number in range(note.slurs_opened)]
    ends: list[int] = []
    for first, last in sorted(set(pairs)):
        ends = [end if end > first else -1 for end in ends]
        layer = ends.index(-1) if -1 in ends else len(ends)
        if layer >= _MOST_SLURS:
            continue
        ends[layer:] = [last, *ends[layer + 1 :]]
        name = f"\\={layer}" if layer else ""
        spans[id(notes[first])].first.append(f"{name}(")
        spans[id(notes[last])].last.append(f"{name})")


def _add_ties(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    for place, note in enumerate(notes):
        after = notes[place + 1] if place + 1 < len(notes) else None
        before = notes[place - 1] if place else None
        tied = {pitch for pitch, is_tied in zip(note.pitches, note.ties, strict=False) if is_tied}
        if tied:
            following = set(after.pitches) if after is not None else set()
            tones = sorted(note.pitches, key=lambda pitch: pitch.midi)
            if tied & following and set(tones) & following - tied:
                spans[id(note)].tied_heads = tuple(
                    head for head, pitch in enumerate(tones) if pitch in tied
                )
            else:
                spans[id(note)].last.append("~" if tied & following else "\\laissezVibrer")
            if after is not None:
                spans[id(after)].held = frozenset(tied & following)
        if any(note.is_tied_from_before) and (before is None or not any(before.ties)):
            spans[id(note)].first.append("\\repeatTie")


def _add_trills(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    """Trills with a wavy line, which covers the note that ends it; one without an end is a plain
    trill."""
    opened: Note | None = None
    last: Note | None = None
    for note in notes:
        if not note.is_rest:
            last = note
        if "trill(" in note.decorations and not note.is_rest:
            if opened is not None:
                spans[id(opened)].trills.append("^\\trill")
            opened = note
        if "trill)" in note.decorations and opened is not None and last is not None:
            spans[id(opened)].trills.append("^\\startTrillSpan")
            spans[id(last)].trill_ends.append("<>\\stopTrillSpan")
            opened = None
    if opened is not None:
        spans[id(opened)].trills.append("^\\trill")
