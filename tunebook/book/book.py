"""Make the book: lay out its pages, number them, draw them, place the music, write the file.

A booklet is made of the finished book: two small pages on each side of a large sheet, in the
order for folding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import Any

from tunebook.book.attachments import attach
from tunebook.book.booklet import booklet_path, impose_booklet
from tunebook.book.content import BookContent, BookReport
from tunebook.book.design import Design
from tunebook.book.fonts.files import ROLES
from tunebook.book.fonts.fonts import Fonts, load_fonts
from tunebook.book.layout.flow import Page
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.sheet import PageReference
from tunebook.book.pages.body import in_best_order, lay_out_tunes
from tunebook.book.pages.front import Parts, matter
from tunebook.book.pages.furniture import DrawnPages, draw_pages, open_tagged, saved
from tunebook.book.pages.signs import foot_line
from tunebook.book.pages.sources import colophon_pages
from tunebook.files import FilesRead, write_whole
from tunebook.model.choices import Language
from tunebook.model.words import fixed_words, words_for
from tunebook.store import Store

# What it costs (in pages, our judgement) that the tunes begin on a left-hand page, and that the
# colophon stands behind the title page instead of at the end.
_LEFT_COST = 0.5
_IMPRINT_COST = 0.1


@dataclass(frozen=True, slots=True)
class _Numbered:
    """All pages with their labels; ``body_start`` is the number of pages of front matter, and
    ``first_number`` that of the first page after it."""

    pages: tuple[Page, ...]
    labels: tuple[str, ...]
    body_start: int
    first_number: int


def get_ready(store: Store, language: Language) -> Fonts:
    """Load what every book needs, so that it can be done while the music is engraved.

    Raises ProgramError when no font can be found."""
    import pikepdf  # noqa: F401
    from reportlab.pdfgen import canvas  # noqa: F401

    fonts = load_fonts(store, fixed_words(language).opening_quote)
    for role in ROLES:
        fonts.width("a", role, 10.0)
    return fonts


def assemble_book(
    content: BookContent,
    output: Path,
    fonts: Fonts | None = None,
    read: FilesRead | None = None,
) -> BookReport:
    """Write the book to ``output`` (whole or not at all) and report on it. ``fonts`` are those of
    :func:`get_ready`, if it was called before; files in ``read`` are not written over.

    With ``content.book.is_booklet`` and A5 paper, a second file ``<stem>-booklet.pdf`` has the
    pages two on a sheet of A4 in the order for folding. Raises OutputError when a file cannot be
    written, ProgramError when no font can be found.
    """
    words = words_for(content.book, content.instrument)
    fonts = fonts or get_ready(content.store, content.book.language)
    design = Design(page_format(content.paper), fonts, words, content.edition.enlargement)
    if content.book.may_reorder:
        content = in_best_order(content, design)
    numbered = _laid_out(content, design)
    document = _document(content, design, numbered)
    data = saved(document)
    write_whole(output, data, read=read)
    booklet = None
    if content.book.is_booklet and content.paper == "a5":
        booklet = booklet_path(output)
        write_whole(
            booklet, impose_booklet(data, words.booklet_note.format(output.name)), read=read
        )
    return BookReport(
        output=output,
        pages=len(numbered.pages),
        tunes=len(content.tunes),
        booklet=booklet,
        warnings=_warnings(design),
    )


def _laid_out(content: BookContent, design: Design) -> _Numbered:
    """All pages, none of them blank: where the tunes had better begin on the other side, the
    colophon goes behind the title page."""
    has_colophon = "colophon" in content.edition.parts
    colophon = colophon_pages(content, design) if has_colophon else []
    parts = Parts(content, design)
    made = [
        (cost, *matter(content, design, before, after, is_shared, parts=parts))
        for cost, before, after in ((_IMPRINT_COST, colophon, ()), (0.0, (), colophon))
        for is_shared in (False, True)
    ]
    made = [(cost + len(front) + len(back), front, back) for cost, front, back in made]
    least = min(cost for cost, _, _ in made)
    made.sort(key=lambda one: -one[0])
    ways = {len(front) % 2: (cost - least, front, back) for cost, front, back in made}
    costs = [ways[side][0] if side in ways else inf for side in (0, 1)]
    foot = foot_line(content, design)
    body = lay_out_tunes(content, design, foot, (costs[0], costs[1] + _LEFT_COST))
    _, front, back = ways[body.side]
    return _number(front, body.pages, back)


def _number(front: Sequence[Page], body: Sequence[Page], back: Sequence[Page]) -> _Numbered:
    """Roman numbers for the front matter, arabic ones from the first page of the tunes; right-hand
    pages have odd ones, so those begin with 2 on a left-hand page."""
    rest = [*body, *back]
    first = 1 + len(front) % 2
    labels = [roman(number) for number in range(1, len(front) + 1)]
    labels += [str(number) for number in range(first, first + len(rest))]
    return _Numbered((*front, *rest), tuple(labels), len(front), first)


def roman(number: int) -> str:
    """``number`` in small roman figures."""
    signs = ((100, "c"), (90, "xc"), (50, "l"), (40, "xl"), (10, "x"), (9, "ix"), (5, "v"))
    text = ""
    for value, sign in (*signs, (4, "iv"), (1, "i")):
        while number >= value:
            text += sign
            number -= value
    return text


def _document(content: BookContent, design: Design, numbered: _Numbered) -> Any:
    """The finished book as a pikepdf document."""
    drawn = _draw_pages(content, design, numbered)
    document = open_tagged(drawn, content.book.title, content.book.language)
    _describe(document, content, numbered)
    attach(document, content.attached)
    return document


def _draw_pages(content: BookContent, design: Design, numbered: _Numbered) -> DrawnPages:
    references = {
        anchor: PageReference(index, numbered.labels[index])
        for index, page in enumerate(numbered.pages)
        for anchor in page.anchors()
    }
    about = {
        "Title": content.book.title,
        "Author": content.book.editor,
        "Subject": design.words.local(content.edition.title or content.edition.name),
        "Creator": f"tunebook {content.program_version}".strip(),
    }
    return draw_pages(numbered.pages, design, about, numbered.labels, references)


def _describe(document: Any, content: BookContent, numbered: _Numbered) -> None:
    """Page labels, author and what a reader shows on opening."""
    import pikepdf

    root = document.Root
    labels = [0, pikepdf.Dictionary(S=pikepdf.Name.r)]
    labels += [numbered.body_start, pikepdf.Dictionary(S=pikepdf.Name.D, St=numbered.first_number)]
    root.PageLabels = pikepdf.Dictionary(Nums=pikepdf.Array(labels))
    root.PageMode = pikepdf.Name.UseOutlines
    for name in ("/CreationDate", "/ModDate"):
        if name in document.docinfo:
            del document.docinfo[name]
    with document.open_metadata(set_pikepdf_as_editor=False) as metadata:
        if content.book.editor:
            metadata["dc:creator"] = [content.book.editor]


def _warnings(design: Design) -> tuple[str, ...]:
    if not design.fonts.missing:
        return ()
    letters = " ".join(sorted(design.fonts.missing)[:20])
    return (f"no font has these characters: {letters}; they are printed as \ufffd",)
