"""Questions to a player as a PDF of their own: each passage in the ways to play it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tunebook.book.content import PracticeSection
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import Flowed, Space
from tunebook.book.layout.flow import Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.pages.furniture import draw_pages, open_tagged, saved
from tunebook.book.pages.passages import passage_items
from tunebook.files import FilesRead, write_whole
from tunebook.model.book import Book
from tunebook.model.words import fixed_words
from tunebook.store import Store


def write_questions(
    sections: Sequence[PracticeSection],
    columns: int,
    book: Book,
    output: Path,
    store: Store,
    read: FilesRead,
) -> None:
    """Write the questions to ``output`` (whole or not at all), over none of the files in ``read``;
    a section is a question, a piece a way. Raises OutputError."""
    texts = fixed_words(book.language, note_names=book.note_names)
    design = Design(page_format(book.paper), load_fonts(store, texts.opening_quote), texts)
    words = texts.learning
    opening = (
        design.page_title(words.ask_title, "questions"),
        design.body(words.ask_text),
        design.body(words.grey),
        design.note(words.caution, before_pt=5.0),
        Flowed(Space(design.size(14.0))),
    )
    items = [item for section in sections for item in passage_items(section, columns, design)]
    streams = [Stream(opening), Stream(tuple(items), columns)]
    pages = flow(streams, design.page_format, words.ask_title)
    labels = [str(number) for number in range(1, len(pages) + 1)]
    drawn = draw_pages(pages, design, {"Title": words.ask_title}, labels)
    write_whole(output, saved(open_tagged(drawn, words.ask_title, book.language)), read=read)
