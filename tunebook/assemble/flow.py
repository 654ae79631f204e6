"""Flow blocks over columns and pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tunebook.assemble.blocks import Flowed
from tunebook.assemble.paper import PageFormat
from tunebook.assemble.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Placed:
    """A block with its upper left corner on the page."""

    item: Flowed
    left_pt: float
    top_pt: float


@dataclass(frozen=True, slots=True)
class Page:
    """One page of the book before it is drawn. ``head`` is the running head; ``foot`` the line at
    the foot. A page without furniture (title page, blank page) prints neither, nor a number."""

    placed: tuple[Placed, ...] = ()
    head: str = ""
    foot: str = ""
    has_furniture: bool = True

    def anchors(self) -> tuple[str, ...]:
        """Names of the places on this page that links can lead to."""
        return tuple(one.item.anchor for one in self.placed if one.item.anchor)

    def draw(self, sheet: Sheet) -> None:
        """Draw everything that is placed on the page."""
        for one in self.placed:
            one.item.draw(sheet, one.left_pt, one.top_pt)


BLANK_PAGE = Page(has_furniture=False)


@dataclass(frozen=True, slots=True)
class Stream:
    """Blocks that are set one below the other in ``columns`` columns, and balanced in the end."""

    items: tuple[Flowed, ...]
    columns: int = 1
    gutter_pt: float = 20.0

    def column_width_pt(self, page_format: PageFormat) -> float:
        """Width of one column."""
        return column_width_pt(page_format, self.columns, self.gutter_pt)


def column_width_pt(page_format: PageFormat, columns: int, gutter_pt: float = 20.0) -> float:
    """Width of one of ``columns`` columns."""
    return (page_format.text_width_pt - gutter_pt * (columns - 1)) / columns


def flow(streams: Sequence[Stream], page_format: PageFormat, head: str = "") -> list[Page]:
    """Set the streams one after the other and return the pages.

    A heading never stands alone at the foot of a column. A block higher than a page is set all
    the same, on a page of its own.
    """
    pages: list[list[Placed]] = [[]]
    top = page_format.top_pt
    limit = page_format.height_pt - page_format.bottom_pt
    for stream in streams:
        groups = _groups(stream.items)
        while groups:
            is_fresh = top == page_format.top_pt
            # Columns begin level, so the space above their first block is left out.
            at_top = is_fresh or stream.columns > 1
            taken, height = _fill(groups, stream.columns, limit - top, at_top)
            if taken == 0 and not is_fresh:
                pages.append([])
                top = page_format.top_pt
                continue
            if taken == 0:
                taken, height = 1, _height(groups[0], False)
            pages[-1].extend(_set(groups[:taken], stream, page_format, top, height, at_top))
            groups = groups[taken:]
            top += height
            if groups:
                pages.append([])
                top = page_format.top_pt
    return [Page(tuple(placed), head) for placed in pages if placed]


def _groups(items: Sequence[Flowed]) -> list[tuple[Flowed, ...]]:
    """Items that may not be torn apart, together."""
    groups: list[tuple[Flowed, ...]] = []
    group: list[Flowed] = []
    for item in items:
        group.append(item)
        if not item.keeps_with_next:
            groups.append(tuple(group))
            group = []
    if group:
        groups.append(tuple(group))
    return groups


def _height(group: Sequence[Flowed], at_top: bool) -> float:
    height = sum(item.before_pt + item.block.height_pt for item in group)
    return height - (group[0].before_pt if at_top else 0.0)


def _column_fill(groups: Sequence[tuple[Flowed, ...]], room_pt: float, at_top: bool) -> int:
    """How many groups go into one column of height ``room_pt``."""
    used = 0.0
    for count, group in enumerate(groups):
        used += _height(group, at_top and count == 0)
        if used > room_pt + 0.01:
            return count
    return len(groups)


def _fill(
    groups: Sequence[tuple[Flowed, ...]], columns: int, room_pt: float, at_top: bool
) -> tuple[int, float]:
    """How many groups go into ``columns`` columns of at most ``room_pt``, and the least height
    that takes them (so that the last columns come out even)."""
    taken = _columns_fill(groups, columns, room_pt, at_top)
    if taken < len(groups):
        return taken, room_pt
    low, high = 0.0, room_pt
    for _ in range(24):
        middle = (low + high) / 2
        if _columns_fill(groups, columns, middle, at_top) >= taken:
            high = middle
        else:
            low = middle
    return taken, high


def _columns_fill(
    groups: Sequence[tuple[Flowed, ...]], columns: int, room_pt: float, at_top: bool
) -> int:
    taken = 0
    for column in range(columns):
        taken += _column_fill(groups[taken:], room_pt, at_top or column > 0)
    return taken


def _set(
    groups: Sequence[tuple[Flowed, ...]],
    stream: Stream,
    page_format: PageFormat,
    top_pt: float,
    height_pt: float,
    at_top: bool,
) -> list[Placed]:
    placed = []
    step = stream.column_width_pt(page_format) + stream.gutter_pt
    rest = list(groups)
    for column in range(stream.columns):
        count = _column_fill(rest, height_pt, at_top or column > 0)
        if stream.columns == 1:
            count = len(rest)
        at = top_pt
        is_first = at_top or column > 0
        for item in (item for group in rest[:count] for item in group):
            at += 0.0 if is_first else item.before_pt
            is_first = False
            placed.append(Placed(item, page_format.side_pt + column * step, at))
            at += item.block.height_pt
        rest = rest[count:]
    return placed
