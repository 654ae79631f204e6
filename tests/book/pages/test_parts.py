"""Which parts a book has beside its tunes, and parts that share a page."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from books import book_tune, content
from reading import outline_of, text_of

from tunebook.book.book import assemble_book
from tunebook.book.content import CAUTIONS, CONTENTS, SIGNS, BookContent, BookSection
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.paper import page_format
from tunebook.book.pages.front import matter
from tunebook.errors import SettingError
from tunebook.model.book import Edition
from tunebook.model.choices import BOOK_PARTS, BookPart
from tunebook.model.words import fixed_words
from tunebook.read.settings.tunes_file import read_settings
from tunebook.store import Store

HEADINGS: dict[BookPart, str] = {
    "contents": "Contents",
    "signs": "How to read the signs",
    "instrument": "The instrument",
    "ladder": "From easy to hard",
    "types": "Index of tune types",
    "keys": "Index of keys and modes",
    "techniques": "Index of techniques",
    "openings": "Index of openings",
    "sources": "Sources",
}


@pytest.fixture(scope="module")
def design(store: Store) -> Design:
    return Design(page_format("a4"), load_fonts(store), fixed_words("en"))


@pytest.fixture
def book(tmp_path: Path, store: Store) -> BookContent:
    """Five tunes out of alphabetical order, of which something can be said in every part."""
    kinds = ("polska", "vals", "polska", "schottis", "vals")
    tunes = tuple(
        book_tune(tmp_path, at, f"Låt {9 - at}", 2, rhythm=kind, fields=(("S", ("Ottil",)),))
        for at, kind in enumerate(kinds, 1)
    )
    keyed = replace(tunes[0].arrangement.tune.key, mode="dorian")
    plain = tuple(replace(note, ways=()) for note in tunes[0].arrangement.notes)
    first = replace(
        tunes[0].arrangement, tune=replace(tunes[0].arrangement.tune, key=keyed), notes=plain
    )
    tunes = (replace(tunes[0], arrangement=first), *tunes[1:])
    return replace(content(tmp_path, (BookSection("", tunes),)), store=store)


def with_parts(book: BookContent, *parts: BookPart) -> BookContent:
    return replace(book, edition=replace(book.edition, parts=parts))


@pytest.mark.parametrize("part", HEADINGS)
def test_each_part_stands_in_the_book_alone_and_can_be_left_out(
    book: BookContent, design: Design, part: BookPart
) -> None:
    def headings(*parts: BookPart) -> set[str]:
        front, back = matter(with_parts(book, *parts), design)
        items = [one.item for page in (*front, *back) for one in page.placed]
        return {item.outline[0] for item in items if item.outline is not None}

    assert headings(part) == {"Before you play", HEADINGS[part]}
    assert HEADINGS[part] not in headings(*(one for one in BOOK_PARTS if one != part))


def test_a_book_without_any_part_has_its_cautions_and_its_tunes(
    book: BookContent, tmp_path: Path
) -> None:
    assemble_book(with_parts(book), tmp_path / "book.pdf")
    import pikepdf

    with pikepdf.open(tmp_path / "book.pdf") as document:
        titles = [title for _, title in outline_of(document)]
    assert titles == ["Before you play", *(f"Låt {9 - at}" for at in range(1, 6))]
    assert "Warm up" in text_of(tmp_path / "book.pdf", 1)


def test_a_part_stands_below_another_where_it_finds_room(book: BookContent, design: Design) -> None:
    front, _ = matter(with_parts(book, "contents", "signs"), design)
    shared = [set(page.anchors()) for page in front]
    assert shared == [{CAUTIONS, CONTENTS}, {SIGNS}]
    apart, _ = matter(with_parts(book, "contents", "signs"), design, is_shared=False)
    assert [page.anchors() for page in apart] == [(CAUTIONS,), (CONTENTS,), (SIGNS,)]
    bottom = design.page_format.height_pt - design.page_format.bottom_pt
    for one in front[0].placed:
        assert one.top_pt + one.item.block.height_pt <= bottom + 0.01


def test_titles_stand_in_alphabetical_order_once(book: BookContent, design: Design) -> None:
    def headings(content: BookContent) -> list[str]:
        front, back = matter(content, design)
        texts = [
            getattr(part, "lines", ("",))[0]
            for page in (*front, *back)
            for one in page.placed
            for part in getattr(one.item.block, "blocks", (one.item.block,))
        ]
        return [text for text in texts if text in ("By title", "Index of titles")]

    assert headings(with_parts(book, "contents", "titles")) == ["By title"]
    assert headings(with_parts(book, "titles")) == ["Index of titles"]
    assert headings(with_parts(book, "contents")) == []
    in_order = replace(book.sections[0], tunes=tuple(reversed(book.sections[0].tunes)))
    sorted_book = replace(book, sections=(in_order,))
    assert headings(with_parts(sorted_book, "contents", "titles")) == []


def test_an_unknown_part_is_refused_with_the_list() -> None:
    with pytest.raises(SettingError) as caught:
        Edition("egen", parts=("contents", "kvitto"))  # type: ignore[arg-type]
    assert "part of the book 'kvitto' is unknown; use one of title page, " in str(caught.value)


def editions_of(tmp_path: Path, text: str) -> dict[str, Edition]:
    path = tmp_path / "tunes.toml"
    path.write_text(text, encoding="utf-8")
    book, messages = read_settings(path)
    assert messages == ()
    return {one.name: one for one in book.editions}


def test_settings_choose_parts_and_ask_for_pages_of_exercises_and_shapes(tmp_path: Path) -> None:
    editions = editions_of(
        tmp_path,
        """[[edition]]
name = "bare"
based_on = "teacher"
parts = ["contents", "title page"]
[[edition]]
name = "more"
based_on = "player"
practice = true
shapes = true
[[edition]]
name = "fewer"
based_on = "teacher"
practice = false
""",
    )
    assert editions["bare"].parts == ("title page", "contents")
    assert not editions["bare"].shows_practice
    more = set(editions["more"].parts) - set(editions["player"].parts)
    assert more == {"practice", "chords"}
    assert set(editions["teacher"].parts) == set(BOOK_PARTS)
    assert set(BOOK_PARTS) - set(editions["fewer"].parts) == {"practice"}


def test_a_player_s_book_has_no_exercises_and_names_its_titles_once() -> None:
    player = {one.name: one for one in read_settings(None)[0].editions}["player"]
    assert not {"practice", "chords", "ladder", "techniques", "instrument"} & set(player.parts)
    assert {"title page", "contents", "signs", "titles", "openings"} <= set(player.parts)
