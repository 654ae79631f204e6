"""How hard a tune is: the cost of its fingering for each second of music.

The figure has no authority beyond the costs themselves: it ranks bars and tunes for one instrument
and hand. The words for it follow the quarters of 200 tunes taken at random from three printed
collections of reels, jigs, hornpipes and airs (2.3, 3.9 and 6.4), played at usual tempi.
"""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.model.arrangement import BarDifficulty, FingeredNote
from tunebook.model.tune import Tune

LEAST_BAR_S = 0.5
"""Shorter bars (pickups) count as this long, so that one note does not seem a hard passage."""


def bar_difficulties(
    tune: Tune, notes: Sequence[FingeredNote], speed: float
) -> tuple[BarDifficulty, ...]:
    """Cost per second of each written bar, as it is first played; ``speed`` in whole notes/s."""
    costs = [0.0] * len(tune.bars)
    for note in notes:
        costs[note.bar_index] += note.cost
    return tuple(
        BarDifficulty(bar.index, cost / max(LEAST_BAR_S, float(bar.duration) / speed))
        for bar, cost in zip(tune.bars, costs, strict=True)
    )


def whole_difficulty(cost: float, seconds: float) -> float:
    """Cost per second of the whole tune as played."""
    return cost / max(LEAST_BAR_S, seconds)


def hardest_bars(difficulties: Sequence[BarDifficulty], count: int) -> tuple[BarDifficulty, ...]:
    """The ``count`` hardest bars, hardest first; of equals the earlier one."""
    ranked = sorted(difficulties, key=lambda bar: (-bar.difficulty, bar.bar_index))
    return tuple(ranked[:count])


def words_for(difficulty: float) -> str:
    """A word for a difficulty."""
    for most, word in ((2.3, "easy"), (3.9, "middling"), (6.4, "demanding")):
        if difficulty < most:
            return word
    return "hard"
