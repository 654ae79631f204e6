"""Note values: Fractions of a whole note as LilyPond durations."""

from __future__ import annotations

import functools
from fractions import Fraction

LONGEST = Fraction(2)
MOST_DOTS = 2
SHORTEST_DENOMINATOR = 512


@functools.lru_cache(maxsize=512)
def value_text(value: Fraction) -> str | None:
    """LilyPond's name of a single note value ("4.", "breve"), or None when one note head cannot
    show it."""
    for dots in range(MOST_DOTS + 1):
        base = value / (2 - Fraction(1, 2**dots))
        if base == LONGEST:
            return "\\breve" + "." * dots
        is_power = base.numerator == 1 and base.denominator & (base.denominator - 1) == 0
        if is_power and base.denominator <= SHORTEST_DENOMINATOR:
            return f"{base.denominator}{'.' * dots}"
    return None


@functools.lru_cache(maxsize=512)
def split_value(value: Fraction) -> tuple[Fraction, ...]:
    """``value`` as the fewest single note values, longest first, to be tied together.

    ``value`` must be a multiple of 1/512 (see :func:`is_dyadic`).
    """
    parts: list[Fraction] = []
    rest = value
    while rest > 0:
        part = _longest_single(rest)
        parts.append(part)
        rest -= part
    return tuple(parts)


def _longest_single(value: Fraction) -> Fraction:
    if value >= LONGEST:
        return LONGEST
    base = Fraction(1)
    while base > value:
        base /= 2
    dotted = base * Fraction(3, 2)
    double = base * Fraction(7, 4)
    if double == value:
        return double
    return dotted if dotted <= value else base


def is_dyadic(value: Fraction) -> bool:
    """True when note heads and ties can show the value without a tuplet."""
    denominator = value.denominator
    return denominator & (denominator - 1) == 0 and denominator <= SHORTEST_DENOMINATOR


def tuplet_for(value: Fraction) -> tuple[int, int]:
    """The ratio p:q with a power of two q for which ``value`` times p/q is dyadic.

    A value such as 1/12 stands in no tuplet of the tune and yet needs one to be written; so does
    one that is finer than any note head.
    """
    odd = value.denominator
    while odd % 2 == 0:
        odd //= 2
    power = 1
    while power * 2 <= odd:
        power *= 2
    while not is_dyadic(value * Fraction(odd, power)):
        odd *= 2
    return odd, power


def scaled_value(value: Fraction) -> str:
    """A duration of any length for events that print no note head: "1*5/8"."""
    return f"1*{value.numerator}/{value.denominator}"


@functools.lru_cache(maxsize=512)
def flag_count(value: Fraction) -> int:
    """Flags of a written value: 0 for a quarter and longer, 1 for an eighth, ..."""
    count = 0
    base = Fraction(1, 4)
    while value < base:
        base /= 2
        count += 1
    return count
