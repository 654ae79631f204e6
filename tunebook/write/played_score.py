"""The played order as a score of its own that makes a MIDI file: repeats and endings written out.

Meant for checks against other readers of ABC; grace notes and decorations are left out.
"""

from __future__ import annotations

from typing import Any

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Note
from tunebook.write.leaves import head_text, make_leaves, put
from tunebook.write.printed_bars import length_of

MOST_PLAYED_BARS = 4000


def played_block(arrangement: Arrangement) -> str:
    """A score block with a midi block and no layout, at the arrangement's tempo."""
    import abjad

    tune = arrangement.tune
    order = [tune.bars[index] for index in tune.played[:MOST_PLAYED_BARS]]
    heard = [note for bar in order for note in bar.notes if not note.is_grace]
    place = 0
    bars: list[Any] = []
    for bar in order:
        leaves: list[Any] = []
        for note in bar.notes:
            if note.is_grace:
                continue
            after = heard[place + 1] if place + 1 < len(heard) else None
            leaves += _note(note, after)
            place += 1
        missing = bar.duration - length_of(bar.notes)
        if missing > 0:
            leaves += make_leaves("s", missing)
        if leaves:
            bars.append(abjad.Container(leaves))
    quarters = max(1, round(arrangement.whole_notes_per_second * 4 * 60))
    staff = abjad.Staff(bars, name="Played")
    if not bars:
        return ""
    put(staff, ["\\cadenzaOn", f"\\tempo 4 = {quarters}"], "opening")
    score = abjad.lilypond(abjad.Score([staff], name="PlayedTune"))
    return f"\\score {{\n{score}\n  \\midi {{ }}\n}}\n"


def _note(note: Note, after: Note | None) -> list[Any]:
    import abjad

    value = note.duration if note.tuplet is None else note.written
    head = "r" if note.is_rest else head_text(note, shows_accidentals=False)
    leaves = make_leaves(head, value)
    if _is_tied_on(note, after):
        last = leaves[-1]
        put(last if not isinstance(last, abjad.Container) else last[-1], ["~"], "after")
    if note.tuplet is None:
        return leaves
    container = abjad.Container(leaves)
    put(container, [f"\\scaleDurations {note.tuplet.q}/{note.tuplet.p}"], "before")
    return [container]


def _is_tied_on(note: Note, after: Note | None) -> bool:
    if after is None:
        return False
    tied = {pitch for pitch, is_tied in zip(note.pitches, note.ties, strict=False) if is_tied}
    return bool(tied & set(after.pitches))
