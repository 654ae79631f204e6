"""What stands on the pages, told as a tree: headings, paragraphs, links, tables and figures with
their alternative text, for readers who hear a book or feel it.

Everything drawn is marked content (ISO 32000-1, 14.6): it belongs to an element of the tree, or is
an artifact (14.8.2.2), such as lines, running heads and page numbers. Text that nobody claims is a
paragraph of its own. Elements stand in the order in which they were begun, which is that of
reading; a figure goes on where its music does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

Box = tuple[float, float, float, float]
"""Left, bottom, right, top in points from the page's lower left."""


@dataclass(frozen=True, slots=True)
class Content:
    """A run of marked content: ``page`` from 0, ``number`` within it."""

    page: int
    number: int


@dataclass(frozen=True, slots=True)
class LinkPlace:
    """The link with this ``index`` on ``page``, both from 0; ``text`` says where it leads."""

    page: int
    index: int
    text: str


@dataclass(slots=True, eq=False)
class Element:
    """A node of the tree: its ``kind`` is a standard structure type (ISO 32000-1, 14.8.4), ``text``
    the alternative text. ``boxes`` are where a figure stands, by page."""

    kind: str
    text: str = ""
    kids: list[Element | Content | LinkPlace] = field(default_factory=list)
    boxes: dict[int, Box] = field(default_factory=dict)

    def add_box(self, page: int, box: Box) -> None:
        """The figure takes ``box``, too."""
        old = self.boxes.get(page, box)
        low = map(min, old[:2], box[:2])
        self.boxes[page] = (*low, *map(max, old[2:], box[2:]))  # type: ignore[assignment]


@dataclass(frozen=True, slots=True)
class Figure:
    """The alternative text of a picture or of music; systems of equal ``key`` are one figure."""

    key: str
    text: str


_ARTIFACT = Element("Artifact")


@dataclass(slots=True)
class Tags:
    """Records the tree while pages are drawn. ``write`` puts operators into the page's content."""

    write: Callable[[str], None]
    root: Element = field(default_factory=lambda: Element("Document"))
    page: int = 0
    _open: list[Element] = field(default_factory=list)
    _marked: Element | None = None
    _numbers: int = 0
    _links: int = 0
    _figures: dict[str, Element] = field(default_factory=dict)

    @contextmanager
    def element(self, kind: str, text: str = "") -> Iterator[Element]:
        """What is drawn meanwhile belongs to a new element; within a figure to the figure, and a
        paragraph within text to that text."""
        inside = self._innermost
        is_text = inside is not None and inside.kind[0] in "PHL"
        if inside is not None and (
            inside.kind in ("Figure", "Artifact") or (is_text and kind == "P")
        ):
            yield inside
            return
        made = Element(kind, text)
        self._parent_of(kind).kids.append(made)
        self._open.append(made)
        yield made
        self._open.pop()

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is drawn meanwhile is no part of the text."""
        self._open.append(_ARTIFACT)
        yield
        self._open.pop()

    def mark_text(self) -> None:
        """Text follows: begin marked content where it does not go on."""
        if self._innermost is None:
            with self.element("P") as made:
                self._mark(made)
        else:
            self._mark(self._innermost)

    def mark_line(self) -> None:
        """A line or shape follows, which says nothing outside a figure."""
        inside = self._innermost
        self._mark(inside if inside is not None and inside.kind == "Figure" else _ARTIFACT)

    def music(self, figure: Figure | None, box: Box) -> int | None:
        """The number of the marked content that a system will be; None for an artifact."""
        if figure is None:
            return None
        found = self._figures.get(figure.key)
        if found is None:
            found = self._figures[figure.key] = Element("Figure", figure.text)
            self._parent_of("Figure").kids.append(found)
        found.add_box(self.page, box)
        return self._add_content(found)

    def link(self, text: str) -> None:
        """A link was made over what the innermost element holds."""
        inside = self._innermost
        if inside is not None and inside.kind == "Link":
            inside.kids.append(LinkPlace(self.page, self._links, text))
        self._links += 1

    def end_page(self) -> None:
        """Finish the page's marked content."""
        self._mark(None)
        self.page += 1
        self._numbers = self._links = 0

    @property
    def _innermost(self) -> Element | None:
        return self._open[-1] if self._open else None

    def _parent_of(self, kind: str) -> Element:
        parent = self._open[-1] if self._open else self.root
        if kind != "TR" or parent.kind == "Table":
            return parent
        last = parent.kids[-1] if parent.kids else None
        if not isinstance(last, Element) or last.kind != "Table":
            last = Element("Table")
            parent.kids.append(last)
        return last

    def _mark(self, wanted: Element | None) -> None:
        if wanted is self._marked:
            return
        if self._marked is not None:
            self.write("EMC")
        self._marked = wanted
        if wanted is _ARTIFACT:
            self.write("/Artifact BMC")
        elif wanted is not None:
            self.write(f"/{wanted.kind} <</MCID {self._add_content(wanted)}>> BDC")

    def _add_content(self, element: Element) -> int:
        number = self._numbers
        self._numbers += 1
        element.kids.append(Content(self.page, number))
        return number
