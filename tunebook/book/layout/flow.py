"""Flow blocks over columns and pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import NamedTuple

from tunebook.book.layout.blocks import Flowed
from tunebook.book.layout.paper import PageFormat
from tunebook.book.layout.sheet import Sheet


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


@dataclass(frozen=True, slots=True)
class Stream:
    """Blocks that are set one below the other in ``columns`` columns, and balanced in the end.
    ``heading`` stands over all columns and keeps with them. ``title`` is the running head of pages
    that the stream begins or goes on on. ``is_whole`` asks for a new page rather than a break."""

    items: tuple[Flowed, ...]
    columns: int = 1
    gutter_pt: float = 20.0
    heading: tuple[Flowed, ...] = ()
    title: str = ""
    is_whole: bool = False

    def column_width_pt(self, page_format: PageFormat) -> float:
        """Width of one column."""
        return column_width_pt(page_format, self.columns, self.gutter_pt)


def column_width_pt(page_format: PageFormat, columns: int, gutter_pt: float = 20.0) -> float:
    """Width of one of ``columns`` columns."""
    return (page_format.text_width_pt - gutter_pt * (columns - 1)) / columns


@dataclass(slots=True)
class _Setter:
    """Sets streams on pages: the pages so far and where the next block goes."""

    page_format: PageFormat
    head: str
    top_pt: float = 0.0
    pages: list[list[Placed]] = field(default_factory=list)
    heads: list[str] = field(default_factory=list)

    @property
    def is_fresh(self) -> bool:
        return not self.pages or not self.pages[-1]

    @property
    def room_pt(self) -> float:
        return self.page_format.height_pt - self.page_format.bottom_pt - self.top_pt

    def turn(self, title: str) -> None:
        """Begin a new page."""
        self.pages.append([])
        self.heads.append(title or self.head)
        self.top_pt = self.page_format.top_pt

    def set_stream(self, stream: Stream) -> None:
        """Set the heading, then the columns, page after page."""
        groups = _groups(stream.items)
        if not self.pages or (not self.is_fresh and not self._has_room(stream, groups)):
            self.turn(stream.title)
        for item in stream.heading:
            self.top_pt += 0.0 if self.is_fresh else item.before_pt
            self.pages[-1].append(Placed(item, self.page_format.side_pt, self.top_pt))
            self.top_pt += item.block.height_pt
        while groups:
            groups = groups[self._set_columns(stream, groups) :]
            if groups:
                self.turn(stream.title)

    def _has_room(self, stream: Stream, groups: list[tuple[Flowed, ...]]) -> bool:
        """Whether the heading and the least that goes with it stand on the rest of the page."""
        if not groups:
            return _height(stream.heading, False) <= self.room_pt
        room = self.room_pt - (_height(stream.heading, False) if stream.heading else 0.0)
        taken, _ = _fill(groups, stream.columns, room, stream.columns > 1)
        if stream.is_whole and taken < len(groups):
            # A new page, unless that would not be enough either.
            fresh = self.page_format.text_height_pt
            fresh -= _height(stream.heading, True) if stream.heading else 0.0
            if _fill(groups, stream.columns, fresh, True)[0] == len(groups):
                return False
        least = min(len(groups), 4 * stream.columns if stream.heading else 1)
        return taken >= least

    def _set_columns(self, stream: Stream, groups: list[tuple[Flowed, ...]]) -> int:
        """Set what goes on this page; return how many groups. A group higher than a whole page
        is set all the same."""
        # Columns begin level, so the space above their first block is left out.
        at_top = self.is_fresh or stream.columns > 1
        taken, height = _fill(groups, stream.columns, self.room_pt, at_top)
        if taken == 0 and not self.is_fresh:
            self.turn(stream.title)
            at_top = True
            taken, height = _fill(groups, stream.columns, self.room_pt, at_top)
        if taken == 0:
            taken, height = 1, _height(groups[0], True)
        self.pages[-1] += _set(
            groups[:taken], stream, self.page_format, self.top_pt, height, at_top
        )
        self.top_pt += height
        return taken


def flow(streams: Sequence[Stream], page_format: PageFormat, head: str = "") -> list[Page]:
    """Set the streams one after the other and return the pages.

    A heading never stands alone at the foot of a column. A block higher than a page is set all
    the same, on a page of its own.
    """
    setter = _Setter(page_format, head)
    for stream in streams:
        setter.set_stream(stream)
    return [
        Page(tuple(placed), title)
        for placed, title in zip(setter.pages, setter.heads, strict=True)
        if placed
    ]


def flow_in_fewest(
    make: Callable[[float], Sequence[Stream]],
    page_format: PageFormat,
    head: str = "",
    eases: Sequence[float] = (1.0, 0.95, 0.9),
) -> list[Page]:
    """Set what ``make`` returns for the first of ``eases`` that takes the fewest pages.

    An ease is the share of the usual spaces; they begin with the widest. So a few lines are not
    left over for a page of their own where a little less space takes them in.
    """
    found: list[Page] = []
    for ease in eases:
        pages = flow(make(ease), page_format, head)
        if not found or len(pages) < len(found):
            found = pages
        if len(found) <= 1:
            break
    return found


def share_pages(
    parts: Sequence[Sequence[Page]], page_format: PageFormat, gap_pt: float
) -> list[Page]:
    """The pages of ``parts`` in their order; a part of one page stands below what ends before it,
    ``gap_pt`` lower, where all of it finds room there."""
    pages: list[Page] = []
    for part in parts:
        if len(part) == 1 and pages:
            both = _joined(pages[-1], part[0], page_format, gap_pt)
            if both is not None:
                pages[-1] = both
                continue
        pages += part
    return pages


def _joined(upper: Page, lower: Page, page_format: PageFormat, gap_pt: float) -> Page | None:
    """Both on one page; None where there is no room."""
    down = _bottom(upper) + gap_pt - page_format.top_pt
    if _bottom(lower) + down > page_format.height_pt - page_format.bottom_pt + 0.01:
        return None
    moved = tuple(replace(one, top_pt=one.top_pt + down) for one in lower.placed)
    return replace(upper, placed=(*upper.placed, *moved))


def _bottom(page: Page) -> float:
    return max((one.top_pt + one.item.block.height_pt for one in page.placed), default=0.0)


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
    if not at_top:
        return height
    again = group[0].continued
    return height - group[0].before_pt + (again.height_pt if again else 0.0)


def _column_end(groups: _Groups, start: int, room_pt: float, at_top: bool) -> int:
    """Up to which group those from ``start`` on go into one column of height ``room_pt``."""
    used = 0.0
    heights = groups.top_pt if at_top else groups.below_pt
    for at in range(start, len(heights)):
        used += heights[at]
        if used > room_pt + 0.01:
            return at
        heights = groups.below_pt
    return len(heights)


def _fill(
    groups: Sequence[tuple[Flowed, ...]], columns: int, room_pt: float, at_top: bool
) -> tuple[int, float]:
    """How many groups go into ``columns`` columns of at most ``room_pt``, and the least height
    that takes them (so that the last columns come out even)."""
    measured = _measured(groups, columns, room_pt)
    taken = _columns_fill(measured, columns, room_pt, at_top)
    if taken < len(groups):
        return taken, room_pt
    low, high = 0.0, room_pt
    for _ in range(24):
        middle = (low + high) / 2
        if _columns_fill(measured, columns, middle, at_top) >= taken:
            high = middle
        else:
            low = middle
    return taken, high


class _Groups(NamedTuple):
    """The heights of groups, each at the top of a column and below another one."""

    top_pt: Sequence[float]
    below_pt: Sequence[float]


def _measured(groups: Sequence[tuple[Flowed, ...]], columns: int, room_pt: float) -> _Groups:
    """The heights of as many groups as could at all find room, and of one more."""
    top, below, total = [], [], 0.0
    for group in groups:
        top.append(_height(group, True))
        below.append(_height(group, False))
        total += min(top[-1], below[-1])
        if total > columns * (room_pt + 0.02):
            break
    return _Groups(top, below)


def _columns_fill(groups: _Groups, columns: int, room_pt: float, at_top: bool) -> int:
    taken = 0
    for column in range(columns):
        taken = _column_end(groups, taken, room_pt, at_top or column > 0)
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
    measured = _measured(groups, stream.columns, inf)
    end = 0
    for column in range(stream.columns):
        start, end = end, _column_end(measured, end, height_pt, at_top or column > 0)
        if stream.columns == 1:
            end = len(groups)
        at = top_pt
        is_first = at_top or column > 0
        left = page_format.side_pt + column * step
        for item in (item for group in groups[start:end] for item in group):
            if is_first and item.continued is not None:
                placed.append(Placed(Flowed(item.continued), left, at))
                at += item.continued.height_pt
            at += 0.0 if is_first else item.before_pt
            is_first = False
            placed.append(Placed(item, left, at))
            at += item.block.height_pt
    return placed
