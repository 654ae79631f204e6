"""A player's hand as the text of a hand file, which may be edited and reads back as the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tunebook.model.book import HandChoice
from tunebook.model.choices import InstrumentKind

_FACTORS = ("relaxed", "comfortable", "practical")


def hand_as_toml(
    hand: HandChoice, kind: InstrumentKind, usual: Mapping[str, float], head: Sequence[str] = ()
) -> str:
    """The hand file of ``hand``. ``usual`` are the weights by name that others have on this kind of
    instrument, which stand beside hers; ``head`` are lines of comment above, without their sign."""
    lines = [f"# {_plain(line)}".rstrip() for line in head]
    lines += [
        f'size = "{hand.size}"',
        f"barre = {str(hand.allows_barre).lower()}",
        f'higher_finger_on = "{_direction(hand)} string"',
        f"fingers = {list(hand.fingers)}",
    ]
    if hand.pad_width_mm is not None:
        lines.append(f"pad_width_mm = {float(hand.pad_width_mm)!r}")
    if hand.spans_mm:
        spans = ", ".join(f'"{pair}" = {float(span)!r}' for pair, span in hand.spans_mm)
        lines.append(f"spans_mm = {{ {spans} }}")
    if any(factor != 1.0 for factor in hand.span_factors):
        pairs = zip(_FACTORS, hand.span_factors, strict=True)
        factors = ", ".join(f"{name} = {float(factor)!r}" for name, factor in pairs)
        lines.append(f"span_factors = {{ {factors} }}  # of the upper spans of a {hand.size} hand")
    for other in dict.fromkeys((kind, *(one.kind for one in hand.weights))):
        own = [one for one in hand.weights if one.kind == other]
        lines += ["", f"[weights.{other}]"] if own else []
        for one in own:
            line = f"{one.name} = {float(one.value)!r}"
            if other == kind and one.name in usual:
                line = f"{line:<32}# usually {usual[one.name]:g}"
            lines.append(line)
    return "\n".join([*lines, ""])


def _direction(hand: HandChoice) -> str:
    return "higher" if hand.higher_finger_on_higher_string else "lower"


def _plain(text: str) -> str:
    """A line that ends no comment."""
    return "".join(letter if letter.isprintable() else " " for letter in text)
