"""The whole book, read back: text, order, links, labels, outline, page sizes."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from books import D_DORIAN, book_tune, content
from reading import links_of, outline_of, page_of, text_of

from tunebook.book.book import assemble_book, roman
from tunebook.book.content import (
    BookContent,
    BookSection,
    ChordShapes,
    LegendEntry,
    PracticePiece,
    PracticeSection,
)
from tunebook.errors import OutputError
from tunebook.model.arrangement import Stop
from tunebook.model.choices import BookPart
from tunebook.store import Store


@pytest.fixture
def book(tmp_path: Path, store: Store) -> BookContent:
    """Two sets and two loose tunes."""
    sets = (
        BookSection(
            "Kvällsset",
            (
                book_tune(tmp_path, 1, "Polska från Ödeby"),
                book_tune(tmp_path, 2, "Schottis i Åsen", key=D_DORIAN, rhythm="schottis"),
            ),
            "Played without a stop.",
            True,
        ),
        BookSection("Brudföljet", (book_tune(tmp_path, 3, "Brudmarsch", 6),), "", True),
        BookSection(
            "",
            (
                book_tune(tmp_path, 4, "Ängsvals", titles=("Ängsvals", "The meadow waltz")),
                book_tune(tmp_path, 5, "Apolkett", fields=(("S", ("A hand-written book",)),)),
            ),
        ),
    )
    return replace(content(tmp_path, sets), store=store)


def test_tunes_stand_in_the_order_of_the_sections(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    body = text[text.index("for nyckelharpa") :]
    heads = re.findall(r"^(\S.*?)\s{3,}trad\., Lerhult", body, re.MULTILINE)
    assert heads == [
        "Polska från Ödeby",
        "Schottis i Åsen",
        "Brudmarsch",
        "Ängsvals",
        "Apolkett",
    ]


def test_contents_give_the_pages_on_which_tunes_stand(book: BookContent, tmp_path: Path) -> None:
    report = assemble_book(book, tmp_path / "book.pdf")
    pages = [text_of(tmp_path / "book.pdf", page) for page in range(1, report.pages + 1)]
    contents = next(page for page in pages if re.search("^Contents$", page, re.MULTILINE))
    for title in ("Polska från Ödeby", "Brudmarsch", "Ängsvals"):
        match = re.search(rf"{title}.*?(\d+)\s*$", contents, re.MULTILINE)
        assert match is not None
        page = next(p for p in pages if re.search(rf"^{title}\s+trad", p, re.MULTILINE))
        assert re.search(rf"(^|\s){match[1]}(\s|$)", page.splitlines()[0])


def test_a_page_that_begins_with_a_heading_bears_no_running_head(
    book: BookContent, tmp_path: Path
) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        pages = [page_of(document, name) for name in ("Contents", "Kvällsset", "Ängsvals")]
    tops = [text_of(tmp_path / "book.pdf", page + 1).split("\n")[0].split() for page in pages]
    assert tops[:2] == [[roman(pages[0] + 1)], ["1"]]
    assert tops[2] in (["Other", "tunes", "3"], ["4", "Lerhults", "låtar"])


def test_information_of_a_tune_stands_under_its_title(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    assert "Polska · D major · 3/4 · ♩ = 104" in text
    assert "Schottis · D dorian · 3/4 · ♩ = 104" in text


def test_contents_lead_to_the_tunes(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    titles = ("Polska från Ödeby", "Schottis i Åsen", "Brudmarsch", "Ängsvals", "Apolkett")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        places = [page_of(document, title) for title in titles]
        assert places == sorted(places)
        contents = page_of(document, "Contents")
        assert contents < places[0]
        assert set(places) <= set(links_of(document, contents))


def with_parts(book: BookContent, *parts: BookPart) -> BookContent:
    return replace(book, edition=replace(book.edition, parts=parts))


def test_indexes_lead_to_the_tunes(book: BookContent, tmp_path: Path) -> None:
    assemble_book(with_parts(book, "titles"), tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        links = links_of(document, page_of(document, "Index of titles"))
        assert page_of(document, "Brudmarsch") in links


def test_outline_holds_sets_with_their_tunes(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        outline = outline_of(document)
    start = outline.index((0, "Kvällsset"))
    assert outline[start : start + 7] == [
        (0, "Kvällsset"),
        (1, "Polska från Ödeby"),
        (1, "Schottis i Åsen"),
        (0, "Brudföljet"),
        (1, "Brudmarsch"),
        (0, "Ängsvals"),
        (0, "Apolkett"),
    ]


def test_front_matter_has_roman_labels_and_tunes_begin_on_a_right_hand_page_one(
    book: BookContent, tmp_path: Path
) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        first = page_of(document, "Kvällsset")
        assert first % 2 == 0
        assert [document.pages[page].label for page in (0, 1, first, first + 1)] == [
            "i",
            "ii",
            "1",
            "2",
        ]


@pytest.mark.parametrize("paper", ["a4", "letter", "a5"])
@pytest.mark.parametrize("systems", [(4, 4, 4), (14, 2, 6), (4, 9, 17), (20, 11, 5)])
def test_no_page_of_a_book_is_blank_and_right_hand_pages_have_odd_numbers(
    tmp_path: Path, store: Store, paper: str, systems: tuple[int, ...]
) -> None:
    tunes = [book_tune(tmp_path, at, f"Polska {at}", count) for at, count in enumerate(systems, 1)]
    for number, sections in enumerate(
        (
            (BookSection("", tuple(tunes)),),
            tuple(BookSection(f"Set {t.identity}", (t,), "", True) for t in tunes),
        )
    ):
        made = replace(content(tmp_path, sections, paper=paper), store=store)
        path = tmp_path / f"{number}.pdf"
        report = assemble_book(made, path)
        assert [
            page for page in range(1, report.pages + 1) if not text_of(path, page).strip()
        ] == []
        with pikepdf.open(path) as document:
            labels = [page.label for page in document.pages]
        assert [at % 2 for at, label in enumerate(labels, 1) if label.isdigit()] == [
            int(label) % 2 for label in labels if label.isdigit()
        ]


def test_a_book_of_one_tune_of_two_pages_is_played_without_a_turn(
    tmp_path: Path, store: Store
) -> None:
    section = BookSection("", (book_tune(tmp_path, 1, "Long polska", 14),))
    book = replace(content(tmp_path, (section,)), store=store)
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        first = page_of(document, "Long polska")
        assert first % 2 == 1
        assert document.pages[first].label == "2"


def test_a_heading_of_a_set_gives_way_rather_than_tear_its_first_tune(
    tmp_path: Path, store: Store
) -> None:
    """Five tunes make a heading with four changes, and the first tune fills most of a page."""
    tunes = tuple(book_tune(tmp_path, at, f"Polska {at}", 4) for at in range(1, 6))
    section = BookSection("A long evening", tunes, "", True)
    book = replace(content(tmp_path, (section,), paper="a5"), store=store)
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "A long evening")
        assert page_of(document, "Polska 1") == page
    text = text_of(tmp_path / "book.pdf", page + 1)
    assert "Polska 5" in text and "system 4" in text


def test_title_author_and_language_are_in_the_document(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        assert str(document.docinfo["/Title"]) == "Lerhults låtar"
        assert str(document.docinfo["/Author"]) == "Spelmän i Lerhult"
        assert str(document.Root.Lang) == "en"
        assert "/CreationDate" not in document.docinfo


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792)), ("a5", (420, 595))]
)
def test_pages_have_the_size_of_the_paper(
    book: BookContent, tmp_path: Path, paper: str, size: tuple[int, int]
) -> None:
    book = replace(book, edition=replace(book.edition, paper=paper))
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        sizes = {
            tuple(round(float(value)) for value in page.mediabox[2:]) for page in document.pages
        }
    assert sizes == {size}


def test_cautions_about_hands_and_eyes_stand_before_the_tunes(
    book: BookContent, tmp_path: Path
) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "Before you play")
        assert page < page_of(document, "Contents") < page_of(document, "Kvällsset")
    text = text_of(tmp_path / "book.pdf", page + 1)
    assert "Before you play" in text
    for word in ("Warm up", "Rest", "Stop at once", "doctor", "teacher", "eyes"):
        assert word in text


def test_swedish_books_have_swedish_words_and_order(book: BookContent, tmp_path: Path) -> None:
    book = replace(book, book=replace(book.book, language="sv"))
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    for word in ("Innehåll", "Innan du spelar", "I bokstavsordning", "D-dur", "d-dorisk", "Fiol"):
        assert (word in text) is (word != "Fiol")
    assert "Contents" not in text and "page" not in text
    index = text[text.index("I bokstavsordning") :]
    order = [index.index(title) for title in ("Apolkett", "Schottis i Åsen", "Ängsvals")]
    assert order == sorted(order)


def test_all_music_is_placed_within_the_margins(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        placed = sum(
            str(name).startswith("/Music")
            for page in document.pages
            for name in page.get("/Resources", {}).get("/XObject", {})
        )
    systems = sum(len(tune.piece.systems) for tune in book.tunes)
    openings = len(book.tunes)
    assert placed == systems + openings


def test_a_title_page_names_book_editor_instrument_and_tuning(
    book: BookContent, tmp_path: Path
) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf", 1)
    for line in (
        "Lerhults låtar",
        "Old and new",
        "for nyckelharpa, three rows",
        "tuned C G D A",
        "Edited by Spelmän i Lerhult",
        "Player’s edition",
    ):
        assert line in text


def test_the_instrument_page_names_the_notes_of_the_keys(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        page = page_of(document, "The instrument") + 1
    text = text_of(tmp_path / "book.pdf", page)
    row = next(line for line in text.splitlines() if re.match(r"\s*A\s+B♭\s+B\s+C\s", line))
    # Twenty keys on the A string, from B flat to F.
    octave = ["B♭", "B", "C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A"]
    assert row.split()[1:] == [*octave, *octave[:8]]
    assert "G♯3" in text and "F♯4" in text and "G4" in text


def test_a_set_names_its_tunes_and_the_changes_between(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    assert "Played without a stop." in text
    assert "from D major to D dorian" in text
    assert "ends on D5 (A string, key 5)" in text
    assert "the next begins on open D" in text


def test_optional_pages_come_when_they_are_given(book: BookContent, tmp_path: Path) -> None:
    piece = book.tunes[0].piece
    book = replace(
        book,
        legend=(LegendEntry("finger", piece), LegendEntry("barre")),
        practice=(
            PracticeSection("Warming up", (PracticePiece("Long bows", piece),), "Softly first."),
        ),
        chord_shapes=(
            ChordShapes("G7", ((Stop(55, 2, 0, 0), Stop(62, 3, 0, 0), Stop(71, 4, 2, 1)),)),
        ),
        edition=replace(book.edition, shows_shapes=True),
    )
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    for words in (
        "One finger lies flat",
        "Practice pages",
        "Long bows",
        "Softly first.",
        "Chords",
    ):
        assert words in text


def test_remarks_stand_under_the_tune(book: BookContent, tmp_path: Path) -> None:
    first = book.sections[2].tunes[0]
    noted = replace(first, limit_note="Beyond the level in bar 2.", choice_notes=("Why finger 3.",))
    sections = (*book.sections[:2], replace(book.sections[2], tunes=(noted,)))
    book = replace(book, sections=sections)
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    assert "Beyond the level in bar 2." in text
    assert "Why finger 3." not in text
    edition = replace(book.edition, shows_notes_on_choices=True)
    assemble_book(replace(book, edition=edition), tmp_path / "book.pdf")
    assert "Why finger 3." in text_of(tmp_path / "book.pdf")


def test_words_are_printed_when_the_edition_shows_them(book: BookContent, tmp_path: Path) -> None:
    verse = ("Det gick en flicka ut en dag", "i gröna skogen sval", "", "Och göken gol")
    tune = book_tune(tmp_path, 9, "Visa", words=verse)
    book = replace(book, sections=(BookSection("", (tune,)),))
    assemble_book(book, tmp_path / "book.pdf")
    assert "i gröna skogen sval" in text_of(tmp_path / "book.pdf")
    edition = replace(book.edition, shows_words=False)
    assemble_book(replace(book, edition=edition), tmp_path / "book.pdf")
    assert "i gröna skogen sval" not in text_of(tmp_path / "book.pdf")


def test_a_booklet_is_written_beside_the_book(book: BookContent, tmp_path: Path) -> None:
    book = replace(book, book=replace(book.book, paper="a5", is_booklet=True))
    report = assemble_book(book, tmp_path / "book.pdf")
    assert report.booklet == tmp_path / "book-booklet.pdf"
    with pikepdf.open(report.booklet) as document:
        # Two sides a sheet, two pages a side: no more than three are blank.
        assert len(document.pages) % 2 == 0
        assert 2 * len(document.pages) - report.pages in range(4)
        assert str(document.Root.Lang) == "en"
        assert bool(document.Root.ViewerPreferences.DisplayDocTitle)
        about = document.open_metadata()
        assert about["dc:title"] == book.book.title
        assert "book.pdf" in about["dc:description"]
        numbers = {page.obj.objgen: index for index, page in enumerate(document.pages, start=1)}
        with document.open_outline() as outline:
            parts = [one for item in outline.root for one in (item, *item.children)]
            marks = {one.title: numbers[one.destination[0].objgen] for one in parts}
    for tune in book.tunes:
        title = tune.arrangement.tune.title
        assert title in text_of(report.booklet, marks[title]), title


def test_the_same_content_gives_the_same_bytes(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "one.pdf")
    assemble_book(book, tmp_path / "two.pdf")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_a_book_of_one_tune_has_no_indexes(book: BookContent, tmp_path: Path) -> None:
    book = replace(book, sections=(BookSection("", book.tunes[:1]),))
    assemble_book(book, tmp_path / "book.pdf")
    text = text_of(tmp_path / "book.pdf")
    assert "Index of" not in text
    assert "About this book" in text


def test_long_titles_and_strange_letters_do_no_harm(book: BookContent, tmp_path: Path) -> None:
    titles = (
        "Polska efter den gamle klockaren som spelade vid varje bröllop i socknen " * 4,
        "漢字 \u202e \x07 <b>&amp; (\\) %%EOF",
        "Ordutanmellanslag" * 20,
    )
    tunes = tuple(book_tune(tmp_path, 20 + at, title) for at, title in enumerate(titles))
    report = assemble_book(replace(book, sections=(BookSection("", tunes),)), tmp_path / "b.pdf")
    text = text_of(tmp_path / "b.pdf")
    assert "<b>&amp; (\\) %%EOF" in text
    assert "som spelade vid varje" in text
    assert len(report.warnings) == 1 and "漢" in report.warnings[0]


def test_titles_in_other_alphabets_print_and_are_found(book: BookContent, tmp_path: Path) -> None:
    titles = ("Жук на дорозі", "Ωραία μέρα", "Żółw i świerszcz", "Ålens vals")
    tunes = tuple(book_tune(tmp_path, 30 + at, title) for at, title in enumerate(titles))
    report = assemble_book(replace(book, sections=(BookSection("", tunes),)), tmp_path / "b.pdf")
    text = text_of(tmp_path / "b.pdf")
    assert all(text.count(title) >= 3 for title in titles)
    assert report.warnings == ()
    with pikepdf.open(tmp_path / "b.pdf") as document:
        assert {title for _, title in outline_of(document)} >= set(titles)


def test_every_font_is_embedded(book: BookContent, tmp_path: Path) -> None:
    assemble_book(book, tmp_path / "book.pdf")
    with pikepdf.open(tmp_path / "book.pdf") as document:
        fonts = [
            one
            for one in document.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/FontDescriptor"
        ]
        assert fonts
        embedded = ("/FontFile", "/FontFile2", "/FontFile3")
        assert all(any(name in one for name in embedded) for one in fonts)


def test_an_old_book_survives_a_failure(book: BookContent, tmp_path: Path) -> None:
    output = tmp_path / "book.pdf"
    output.write_bytes(b"old")
    broken = replace(book.tunes[0].piece, pdf=tmp_path / "missing.pdf")
    tune = replace(book.tunes[0], piece=broken)
    with pytest.raises(OutputError) as caught:
        assemble_book(replace(book, sections=(BookSection("", (tune,)),)), output)
    assert "\n" not in str(caught.value)
    assert output.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_folder_in_the_place_of_the_book_is_an_error(book: BookContent, tmp_path: Path) -> None:
    (tmp_path / "book.pdf").mkdir()
    with pytest.raises(OutputError):
        assemble_book(book, tmp_path / "book.pdf")


@pytest.mark.parametrize(
    ("number", "text"), [(1, "i"), (4, "iv"), (9, "ix"), (14, "xiv"), (40, "xl"), (99, "xcix")]
)
def test_roman_numbers(number: int, text: str) -> None:
    assert roman(number) == text
