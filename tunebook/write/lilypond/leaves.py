"""Notes, chords and rests as leaves of source, their groups and contexts, and how they are printed.

abjad makes the text of every leaf, and so checks that its pitches and values can be written; each
is made once and kept. The tree above the leaves is plain, since a book needs a few hundred
thousand leaves printed: it prints just what abjad would (tests compare the two).
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.locks import shared_lock
from tunebook.model.tune import Pitch
from tunebook.write.lilypond.abjad_leaves import leaf_text
from tunebook.write.note_values import is_dyadic, split_value, tuplet_for, value_text

_INDENT = "    "
# LilyPond has heads for these, abjad (3.19) has no names for them.
_FINER_THAN_ABJAD = ("256", "512")


@dataclass(slots=True, eq=False)
class Leaf:
    """A note, chord, rest ("r"), blank ("s") or bar's rest ("R") of one value, such as "4.".

    ``before`` and ``after`` are lines of source around it, ``graces`` the grace notes before it,
    ``late_graces`` those after it, ``tied_heads`` the heads of a chord that are tied one by one,
    ``small_heads`` those that are small.
    """

    head: str
    value: str
    before: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    graces: Group | None = None
    late_graces: Group | None = None
    tied_heads: tuple[int, ...] = ()
    small_heads: tuple[int, ...] = ()


@dataclass(slots=True, eq=False)
class Group:
    """Components between brackets. ``before`` and ``after`` are lines outside the brackets,
    ``opening`` and ``closing`` lines inside, first and last."""

    parts: list[Component]
    before: list[str] = field(default_factory=list)
    opening: list[str] = field(default_factory=list)
    closing: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    brackets: tuple[str, str] = ("{", "}")


Component = Leaf | Group


def context(kind: str, name: str, parts: Sequence[Component], *, together: bool = False) -> Group:
    """A context, such as a staff; ``together`` when its parts sound at once."""
    brackets = ("<<", ">>") if together else ("{", "}")
    return Group(list(parts), before=[f'\\context {kind} = "{name}"'], brackets=brackets)


def grace_group(command: str, parts: Sequence[Component]) -> Group:
    """Grace notes before a leaf; ``command`` is \\grace or one like it."""
    return Group(list(parts), brackets=(f"{command} {{", "}"))


def first_leaf(component: Component) -> Leaf:
    """The first leaf of a component."""
    while isinstance(component, Group):
        component = component.parts[0]
    return component


def leaves_of(components: Iterable[Component]) -> Iterator[Leaf]:
    """All leaves of some components, in order."""
    for component in components:
        if isinstance(component, Leaf):
            yield component
        else:
            yield from leaves_of(component.parts)


def last_leaf(component: Component) -> Leaf:
    """The last leaf of a component."""
    while isinstance(component, Group):
        component = component.parts[-1]
    return component


def printed(component: Component) -> str:
    """The source of a component, without a line end at its end."""
    lines: list[str] = []
    _print(component, "", lines)
    return "\n".join(lines)


def _print(component: Component, indent: str, lines: list[str]) -> None:
    if isinstance(component, Leaf):
        _print_leaf(component, indent, lines)
        return
    inner = indent + _INDENT
    _add(component.before, indent, lines)
    lines.append(indent + component.brackets[0])
    _add(component.opening, inner, lines)
    for part in component.parts:
        _print(part, inner, lines)
    _add(component.closing, inner, lines)
    lines.append(indent + component.brackets[1])
    _add(component.after, indent, lines)


def _print_leaf(leaf: Leaf, indent: str, lines: list[str]) -> None:
    if leaf.graces is not None:
        _print(leaf.graces, indent, lines)
    _add(leaf.before, indent, lines)
    if leaf.late_graces is not None:
        lines.append(indent + "\\afterGrace")
    _add(leaf_lines(leaf.head, leaf.value, leaf.tied_heads, leaf.small_heads), indent, lines)
    _add(leaf.after, indent, lines)
    if leaf.late_graces is not None:
        _print(leaf.late_graces, indent, lines)


def _add(new: Iterable[str], indent: str, lines: list[str]) -> None:
    for line in new:
        lines.append(indent + line)


# abjad keeps state in its own modules: one thread at a time.
_abjad_lock = shared_lock()


@functools.lru_cache(maxsize=8192)
def leaf_lines(
    head: str,
    value: str,
    tied_heads: tuple[int, ...] = (),
    small_heads: tuple[int, ...] = (),
) -> tuple[str, ...]:
    """The lines of one leaf as abjad prints it. Raises ValueError or abjad's errors for a head or
    value that cannot be written."""
    is_fine = value.rstrip(".") in _FINER_THAN_ABJAD
    with _abjad_lock:
        text = leaf_text(head, "4" if is_fine else value, tied_heads, small_heads)
    return tuple((text.removesuffix("4") + value if is_fine else text).split("\n"))


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


def tone_name(step: int, alteration: float) -> str:
    """LilyPond's english name of a step (0 = C) with its alteration in semitones."""
    return _LETTERS[step] + _ALTERS.get(alteration, "")


def pitch_text(pitch: Pitch, accidental: str | None = None) -> str:
    """A pitch in LilyPond's english note names, with ! or ? where the page shows a sign."""
    octave = pitch.octave - 3
    marks = "'" * octave if octave > 0 else "," * -octave
    shown = {"needed": "!", "courtesy": "?"}.get(accidental or "", "")
    return f"{tone_name(pitch.step, pitch.alteration)}{marks}{shown}"


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
