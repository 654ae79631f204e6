"""Values that no note head can show are written all the same, and last as long as they should."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.write.lilypond.leaves import Component, Leaf, make_leaves, printed
from tunebook.write.note_values import is_dyadic, tuplet_for


def length_of_leaf(value: str) -> Fraction:
    found = re.fullmatch(r"(\\breve|\d+)(\.*)", value)
    assert found is not None
    base = Fraction(2) if found[1] == "\\breve" else Fraction(1, int(found[1]))
    return base * (2 - Fraction(1, 2 ** len(found[2])))


def total(parts: list[Component]) -> Fraction:
    length = Fraction(0)
    for part in parts:
        if isinstance(part, Leaf):
            length += length_of_leaf(part.value)
            continue
        (command,) = part.before
        length += total(part.parts) * Fraction(command.removeprefix("\\scaleDurations "))
    return length


values = st.builds(Fraction, st.integers(1, 300), st.integers(1, 60_000))


@given(st.one_of(values, st.builds(lambda n: Fraction(1, 2**n), st.integers(0, 20))))
def test_any_value_is_written_and_lasts_as_long(value: Fraction) -> None:
    assert total(make_leaves("c'", value)) == value


@given(values)
def test_a_ratio_makes_any_value_fit_note_heads(value: Fraction) -> None:
    p, q = tuplet_for(value)
    assert is_dyadic(value * Fraction(p, q))
    assert q & (q - 1) == 0


@pytest.mark.parametrize("value", ["128.", "256", "512", "512."])
def test_finest_heads_are_printed(value: str) -> None:
    assert printed(Leaf("c'", value)) == f"c'{value}"
    assert printed(Leaf("<c' e'>", value)) == f"<c' e'>{value}"
    assert printed(Leaf("<c' e'>", value, tied_heads=(0,))).endswith(f">{value}")
