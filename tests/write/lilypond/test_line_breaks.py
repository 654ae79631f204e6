"""Line ends: the chosen lines against every way to cut the bars into lines."""

from __future__ import annotations

import math
from collections.abc import Iterator

from hypothesis import given
from hypothesis import strategies as st

from tunebook.write.lilypond.line_breaks import _WANTED, _cheapest_ends, _Line, _LinesToEnd


def all_ends(size: int) -> Iterator[list[int]]:
    """Every way to cut ``size`` bars into lines, as the lines' ends."""
    if size == 0:
        yield []
    for start in range(size):
        for ends in all_ends(start):
            yield [*ends, size]


def cost_of(ends: list[int], possible: list[_LinesToEnd], wanted: int) -> float:
    """What these lines cost together; infinite when one of them is too full."""
    cost = 0.0
    for start, end in zip([0, *ends[:-1]], ends, strict=True):
        line = next((one for one in possible[end - 1].lines if one.start == start), None)
        if line is None:
            return math.inf
        weight = 0.4 if end == len(possible) and line.full < wanted else 0.7
        cost += line.fill_cost + _WANTED[wanted] + possible[end - 1].end_cost
        cost += weight * abs(line.full - wanted)
    return cost


@st.composite
def choices(draw: st.DrawFn) -> list[_LinesToEnd]:
    """Lines as the fill allows them: back from each end, a single bar always."""
    possible = []
    for end in range(1, draw(st.integers(1, 7)) + 1):
        longest = draw(st.integers(1, end))
        lines = [_Line(end - bars, bars, draw(st.floats(0, 30))) for bars in range(1, longest + 1)]
        possible.append(_LinesToEnd(lines, draw(st.floats(-3, 5))))
    return possible


@given(choices(), st.sampled_from(sorted(_WANTED)))
def test_no_other_line_ends_are_cheaper(possible: list[_LinesToEnd], wanted: int) -> None:
    cost, ends = _cheapest_ends(possible, wanted)
    assert math.isclose(cost, cost_of(ends, possible, wanted), abs_tol=1e-9)
    cheapest = min(cost_of(other, possible, wanted) for other in all_ends(len(possible)))
    assert math.isclose(cost, cheapest, abs_tol=1e-9)
