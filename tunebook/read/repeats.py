"""Written bars to the order in which they are played.

Source: The ABC Music Standard 2.1, sections 4.8 to 4.10 (repeats and endings) and 3.1.9 (parts).
"""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.errors import Message
from tunebook.model.tune import Bar


def played_order(
    bars: Sequence[Bar], part_order: str = "", most_bars: int = 10_000
) -> tuple[tuple[int, ...], tuple[Message, ...]]:
    """Indices into ``bars`` as played."""
    order: list[int] = []
    start = 0
    index = 0
    turn = 1
    count = len(bars)
    while index < count and len(order) < most_bars:
        bar = bars[index]
        if (
            bar.ending
            and turn not in bar.ending
            and any(turn in other.ending for other in bars[index:])
        ):
            index += 1
            while index < count and not bars[index].ending:
                index += 1
            continue
        order.append(index)
        if bar.sign_after in (":|", "::") and turn < bar.repeat_passes:
            turn += 1
            index = start
            continue
        if bar.sign_after in (":|", "::", "|:"):
            start, turn = index + 1, 1
        index += 1
    return tuple(order), ()
