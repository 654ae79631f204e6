"""The plain line of a tune: its notes without grace notes, trills and quick turns.

A quick turn is a run of notes shorter than those in which the tune runs (its commonest note value)
that leaves a tone and comes back to it, no farther from it than a third, in the time of two such
notes at most: it becomes that tone for as long. So does a run that leads to the tone with which it
began.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.model.spelling import with_signs
from tunebook.model.tune import Bar, Note, Tune
from tunebook.solve.line.beats import is_one_note

ORNAMENTS = frozenset(
    {"trill", "T", "trill(", "trill)", "pralltriller", "uppermordent", "lowermordent", "mordent",
     "roll", "~", "P", "M", "turn", "turnx", "invertedturn", "invertedturnx", "slide"}
)  # fmt: skip
LEAST_TURN = 3
FARTHEST_STEPS = 2


def plain_line(tune: Tune) -> Tune:
    """Return the tune without its ornaments; its grace notes are taken out already. Fingers that
    are pinned stay with the notes that stay."""
    usual = _usual_length(tune)
    bars = tuple(_plain_bar(bar, usual) for bar in tune.bars)
    return replace(tune, bars=with_signs(bars), line="plain")


def _usual_length(tune: Tune) -> Fraction:
    """The note value in which the tune runs: the commonest, of equals the shorter."""
    counts = Counter(
        note.duration
        for bar in tune.bars
        for note in bar.notes
        if not (note.is_rest or note.is_grace) and note.duration > 0
    )
    return min(counts, key=lambda length: (-counts[length], length), default=Fraction(1, 8))


def _plain_bar(bar: Bar, usual: Fraction) -> Bar:
    notes = [_without_ornaments(note) for note in bar.notes]
    done: list[Note] = []
    at = 0
    while at < len(notes):
        end = _end_of_turn(notes, at, usual)
        done.append(_as_one(notes[at:end]) if end > at + 1 else notes[at])
        at = max(end, at + 1)
    return replace(bar, notes=tuple(done))


def _without_ornaments(note: Note) -> Note:
    if not ORNAMENTS.intersection(note.decorations):
        return note
    kept = tuple(name for name in note.decorations if name not in ORNAMENTS)
    return replace(note, decorations=kept)


def _end_of_turn(notes: Sequence[Note], start: int, usual: Fraction) -> int:
    """The index after a turn that begins at ``start``, or ``start`` where none does."""
    if start and _goes_on(notes[start - 1], notes[start], usual):
        return start  # within a longer run
    end = start
    while end < len(notes) and _is_quick(notes[end], usual) and _is_near(notes[end], notes[start]):
        end += 1
    run = notes[start:end]
    for length in range(len(run), LEAST_TURN - 1, -1):
        turn = run[:length]
        follows = notes[start + length] if start + length < len(notes) else None
        comes_back = turn[-1].pitches == turn[0].pitches
        leads_back = follows is not None and follows.pitches == turn[0].pitches
        is_short = sum((note.duration for note in turn), Fraction(0)) <= 2 * usual
        if follows is not None and _goes_on(turn[-1], follows, usual):
            continue  # a part of a longer run
        if is_short and (comes_back or leads_back) and _can_be_one(turn):
            return start + length
    return start


def _is_quick(note: Note, usual: Fraction) -> bool:
    if note.is_rest or note.is_grace or len(note.pitches) != 1 or any(note.is_tied_from_before):
        return False
    return note.duration <= Fraction(2, 3) * usual


def _goes_on(note: Note, after: Note, usual: Fraction) -> bool:
    """Whether two notes are of one quick run, in which a tuplet is one of its own."""
    if after.tuplet is not None and not after.tuplet.position:
        return False
    if note.tuplet is not None and note.tuplet.position == note.tuplet.size - 1:
        return False
    return _is_quick(note, usual) and _is_quick(after, usual)


def _is_near(note: Note, first: Note) -> bool:
    steps = [7 * one.pitches[0].octave + one.pitches[0].step for one in (note, first)]
    return abs(steps[0] - steps[1]) <= FARTHEST_STEPS


def _can_be_one(turn: Sequence[Note]) -> bool:
    """Whether one note can be written for these, whole tuplets or none, and nothing is lost."""
    length = sum((note.duration for note in turn), Fraction(0))
    tuplets = [note.tuplet for note in turn if note.tuplet is not None]
    if tuplets:
        first, last = turn[0].tuplet, turn[-1].tuplet
        if first is None or last is None or first.position or last.position != last.size - 1:
            return False
        if len({one.serial for one in tuplets}) != 1 or len(tuplets) != len(turn):
            return False
    has_more = any(note.chord or note.drone_pin or any(note.ties) for note in turn[1:])
    return is_one_note(length) and not has_more


def _as_one(turn: Sequence[Note]) -> Note:
    length = sum((note.duration for note in turn), Fraction(0))
    opened = closed = 0
    for note in turn:
        closed += max(0, note.slurs_closed - opened)
        opened = max(0, opened - note.slurs_closed) + note.slurs_opened
    return replace(
        turn[0],
        duration=length,
        written=length,
        tuplet=None,
        slurs_opened=opened,
        slurs_closed=closed,
        is_joined=turn[-1].is_joined,
        end_column=turn[-1].end_column,
        later_chords=(),
    )
