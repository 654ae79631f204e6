"""The tune as the player of its second voice sees it."""

from __future__ import annotations

from dataclasses import replace

from tunebook.model.tune import Bar, Note, Tune, Voice
from tunebook.model.voices import voice_as_tune

JUMPS = frozenset(
    ("segno", "coda", "fine", "D.C.", "D.C.alfine", "D.C.alcoda", "D.S.", "D.S.alfine",
     "D.S.alcoda", "dacapo", "dacoda", "tocoda")
)  # fmt: skip
"""Decorations that say how the tune goes on, wherever in the melody they stand."""
SIGNS = frozenset(("segno", "coda"))
"""Those that stand where a bar begins."""


def part_of(tune: Tune) -> Tune:
    """Return ``tune`` with its first further voice in the melody's place, and the melody as the
    first further voice; a tune of one voice as it is. Of a tune that this function gave, the tune
    with its melody first again.

    Jumps, which are written once for all voices, go along; words stay with the melody. An overlay
    parts from the melody in its own bars: in the others its player has the melody's notes.
    """
    if not tune.voices:
        return tune
    first, *others = tune.voices
    name = tune.melody_voice
    melody = Voice(
        place=tune.place,
        id=name.id,
        name=name.name,
        short_name=name.short_name,
        bars=tune.bars,
    )
    pairs = list(zip(first.bars, tune.bars, strict=True))
    if "&" in first.id:
        pairs = [(_with_melody(bar, leading), leading) for bar, leading in pairs]
    bars = tuple(_with_common(bar, leading) for bar, leading in pairs)
    part = voice_as_tune(tune, first)
    return replace(part, bars=bars, voices=(melody, *others), messages=tune.messages)


def _with_melody(bar: Bar, leading: Bar) -> Bar:
    """The bar, or where nothing is written in it, with the ``leading`` voice's notes."""
    if any(note.pitches or _is_written(note) for note in bar.notes):
        return bar
    return replace(bar, notes=tuple(_bare(note) for note in leading.notes))


def _is_written(rest: Note) -> bool:
    """Whether a rest stands in the text, and does not only fill a bar."""
    return rest.end_column > rest.place.column


def _bare(note: Note) -> Note:
    """The note without what is meant for the melody's player or said once for all."""
    return replace(
        note,
        finger_pins=(None,) * len(note.pitches),
        string_pin=None,
        drone_pin=None,
        trill_pin=None,
        chord=None,
        later_chords=(),
        syllables=(),
        decorations=tuple(name for name in note.decorations if name not in JUMPS),
    )


def _with_common(bar: Bar, leading: Bar) -> Bar:
    """The bar with what stands in the ``leading`` voice's bar for all."""
    own = {*bar.decorations, *(name for note in bar.notes for name in note.decorations)}
    jumps = [name for note in leading.notes for name in note.decorations if name in JUMPS]
    there = (*leading.decorations, *(name for name in jumps if name not in SIGNS))
    return replace(
        bar,
        notes=_with_signs(bar.notes, [name for name in jumps if name in SIGNS - own]),
        decorations=(*bar.decorations, *(name for name in there if name not in own)),
    )


def _with_signs(notes: tuple[Note, ...], signs: list[str]) -> tuple[Note, ...]:
    """The notes with ``signs`` over the first that takes time."""
    at = next((place for place, note in enumerate(notes) if not note.is_grace), None)
    if at is None or not signs:
        return notes
    bearer = replace(notes[at], decorations=(*notes[at].decorations, *dict.fromkeys(signs)))
    return (*notes[:at], bearer, *notes[at + 1 :])
