"""Single notes, chords and rests as abjad leaves with what stands on them.

abjad's constructors differ between its releases; what is used here (leaves made from text,
containers, literals, grace containers) is the same in all that this package supports.
"""

from __future__ import annotations

import copy
import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from tunebook.model.tune import Note, Pitch
from tunebook.write.note_values import is_dyadic, split_value, tuplet_for, value_text

_LETTERS = "cdefgab"
_ALTERS = {-2: "ff", -1: "f", 0: "", 1: "s", 2: "ss"}


@dataclass
class Written:
    """What is to be written at one note: commands before it, post-events, commands after it."""

    before: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    last_events: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)


def pitch_text(pitch: Pitch, accidental: str | None = None) -> str:
    """A pitch in LilyPond's english note names, with ! or ? where the page shows a sign."""
    octave = pitch.octave - 3
    marks = "'" * octave if octave > 0 else "," * -octave
    shown = {"needed": "!", "courtesy": "?"}.get(accidental or "", "")
    return f"{_LETTERS[pitch.step]}{_ALTERS.get(pitch.alter, '')}{marks}{shown}"


def head_text(note: Note, *, shows_accidentals: bool = True) -> str:
    """The head or heads of a note without its value: "fs''!" or "<a e'>"."""
    shown: Sequence[str | None] = note.shown_accidentals
    if not shows_accidentals or len(shown) != len(note.pitches):
        shown = (None,) * len(note.pitches)
    heads = [pitch_text(pitch, sign) for pitch, sign in zip(note.pitches, shown, strict=True)]
    return heads[0] if len(heads) == 1 else f"<{' '.join(heads)}>"


def make_leaf(head: str, value: Fraction) -> Any:
    """One abjad leaf; ``head`` is "r" for a rest, "s" for a blank, "R" for a bar's rest."""
    return copy.copy(_pattern(head, value_text(value) or "4"))


@functools.lru_cache(maxsize=2048)
def _pattern(head: str, value: str) -> Any:
    """A leaf to be copied, which takes an eighth of the time of making one from text."""
    import abjad

    text = head + value
    if head == "r":
        return abjad.Rest(text)
    if head == "s":
        return abjad.Skip(text)
    if head == "R":
        return abjad.MultimeasureRest(text)
    return abjad.Chord(text) if head.startswith("<") else abjad.Note(text)


def make_leaves(head: str, value: Fraction, written: Written | None = None) -> list[Any]:
    """``value`` as leaves tied together, with ``written`` on them.

    A value that no head can show outside a tuplet is scaled inside a container of its own.
    """
    if not is_dyadic(value):
        return [_scaled(head, value, written)]
    leaves = [make_leaf(head, part) for part in split_value(value)]
    if head not in ("r", "s", "R"):
        bare = head.replace("!", "").replace("?", "")
        leaves[1:] = [make_leaf(bare, part) for part in split_value(value)[1:]]
        for leaf in leaves[:-1]:
            put(leaf, ["~"], "after")
    if written is not None:
        put(leaves[0], written.before, "before")
        if len(leaves) == 1:
            _put_events(leaves[0], [*written.events, *written.last_events, *written.after])
        else:
            _put_events(leaves[0], written.events)
            _put_events(leaves[-1], [*written.last_events, *written.after])
    return leaves


def _put_events(leaf: Any, events: Sequence[str]) -> None:
    """All events of a note on one line, which is easier to read."""
    put(leaf, [" ".join(events)] if events else [], "after")


def _scaled(head: str, value: Fraction, written: Written | None) -> Any:
    import abjad

    odd, power = tuplet_for(value)
    inside = make_leaves(head, value * Fraction(odd, power), written)
    container = abjad.Container(inside)
    put(container, [f"\\scaleDurations {power}/{odd}"], "before")
    return container


def put_silent_graces(leaves: list[Any], length: Fraction) -> None:
    """Blank grace notes of ``length`` before the first leaf. Where one staff has grace notes at a
    bar line the others need as much room, else their key signatures come too late."""
    import abjad

    if length > 0 and leaves and is_dyadic(length):
        container = abjad.BeforeGraceContainer(make_leaves("s", length))
        abjad.attach(container, first_leaf(leaves[0]))


def first_leaf(component: Any) -> Any:
    """The first leaf of a component."""
    import abjad

    while isinstance(component, abjad.Container):
        component = component[0]
    return component


def last_leaf(component: Any) -> Any:
    """The last leaf of a component."""
    import abjad

    while isinstance(component, abjad.Container):
        component = component[-1]
    return component


def tie_heads(chord: Any, places: Sequence[int]) -> None:
    """Tie single heads of a chord; abjad has no tie inside a chord, so it goes as a tweak."""
    import abjad

    heads = chord.note_heads() if callable(chord.note_heads) else chord.note_heads
    for place in places:
        abjad.tweak(heads[place], "\\tweak Tie.font-size 0 \\tied")


def put(component: Any, lines: Iterable[str], site: str) -> None:
    """Attach lines of LilyPond text to a component; nothing when there are none."""
    import abjad

    text = list(lines)
    if text:
        abjad.attach(abjad.LilyPondLiteral(text, site=site), component)
