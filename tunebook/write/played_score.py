"""The played order as a score of its own that makes a MIDI file: repeats and endings written out.

Meant for checks against other readers of ABC; grace notes and decorations are left out.
"""

from __future__ import annotations

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Note
from tunebook.write.leaves import head_text, make_leaves
from tunebook.write.printed_bars import length_of
from tunebook.write.text_tree import Component, Group, context, last_leaf, printed

MOST_PLAYED_BARS = 4000


def played_block(arrangement: Arrangement) -> str:
    """A score block with a midi block and no layout, at the arrangement's tempo."""
    tune = arrangement.tune
    order = [tune.bars[index] for index in tune.played[:MOST_PLAYED_BARS]]
    heard = [note for bar in order for note in bar.notes if not note.is_grace]
    place = 0
    bars: list[Component] = []
    for bar in order:
        leaves: list[Component] = []
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
            bars.append(Group(leaves))
    quarters = max(1, round(arrangement.whole_notes_per_second * 4 * 60))
    if not bars:
        return ""
    staff = context("Staff", "Played", bars)
    staff.opening += ["\\cadenzaOn", f"\\tempo 4 = {quarters}"]
    score = printed(context("Score", "PlayedTune", [staff], together=True))
    return f"\\score {{\n{score}\n  \\midi {{ }}\n}}\n"


def _note(note: Note, after: Note | None) -> list[Component]:
    value = note.duration if note.tuplet is None else note.written
    head = "r" if note.is_rest else head_text(note.pitches)
    leaves = make_leaves(head, value)
    if _is_tied_on(note, after):
        last_leaf(leaves[-1]).after.append("~")
    if note.tuplet is None:
        return leaves
    return [Group(leaves, before=[f"\\scaleDurations {note.tuplet.q}/{note.tuplet.p}"])]


def _is_tied_on(note: Note, after: Note | None) -> bool:
    if after is None:
        return False
    tied = {pitch for pitch, is_tied in zip(note.pitches, note.ties, strict=False) if is_tied}
    return bool(tied & set(after.pitches))
