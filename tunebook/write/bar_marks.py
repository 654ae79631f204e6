"""Bars that are marked: changed by a retuning, beyond an edition's limits, hardest.

Each kind has a look of its own: a thick line over changed bars, a dashed line over bars beyond
the limits, a pale ground under the hardest bars.
"""

from __future__ import annotations

from collections.abc import Set
from typing import Any

from tunebook.write.leaves import make_leaves, put
from tunebook.write.printed_bars import PrintedBars

_LOOKS = {"changed": "\\changedLook", "beyond": "\\beyondLook"}


def passages(printed: PrintedBars, indices: Set[int]) -> list[tuple[int, int]]:
    """Runs of marked bars as (first, last) places in ``printed``; a run ends with its section, so
    that a mark never leads across a repeat sign."""
    runs: list[tuple[int, int]] = []
    for place, one in enumerate(printed.bars):
        if one.bar.index not in indices:
            continue
        follows = runs and runs[-1][1] == place - 1
        if follows and ":" not in printed.bars[place - 1].line_after:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


def ground_commands(
    printed: PrintedBars, indices: Set[int]
) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
    """Commands by bar index that begin and end the pale ground under bars."""
    starts: dict[int, list[str]] = {}
    ends: dict[int, list[str]] = {}
    for first, last in passages(printed, indices):
        starts[printed.bars[first].bar.index] = ["\\paleGround"]
        ends[printed.bars[last].bar.index] = ["\\stopStaffHighlight"]
    return starts, ends


def mark_line(kind: str, printed: PrintedBars, indices: Set[int]) -> Any | None:
    """The lines above the melody for one kind of mark, as a context; None when no bar has it."""
    import abjad

    runs = passages(printed, indices)
    if not runs:
        return None
    firsts = {first for first, _ in runs}
    lasts = {last for _, last in runs}
    bars: list[Any] = []
    for place, one in enumerate(printed.bars):
        if place not in firsts and place not in lasts:
            bars.append(abjad.Container(make_leaves("s", one.length)))
            continue
        # Two blanks, since a line may begin and end in the same bar.
        leaves = make_leaves("s", one.length / 2) + make_leaves("s", one.length / 2)
        if place in firsts:
            put(leaves[0], [_LOOKS[kind], "<>\\startMeasureSpanner"], "before")
        if place in lasts:
            put(leaves[-1], ["<>\\stopMeasureSpanner"], "before")
        bars.append(abjad.Container(leaves))
    return abjad.Context(bars, lilypond_type="MarkLine", name=f"{kind.capitalize()}Bars")
