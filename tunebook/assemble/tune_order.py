"""Another order of the tunes that wastes less paper, where the book allows it.

Only tunes of no set are moved, and by at most MOST_PLACES places. The order found is the best of
those in which every page begins with a new tune: a shortest path whose states are the first tune
not yet set, which of the next ones are set already, and the side of the page. How pages are then
broken is settled by ``pages.choose_breaks``, which sees the whole book; where that finds the old
order cheaper, it stays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

from tunebook.assemble.pages import (
    PAGE_COST,
    TURN_COST,
    WASTE_WEIGHT,
    Unit,
    choose_breaks,
    cost_of_breaks,
)

# How far a tune may move, and what each place costs (in pages, our judgement).
MOST_PLACES = 5
_PLACE_COST = 0.004
_State = tuple[int, int, int]


def choose_order(units: Sequence[Unit], height_pt: float, side: int = 0) -> tuple[int, ...]:
    """Return the order (indices) in which ``units`` waste least, the first page lying on
    ``side`` (0 right-hand, 1 left-hand)."""
    alone = [_alone(unit, height_pt) for unit in units]

    @cache
    def best(state: _State) -> tuple[float, tuple[int, ...], _State | None]:
        first, taken, at = state
        if first >= len(units):
            return 0.0, (), None
        found: tuple[float, tuple[int, ...], _State | None] = (float("inf"), (), None)
        for page, used in _pages(units, alone, first, taken, height_pt):
            after = _after(first, taken, page, len(units))
            sides = alone[page[0]][0]
            cost = _cost(used / height_pt, sides, at, after[0] >= len(units))
            cost += _PLACE_COST * sum(index - first for index in page)
            following = (after[0], after[1], (at + sides) % 2)
            cost += best(following)[0]
            if cost < found[0] - 1e-9:
                found = (cost, page, following)
        return found

    # Backwards, so that the recursion never goes deep.
    for first in range(len(units), -1, -1):
        best((first, 0, 0))
    order: list[int] = []
    state: _State | None = (0, 0, side)
    while state is not None:
        _, page, state = best(state)
        order += page
    new = [units[index] for index in order]
    if cost_of_breaks(new, height_pt, side) < cost_of_breaks(units, height_pt, side):
        return tuple(order)
    return tuple(range(len(units)))


def _alone(unit: Unit, height_pt: float) -> tuple[int, float]:
    """How many pages the tune takes by itself, and how much of the last one."""
    pages = choose_breaks([unit], height_pt, 1)
    return len(pages), pages[-1].used_pt


def _pages(
    units: Sequence[Unit],
    alone: Sequence[tuple[int, float]],
    first: int,
    taken: int,
    height_pt: float,
) -> Iterator[tuple[tuple[int, ...], float]]:
    """Everything one page may hold when ``first`` is the first tune not yet set: that tune or one
    of the next ones, then any of those after it; and how much it fills."""
    free = [
        index
        for index in range(first + 1, min(len(units), first + MOST_PLACES + 1))
        if not taken >> (index - first) & 1
    ]

    def grow(
        page: tuple[int, ...], used: float, rest: list[int]
    ) -> Iterator[tuple[tuple[int, ...], float]]:
        yield page, used
        for number, index in enumerate(rest):
            more = used + units[index].gap_pt + sum(units[index].parts_pt)
            if more <= height_pt:
                yield from grow((*page, index), more, rest[number + 1 :])

    for begin in [first, *free]:
        rest = [index for index in [first, *free] if index != begin]
        yield from grow((begin,), alone[begin][1], rest)


def _after(first: int, taken: int, page: Sequence[int], count: int) -> tuple[int, int]:
    """First tune not yet set, and the later ones that are, after ``page``."""
    mask = taken
    for index in page:
        mask |= 1 << (index - first)
    while mask & 1 and first < count:
        first += 1
        mask >>= 1
    return first, mask


def _cost(share: float, pages: int, side: int, is_end: bool) -> float:
    """Cost of pages whose last one is filled by ``share``; turns within a long tune count."""
    turns = sum(1 for number in range(pages - 1) if (side + number) % 2 == 0)
    free = max(0.0, 1.0 - share)
    waste = WASTE_WEIGHT * free * free * (0.3 if is_end else 1.0)
    return pages * PAGE_COST + turns * TURN_COST + waste
