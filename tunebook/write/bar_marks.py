"""Bars that are marked: changed by a retuning, beyond an edition's limits, hardest.

Each kind has a look of its own: a thick line over changed bars, a dashed line over bars beyond
the limits (it goes before the thick one where both apply), a pale ground under the hardest bars.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, field

from tunebook.write.printed_bars import PrintedBars


@dataclass(frozen=True, slots=True)
class BarMarks:
    """Indices of the tune's bars to be marked, by kind."""

    changed: Set[int] = frozenset()
    beyond: Set[int] = frozenset()
    hard: Set[int] = frozenset()


@dataclass
class MarkCommands:
    """LilyPond commands by place in the printed bars: at a bar's beginning and at its end."""

    starts: dict[int, list[str]] = field(default_factory=dict)
    ends: dict[int, list[str]] = field(default_factory=dict)


def mark_commands(printed: PrintedBars, marks: BarMarks) -> MarkCommands:
    """The commands that draw ``marks`` on the melody's staff."""
    commands = MarkCommands()
    for first, last in passages(printed, marks.hard):
        commands.starts.setdefault(first, []).append("\\paleGround")
        commands.ends.setdefault(last, []).append("\\stopStaffHighlight")
    looks = (("\\beyondLook", marks.beyond), ("\\changedLook", marks.changed - marks.beyond))
    for look, indices in looks:
        for first, last in passages(printed, indices):
            commands.starts.setdefault(first, []).append(f"{look} <>\\startMeasureSpanner")
            commands.ends.setdefault(last, []).append("<>\\stopMeasureSpanner")
    return commands


def passages(printed: PrintedBars, indices: Set[int]) -> list[tuple[int, int]]:
    """Runs of marked bars as (first, last) places in ``printed``; a run ends with its section, so
    that a mark never leads across a repeat sign."""
    runs: list[tuple[int, int]] = []
    for place, one in enumerate(printed.bars):
        if one.bar.index not in indices:
            continue
        follows = bool(runs) and runs[-1][1] == place - 1
        if follows and ":" not in printed.bars[place - 1].line_after:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs
