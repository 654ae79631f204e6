"""Single notes, chords and rests as leaves of source with what stands on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.model.tune import Pitch
from tunebook.write.note_values import is_dyadic, split_value, tuplet_for, value_text
from tunebook.write.text_tree import Component, Group, Leaf, first_leaf, grace_group

_LETTERS = "cdefgab"
_ALTERS = {
    -2.0: "ff", -1.5: "tqf", -1.0: "f", -0.5: "qf", 0.0: "",
    0.5: "qs", 1.0: "s", 1.5: "tqs", 2.0: "ss",
}  # fmt: skip


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
    return f"{_LETTERS[pitch.step]}{_ALTERS.get(pitch.alteration, '')}{marks}{shown}"


def head_text(pitches: Sequence[Pitch], signs: Sequence[str | None] = ()) -> str:
    """The head or heads of a note without its value: "fs''!" or "<a e'>". ``signs`` are parallel
    to the pitches; without them none is shown."""
    shown = signs or (None,) * len(pitches)
    heads = [pitch_text(pitch, sign) for pitch, sign in zip(pitches, shown, strict=True)]
    return heads[0] if len(heads) == 1 else f"<{' '.join(heads)}>"


def make_leaves(head: str, value: Fraction, written: Written | None = None) -> list[Component]:
    """``value`` as leaves tied together, with ``written`` on them; ``head`` is "r" for a rest,
    "s" for a blank, "R" for a bar's rest.

    A value that no head can show outside a tuplet is scaled inside a group of its own.
    """
    if not is_dyadic(value):
        return [_scaled(head, value, written)]
    leaves = [Leaf(head, value_text(part) or "4") for part in split_value(value)]
    if written is not None:
        leaves[0].before += written.before
        if len(leaves) == 1:
            _put_events(leaves[0], [*written.events, *written.last_events, *written.after])
        else:
            _put_events(leaves[0], written.events)
            _put_events(leaves[-1], [*written.last_events, *written.after])
    if head not in ("r", "s", "R"):
        for leaf in leaves[:-1]:
            leaf.after.append("~")
        for leaf in leaves[1:]:
            leaf.head = head.replace("!", "").replace("?", "")
    return list(leaves)


def _put_events(leaf: Leaf, events: Sequence[str]) -> None:
    """All events of a note on one line, which is easier to read."""
    if events:
        leaf.after.append(" ".join(events))


def _scaled(head: str, value: Fraction, written: Written | None) -> Group:
    odd, power = tuplet_for(value)
    inside = make_leaves(head, value * Fraction(odd, power), written)
    return Group(inside, before=[f"\\scaleDurations {power}/{odd}"])


def put_silent_graces(leaves: Sequence[Component], length: Fraction) -> None:
    """Blank grace notes of ``length`` before the first leaf. Where one staff has grace notes at a
    bar line the others need as much room, else their key signatures come too late."""
    if length > 0 and leaves and is_dyadic(length):
        first_leaf(leaves[0]).graces = grace_group("\\grace", make_leaves("s", length))
