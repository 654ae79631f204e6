"""What stands after the tunes: practice, chords, sources, colophon."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pikepdf
from books import book_tune, content
from reading import links_of, outline_of, page_of, text_of

from tunebook.book.book import assemble_book
from tunebook.book.content import (
    BookContent,
    BookSection,
    ChordShapes,
    PracticePiece,
    PracticeSection,
)
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import broken, linked_text
from tunebook.book.pages.sources import default_tempi
from tunebook.book.pages.tunes import told_of
from tunebook.model.arrangement import Stop
from tunebook.model.words import fixed_words
from tunebook.read.settings.profile import read_instrument
from tunebook.store import Store


def book_of(folder: Path, store: Store, *tunes: object) -> BookContent:
    section = BookSection("", tuple(tunes))  # type: ignore[arg-type]
    return replace(content(folder, (section,)), store=store)


def flat(text: str) -> str:
    """Text without line ends and columns."""
    return " ".join(text.split())


def test_sources_stand_in_one_line_with_their_names(tmp_path: Path) -> None:
    fields = (
        ("C", ("Lina på Myra",)),
        ("O", ("Lerhult",)),
        ("S", ("Ottil",)),
        ("B", ("The green book",)),
        ("Z", ("Signe",)),
        ("N", ("slow", "and soft")),
        ("H", ("old",)),
    )
    tune = book_tune(tmp_path, 1, "Polska", fields=fields)
    assert told_of(tune.arrangement.tune, "COSBZNH", fixed_words("en")) == (
        "Lina på Myra · From: Lerhult · Source: Ottil · Source: The green book · "
        "Transcription: Signe · Remark: slow and soft · Remark: old"
    )


def test_a_tune_without_sources_is_not_among_them(tmp_path: Path, store: Store) -> None:
    told = book_tune(tmp_path, 1, "Told", fields=(("S", ("Ottil",)),))
    silent = [book_tune(tmp_path, number, "Silent") for number in (2, 3, 4)]
    book = book_of(tmp_path, store, told, *silent)
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "Sources")
        assert page_of(document, "Told") in links_of(document, page)
    text = text_of(tmp_path / "book.pdf", page + 1)
    text = text[text.rindex("Sources") :]
    assert "Told" in text and "Silent" not in text


def test_a_short_book_says_its_sources_once(tmp_path: Path, store: Store) -> None:
    def has_sources(**fields: str) -> bool:
        given = tuple((letter, (text,)) for letter, text in fields.items())
        tune = book_tune(tmp_path, 1, "Told", fields=given)
        assemble_book(book_of(tmp_path, store, tune), tmp_path / "book.pdf")
        with pikepdf.open(tmp_path / "book.pdf") as document:
            return (0, "Sources") in outline_of(document)

    assert not has_sources(S="Ottil")
    assert has_sources(S="Ottil " * 100)
    assert has_sources(B="A printed book")


def test_sources_are_left_out_where_the_edition_says_so(tmp_path: Path, store: Store) -> None:
    book = book_of(tmp_path, store, book_tune(tmp_path, 1, "A", fields=(("S", ("Ottil",)),)))
    book = replace(book, edition=replace(book.edition, shows_sources=False))
    assemble_book(book, tmp_path / "book.pdf")
    assert "Ottil" not in text_of(tmp_path / "book.pdf")


def test_the_colophon_names_what_made_the_book(tmp_path: Path, store: Store) -> None:
    book = book_of(tmp_path, store, book_tune(tmp_path, 1, "A"))
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "About this book")
        # Behind the title page where that saves a blank one, else at the end.
        assert page in (1, len(document.pages) - 1)
    text = flat(text_of(tmp_path / "book.pdf", page + 1))
    for words in (
        "Player’s edition",
        "tuned C G D A",
        "medium; comfortable spans 1–2 40, 1–3 40",
        "higher finger on the higher string; no barre",
        "A4",
        "16.5 pt",
        "GNU AGPL 3",
        "Emmentaler",
        "tunebook 0.1",
    ):
        assert words in text
    assert "tempo in brackets" not in text


def test_tempi_that_were_assumed_are_named_once_for_each_type(tmp_path: Path) -> None:
    own = book_tune(tmp_path, 1, "Own")
    assumed = [
        replace(tune, arrangement=replace(tune.arrangement, tempo_is_default=True))
        for tune in (
            book_tune(tmp_path, 2, "One"),
            book_tune(tmp_path, 3, "Two"),
            book_tune(tmp_path, 4, "Three", rhythm=""),
        )
    ]
    book = content(tmp_path, (BookSection("", (own, *assumed)),))
    assert default_tempi(book) == "3/4 ♩ = 104; Polska 3/4 ♩ = 104"
    assert default_tempi(content(tmp_path, (BookSection("", (own,)),))) == ""


def test_an_exercise_leads_to_its_tune(tmp_path: Path, store: Store) -> None:
    tunes = [book_tune(tmp_path, number, f"Tune {number}") for number in (1, 2)]
    book = book_of(tmp_path, store, *tunes)
    sections = (
        PracticeSection("Warming up", (PracticePiece("Long bows", tunes[0].piece),), "Softly."),
        PracticeSection("Tune 2", (PracticePiece("Bar 1", tunes[1].piece),), tune="tunes.abc:2"),
    )
    assemble_book(replace(book, practice=sections), tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        practice = page_of(document, "Practice pages")
        assert links_of(document, practice) == [page_of(document, "Tune 2")]
    text = text_of(tmp_path / "book.pdf", practice + 1)
    order = [text.index(name) for name in ("stop", "Softly.", "Long bows", "Tune 2", "Bar 1")]
    assert order == sorted(order)


def test_a_chord_names_its_tunes_with_links(tmp_path: Path, store: Store) -> None:
    tunes = [book_tune(tmp_path, number, f"Tune {number}") for number in range(1, 9)]
    silent = replace(tunes[1], arrangement=replace(tunes[1].arrangement, chords=()))
    book = book_of(tmp_path, store, tunes[0], silent, *tunes[2:])
    shapes = (ChordShapes("G", ((Stop(55, 2, 0, 0), Stop(62, 3, 0, 0)),)),)
    assemble_book(replace(book, chord_shapes=shapes), tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "Chords")
        named = [page_of(document, f"Tune {number}") for number in (1, 3, 4, 5, 6, 7)]
        assert links_of(document, page)[: len(named)] == named
    text = flat(text_of(tmp_path / "book.pdf", page + 1))
    assert "in Tune 1, Tune 3, Tune 4, Tune 5, Tune 6, Tune 7 …" in text


def test_chords_of_another_tuning_stand_under_its_name(tmp_path: Path, store: Store) -> None:
    first, second = (book_tune(tmp_path, number, f"Tune {number}") for number in (1, 2))
    tuned = read_instrument("nyckelharpa-3row", "CGCA")
    second = replace(second, arrangement=replace(second.arrangement, instrument=tuned))
    shape = ((Stop(55, 2, 0, 0), Stop(62, 3, 0, 0)),)
    shapes = (ChordShapes("G", shape), ChordShapes("G", shape, tuned))
    book = replace(book_of(tmp_path, store, first, second), chord_shapes=shapes)
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "Chords")
    text = flat(text_of(tmp_path / "book.pdf", page + 1))
    order = ("Tuning C G D A", "in Tune 1", "Tuning C G C A", "in Tune 2")
    assert [text.count(words) for words in order] == [1, 1, 1, 1]
    assert [text.index(words) for words in order] == sorted(text.index(words) for words in order)


def test_linked_text_breaks_at_spaces_and_keeps_commas_with_their_words(
    store: Store,
) -> None:
    fonts = load_fonts(store)
    parts = [("in ", ""), ("One tune", "1"), (", ", ""), ("Two", "2"), (", ", ""), ("Three", "3")]
    whole = linked_text(parts, fonts, 500.0, "serif", 10.0)
    assert whole.lines == (tuple(parts),)
    narrow = linked_text(parts, fonts, 45.0, "serif", 10.0)
    texts = ["".join(text for text, _ in line) for line in narrow.lines]
    assert texts == ["in One ", "tune, ", "Two, ", "Three"]
    assert narrow.lines[1] == (("tune", "1"), (", ", ""))
    assert narrow.height_pt == 4 * whole.height_pt
    more = linked_text([*parts, ("\u00a0…", "")], fonts, 45.0, "serif", 10.0)
    assert ["".join(text for text, _ in line) for line in more.lines] == [
        *texts[:-1],
        "Three\u00a0…",
    ]


def test_exercises_that_go_on_name_their_tune_once_more(tmp_path: Path, store: Store) -> None:
    tune = book_tune(tmp_path, 1, "Long", 6)
    book = book_of(tmp_path, store, tune)
    pieces = tuple(PracticePiece(f"Bar {number}", tune.piece) for number in range(3))
    practice = (PracticeSection("Long", pieces, tune=tune.identity),)
    assemble_book(replace(book, practice=practice), tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        first = page_of(document, "Practice pages")
        placed = [
            sum(str(name).startswith("/Music") for name in page.Resources.XObject)
            for page in list(document.pages)[first : first + 3]
        ]
    texts = [text_of(tmp_path / "book.pdf", first + number) for number in (1, 2, 3)]
    assert ["Long (continued)" in text for text in texts] == [False, True, True]
    # An exercise that begins on one page and goes on on the next is named on both.
    named = [[number for number in range(3) if f"Bar {number}" in text] for text in texts]
    assert named == [[0, 1], [1, 2], [2]]
    assert sum(placed) == 18 and min(placed) >= 2


def test_no_line_begins_with_the_dot_between_facts(store: Store) -> None:
    fonts = load_fonts(store)
    for width in range(40, 240, 5):
        lines = broken("one two · From: three · Remark: four five · six", fonts, "serif", 10, width)
        assert not any(line.startswith("·") for line in lines)
        assert " ".join(lines) == "one two · From: three · Remark: four five · six"
