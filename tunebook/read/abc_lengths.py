"""Exact musical time for the reader, without the price of fraction arithmetic.

Inside the reader a time is a number of ticks: a plain int wherever it divides evenly (nearly
always), else a Fraction of a tick, so it is exact in every case. Fractions of a whole note, as
the model wants them, are made once for each distinct number and then looked up.
"""

from __future__ import annotations

from fractions import Fraction

Ticks = int | Fraction

WHOLE_NOTE = 2**12 * 3**3 * 5 * 7 * 11 * 13
_MOST_KEPT = 50_000

_fractions: dict[Ticks, Fraction] = {}


def fraction_of(ticks: Ticks) -> Fraction:
    """``ticks`` as a Fraction of a whole note."""
    value = _fractions.get(ticks)
    if value is None:
        if len(_fractions) >= _MOST_KEPT:
            _fractions.clear()
        value = _fractions[ticks] = Fraction(ticks) / WHOLE_NOTE
    return value


def ticks_of(value: Fraction) -> Ticks:
    """A Fraction of a whole note in ticks."""
    return scaled(WHOLE_NOTE, value.numerator, value.denominator)


def scaled(ticks: Ticks, numerator: int, denominator: int) -> Ticks:
    """``ticks`` times ``numerator / denominator``, exactly."""
    product = ticks * numerator
    if isinstance(product, int) and product % denominator == 0:
        return product // denominator
    return Fraction(product) / denominator


def read_ratio(text: str) -> tuple[int, int]:
    """The multiplier written after a note: "" 1/1, "3" 3/1, "3/2", "/" 1/2, "//" 1/4, "/4".

    Each lone slash halves (ABC 2.1, section 4.3). A zero counts as 1; of a number above the line
    the first six digits are read, of one below the line the first three, so that no text can ask
    for numbers without end.
    """
    if not text:
        return 1, 1
    top, slash, rest = text.partition("/")
    numerator = int(top[:6]) or 1 if top else 1
    if not slash:
        return numerator, 1
    slashes = 1
    while rest.startswith("/"):
        rest = rest[1:]
        slashes += 1
    if rest:
        return numerator, max(1, int(rest[:3])) * 2 ** min(slashes - 1, 10)
    return numerator, 2 ** min(slashes, 10)
