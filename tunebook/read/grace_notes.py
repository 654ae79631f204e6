"""A tune without its grace notes, for editions that leave them out."""

from __future__ import annotations

from dataclasses import replace

from tunebook.model.tune import Bar, Note, Tune


def without_grace_notes(tune: Tune) -> Tune:
    """Return the tune with grace notes taken out; slurs that began or ended on one move to the
    note beside it, and a slur left on a single note goes."""
    return replace(tune, bars=tuple(_plain_bar(bar) for bar in tune.bars))


def _plain_bar(bar: Bar) -> Bar:
    if not any(note.is_grace for note in bar.notes):
        return bar
    kept: list[Note] = []
    opened = 0
    for note in bar.notes:
        if note.is_grace:
            opened += note.slurs_opened
            closed = note.slurs_closed
            if closed and opened:
                closed, opened = max(0, closed - opened), max(0, opened - closed)
            if closed and kept:
                kept[-1] = replace(kept[-1], slurs_closed=kept[-1].slurs_closed + closed)
            continue
        starts, ends = note.slurs_opened + opened, note.slurs_closed
        if opened and ends:
            paired = min(opened, ends)
            starts, ends = starts - paired, ends - paired
        kept.append(replace(note, slurs_opened=starts, slurs_closed=ends))
        opened = 0
    return replace(bar, notes=tuple(kept))
