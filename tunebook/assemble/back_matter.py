"""What stands after the tunes, in order."""

from __future__ import annotations

from tunebook.assemble.chord_page import chord_pages
from tunebook.assemble.content import BookContent
from tunebook.assemble.design import Design
from tunebook.assemble.flow import Page
from tunebook.assemble.indexes import index_pages
from tunebook.assemble.ladder import ladder_pages
from tunebook.assemble.practice_pages import practice_pages
from tunebook.assemble.source_pages import source_pages


def back_matter(content: BookContent, design: Design) -> list[Page]:
    """Return the pages after the tunes, but for the colophon: practice, chords, ladder, indexes,
    sources."""
    return [
        *practice_pages(content, design),
        *chord_pages(content, design),
        *ladder_pages(content, design),
        *index_pages(content, design),
        *source_pages(content, design),
    ]
