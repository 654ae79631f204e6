"""Exact choice of page breaks for tunes of known heights, and another order that wastes less paper.

The pages of the body are the layers of a graph: a state is the next part to be set (tune and
system within it) and the side on which the page lies; an edge is what goes on that page. The
cheapest path is found by dynamic programming over all states, as is usual for breaking text into
pages (after the paragraph method of Knuth & Plass 1981, "Breaking paragraphs into lines",
Software: Practice and Experience 11), so the result is the best possible for the costs below.

Sides: 0 is a right-hand page, after which the leaf is turned, 1 a left-hand one. No page is left
blank: a tune goes on on the facing page instead, or the first page lies on the other side.

Tunes may be had in a smaller staff size too: a page is then set in one size or the other, and a
torn tune goes on in that of its first page.

Another order, where the book allows it, moves only tunes of no set, and by at most MOST_PLACES
places. It is the best of those in which every page begins with a new tune: a shortest path whose
states are the first tune not yet set, which of the next ones are set already, and the side of the
page. How pages are then broken is settled by ``choose_breaks``, which sees the whole book; where
that finds the old order cheaper, it stays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from math import inf

# Costs in pages (our judgement). A page more costs 1; the share of a page left free is squared,
# so that one half-empty page is dearer than two that are a quarter empty.
PAGE_COST = 1.0
WASTE_WEIGHT = 0.6
# A page whose systems stand as close as they may, instead of at ease.
SQUEEZE_WEIGHT = 0.25
# A tune that would fit on one page, torn over a spread; torn so that the leaf must be turned.
SPLIT_COST = 2.2
TURN_COST = 6.0
# Part of a torn tune with a single system on its page.
LONE_SYSTEM_COST = 4.0
# The leaf is turned between two tunes of a set that is to be kept together; the same where all of
# it would find room on two facing pages; and that where pages are to be saved.
SET_TURN_COST = 0.5
OPENING_TURN_COST = 1.6
OPENING_TURN_COST_WHEN_TIGHT = 0.9
# A page in the smaller staff size.
SMALL_COST = 0.15
# More than fits: only when a single part is higher than the page.
OVERFULL_COST = 100.0
# Something of another set before or after on the pages of a set that is kept together.
SHARED_COST = 0.4


# The unit to be set next, its part, and whether a torn one goes on in the smaller staff size.
State = tuple[int, int, bool]
_START: State = (0, 0, False)


@dataclass(frozen=True, slots=True)
class Unit:
    """What is set in one go: a tune (its parts are head with first system, then the systems, the
    last with the words below) or a set's heading (one part, ``is_opener``).

    ``parts_pt`` are the least heights of the parts, ``ease_pt`` what each part after the first
    would like above it in addition, ``gap_pt`` the least space above the unit when it is not at
    the top, ``continued_pt`` the height of the short head where it goes on on another
    page. ``small_pt`` are the parts in the smaller staff size, of which there may be fewer; empty
    where it is not to be had. ``group`` numbers the set; ``begins_page`` asks for a new page,
    ``is_kept_together`` that the leaf be not turned within the group, which costs ``turn_cost``."""

    identity: str
    parts_pt: tuple[float, ...]
    gap_pt: float = 18.0
    ease_pt: float = 0.0
    continued_pt: float = 0.0
    small_pt: tuple[float, ...] = ()
    group: int = 0
    is_opener: bool = False
    begins_page: bool = False
    is_kept_together: bool = False
    turn_cost: float = SET_TURN_COST

    def heights_pt(self, is_small: bool) -> tuple[float, ...]:
        """The least heights of the parts in the smaller staff size or the usual one."""
        return self.small_pt if is_small else self.parts_pt


@dataclass(frozen=True, slots=True)
class Slice:
    """Parts ``first`` up to but without ``last`` of a unit, on one page."""

    unit: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class PageFill:
    """What one page holds, never nothing. ``used_pt`` is the least height of it all; ``is_small``
    says that it is set in the smaller staff size."""

    slices: tuple[Slice, ...]
    used_pt: float
    is_small: bool = False


@dataclass(frozen=True, slots=True)
class Breaks:
    """The pages, the side on which the first lies, and what they cost."""

    fills: tuple[PageFill, ...]
    side: int
    cost: float


@dataclass(frozen=True, slots=True)
class _Choice:
    cost: float
    fill: PageFill
    state: State


def choose_breaks(units: Sequence[Unit], height_pt: float, side: int = 0) -> tuple[PageFill, ...]:
    """Return the cheapest pages for ``units`` in their order on pages of ``height_pt`` points; the
    first lies on ``side`` (0 right-hand, 1 left-hand)."""
    return best_breaks(units, height_pt, _only(side)).fills


def cost_of_breaks(units: Sequence[Unit], height_pt: float, side: int = 0) -> float:
    """Return the cost of the pages that ``choose_breaks`` returns."""
    return best_breaks(units, height_pt, _only(side)).cost


def best_breaks(units: Sequence[Unit], height_pt: float, side_costs: tuple[float, float]) -> Breaks:
    """Return the cheapest pages when beginning on either side costs ``side_costs`` (inf: may not
    be)."""
    best = _all_choices(units, height_pt)
    costs = [cost + (best[_START, at].cost if units else 0.0) for at, cost in enumerate(side_costs)]
    first = side = 0 if costs[0] <= costs[1] else 1
    pages = []
    state = _START
    while state[0] < len(units):
        choice = best[state, side]
        pages.append(choice.fill)
        state, side = choice.state, 1 - side
    return Breaks(tuple(pages), first, costs[first])


def _only(side: int) -> tuple[float, float]:
    return (inf, 0.0) if side else (0.0, inf)


def _all_choices(units: Sequence[Unit], height_pt: float) -> dict[tuple[State, int], _Choice]:
    """The best page from every state and side on."""
    best: dict[tuple[State, int], _Choice] = {}
    for at in range(len(units) - 1, -1, -1):
        for state in _states(at, units[at]):
            fills = _fills(units, height_pt, state)
            for side in (0, 1):
                best[state, side] = _cheapest(units, height_pt, fills, side, best)
    return best


def _states(at: int, unit: Unit) -> Iterator[State]:
    """All places in a unit where a page may begin, the last first."""
    for is_small in (False, True):
        for part in range(len(unit.heights_pt(is_small)) - 1, 0, -1):
            yield at, part, is_small
    yield at, 0, False


def _cheapest(
    units: Sequence[Unit],
    height_pt: float,
    fills: Sequence[tuple[PageFill, State]],
    side: int,
    best: dict[tuple[State, int], _Choice],
) -> _Choice:
    found: _Choice | None = None
    for fill, state in fills:
        cost = _page_cost(units, fill, state, height_pt, side)
        if state[0] < len(units):
            cost += best[state, 1 - side].cost
        if found is None or cost < found.cost - 1e-9:
            found = _Choice(cost, fill, state)
    assert found is not None
    return found


def _fills(units: Sequence[Unit], height_pt: float, state: State) -> list[tuple[PageFill, State]]:
    """Everything that one page may hold, and where the next one then begins.

    A set's heading never ends a page, unless not even the first part of the set's first tune
    would go below it on a page of their own."""
    unit, part, is_small = state
    sizes = (is_small,) if part else (False, True)
    fills = [one for size in sizes for one in _all_fills(units, height_pt, unit, part, size)]
    kept = [
        (fill, after)
        for fill, after in fills
        if after[0] == len(units) or not units[fill.slices[-1].unit].is_opener
    ]
    return kept or fills


def _all_fills(
    units: Sequence[Unit], height_pt: float, unit: int, part: int, is_small: bool
) -> list[tuple[PageFill, State]]:
    """What :func:`_fills` chooses from in one size, headings at the foot of the page among it."""
    fills: list[tuple[PageFill, State]] = []
    slices: list[Slice] = []
    used = units[unit].continued_pt if part else 0.0
    first, at = part, unit
    while at < len(units):
        heights = units[at].heights_pt(is_small)
        if not heights or (units[at].begins_page and first == 0 and slices):
            break
        used += units[at].gap_pt if slices else 0.0
        for last in range(first + 1, len(heights) + 1):
            used += heights[last - 1]
            if used > height_pt + 0.01 and fills:
                return fills
            state = (at + 1, 0, False) if last == len(heights) else (at, last, is_small)
            fill = PageFill((*slices, Slice(at, first, last)), used, is_small)
            fills.append((fill, state))
        slices.append(Slice(at, first, len(heights)))
        at, first = at + 1, 0
    return fills


def _page_cost(
    units: Sequence[Unit],
    fill: PageFill,
    state: State,
    height_pt: float,
    side: int,
) -> float:
    is_end = state[0] == len(units)
    cost = PAGE_COST + _waste(fill.used_pt / height_pt, is_end)
    cost += SMALL_COST if fill.is_small else 0.0
    if fill.used_pt > height_pt + 0.01:
        cost += OVERFULL_COST * (fill.used_pt / height_pt - 1.0)
    ease = sum(units[one.unit].ease_pt * (one.last - one.first - 1) for one in fill.slices)
    if ease > 0.0:
        squeeze = min(1.0, max(0.0, (fill.used_pt + ease - height_pt) / ease))
        cost += SQUEEZE_WEIGHT * squeeze * squeeze
    for one in fill.slices:
        is_torn = one.first > 0 or one.last < len(units[one.unit].heights_pt(fill.is_small))
        if is_torn and one.last - one.first < 2:
            cost += LONE_SYSTEM_COST
    cost += _break_cost(units, fill, state, height_pt, side)
    return cost + _sharing_cost(units, fill)


def _waste(share: float, is_end: bool) -> float:
    """What the free part of a page costs of which ``share`` is filled; the last one may well be
    short."""
    free = max(0.0, 1.0 - share)
    return WASTE_WEIGHT * free * free * (0.3 if is_end else 1.0)


def _break_cost(
    units: Sequence[Unit],
    fill: PageFill,
    state: State,
    height_pt: float,
    side: int,
) -> float:
    """What it costs that the page ends where it does."""
    unit, part, is_small = state
    is_turned = side == 0
    if unit == len(units):
        return 0.0
    if part > 0:
        if is_turned:
            return TURN_COST
        return SPLIT_COST if sum(units[unit].heights_pt(is_small)) <= height_pt else 0.0
    last = units[fill.slices[-1].unit]
    together = last.is_kept_together and last.group == units[unit].group
    return last.turn_cost if together and is_turned else 0.0


def _sharing_cost(units: Sequence[Unit], fill: PageFill) -> float:
    """What it costs that tunes of different sets share the page."""
    groups = [units[one.unit].group for one in fill.slices]
    return SHARED_COST * sum(
        1
        for before, after, one in zip(groups, groups[1:], fill.slices, strict=False)
        if before != after and units[one.unit].is_kept_together
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
    return pages * PAGE_COST + turns * TURN_COST + _waste(share, is_end)
