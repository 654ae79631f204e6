"""The way to a tune's recording: where it stands, where it leads, and how it is written (RFC 3986,
RFC 5891, ISO/IEC 18004)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pikepdf
import pytest
from books import book_tune, content
from reading import text_of

from tunebook.book.book import assemble_book
from tunebook.book.content import BookContent, BookSection, SoundLink
from tunebook.book.layout.sheet import qr_modules
from tunebook.book.pages.sound_links import qr_side_pt
from tunebook.pipeline.contents import LONGEST_CODED, code_messages, sound_links
from tunebook.pipeline.load import Section, prepare
from tunebook.read.settings.tunes_file import parse_settings
from tunebook.store import Store
from tunebook.write.file_names import recording_address, recording_names, tune_file_names

SAMPLES = Path(__file__).resolve().parents[3] / "sample_tunes"
ADDRESS = "https://example.org/tunes/polskor-{}.flac"


def book(folder: Path, store: Store, has_qr: bool, *, language: str = "en") -> BookContent:
    also = ("Polska", "The bride's polska", "Another name for it that is as long as names get")
    tunes = (
        book_tune(folder, 1, "Polska", titles=also),
        book_tune(folder, 2, "En mycket lång titel på en polska efter gamle klockaren i Lerhult"),
        book_tune(folder, 3, "Vals"),
    )
    linked = tuple(
        replace(tune, sound=SoundLink(ADDRESS.format(number), has_qr)) if number < 3 else tune
        for number, tune in enumerate(tunes, start=1)
    )
    made = content(folder, (BookSection("", linked),), language=language)
    return replace(made, store=store)


def addresses(path: Path) -> list[tuple[str, list[float]]]:
    with pikepdf.open(path) as document:
        return [
            (str(one.A.URI), [float(side) for side in one.Rect])
            for page in document.pages
            for one in page.get("/Annots", [])
            if "/A" in one and "/URI" in one.A
        ]


@pytest.mark.parametrize(("language", "word"), [("en", "Listen"), ("sv", "Lyssna")])
def test_each_recording_is_a_link_at_the_head(
    tmp_path: Path, store: Store, language: str, word: str
) -> None:
    assemble_book(book(tmp_path, store, False, language=language), tmp_path / "book.pdf")
    found = addresses(tmp_path / "book.pdf")
    assert [address for address, _ in found] == [ADDRESS.format(1), ADDRESS.format(2)]
    assert all(8 < right - left < 80 and 8 < top - low < 20 for _, (left, low, right, top) in found)
    assert text_of(tmp_path / "book.pdf").count(word) == 2


def test_a_code_stands_beside_the_head_and_leads_there_too(tmp_path: Path, store: Store) -> None:
    assemble_book(book(tmp_path, store, True), tmp_path / "book.pdf")
    found = addresses(tmp_path / "book.pdf")
    assert [address for address, _ in found] == [ADDRESS.format(n) for n in (1, 1, 2, 2)]
    mark, code = (place for _, place in found[:2])
    side = code[2] - code[0]
    assert side == pytest.approx(code[3] - code[1], abs=0.01)
    # The code is to the right of all else of the head, and its modules are large enough.
    assert mark[2] < code[0] + side / 4
    assert side / (qr_modules(ADDRESS.format(1)) + 8) > 1.3


def test_without_a_place_nothing_is_printed(tmp_path: Path, store: Store) -> None:
    bare = book(tmp_path, store, False)
    tunes = tuple(replace(tune, sound=None) for tune in bare.tunes)
    assemble_book(replace(bare, sections=(BookSection("", tunes),)), tmp_path / "book.pdf")
    assert addresses(tmp_path / "book.pdf") == []
    assert "Listen" not in text_of(tmp_path / "book.pdf")


def test_an_address_too_long_for_a_code_is_said(tmp_path: Path, store: Store) -> None:
    made = book(tmp_path, store, False)
    coded = replace(made, book=replace(made.book, has_qr=True))
    assert code_messages(coded) == []
    far = SoundLink("https://example.org/" + "a" * LONGEST_CODED)
    tunes = tuple(replace(one, sound=far if one.sound else None) for one in coded.tunes)
    coded = replace(coded, sections=(BookSection("", tunes),))
    assert [str(one).split(": ", 1)[1][:34] for one in code_messages(coded)] == [
        "the address of 'Polska' is too lon",
        "the address of 'En mycket lång tit",
    ]
    assert code_messages(made) == []
    assert qr_side_pt("https://example.org/" + "a" * (LONGEST_CODED - 20)) < 90.0


@pytest.mark.parametrize(
    ("place", "name", "address"),
    [
        (
            "https://example.org/tunes/",
            "polskor-1.flac",
            "https://example.org/tunes/polskor-1.flac",
        ),
        ("https://example.org", "a-1.ogg", "https://example.org/a-1.ogg"),
        (
            "http://exempel.se:8080/ö/",
            "låt 1.wav",
            "http://exempel.se:8080/%C3%B6/l%C3%A5t%201.wav",
        ),
        (
            "https://bücher.example/x",
            "a#?%-1.flac",
            "https://xn--bcher-kva.example/x/a%23%3F%25-1.flac",
        ),
        ("https://a.org/50%25/", "a-1.flac", "https://a.org/50%25/a-1.flac"),
        ("sounds", "å-1.flac", "sounds/%C3%A5-1.flac"),
        ("../min musik/", "a-1.flac", "../min%20musik/a-1.flac"),
    ],
)
def test_names_are_written_so_that_nothing_else_is_meant(
    place: str, name: str, address: str
) -> None:
    assert recording_address(place, name) == address
    assert unquote(urlsplit(address).path).endswith("/" + name)
    assert address.isascii() and address.isprintable() and " " not in address


def test_a_recording_has_the_same_name_in_every_order(tmp_path: Path) -> None:
    tunes = [book_tune(tmp_path, number, f"T{number}").arrangement.tune for number in (1, 2, 3)]
    twins = [replace(tune, first_line=line) for tune, line in zip(tunes, (9, 5, 1), strict=True)]
    names = recording_names(twins, "flac")
    assert names == ("tunes-1-3.flac", "tunes-1-2.flac", "tunes-1.flac")
    assert recording_names(twins[::-1], "flac") == names[::-1]
    assert set(tune_file_names(twins, "flac")) == set(names)


def test_a_code_wants_an_address() -> None:
    book, messages = parse_settings('title = "T"\nsounds = "here"\nqr = true\n', "tunes.toml", ())
    assert [str(one) for one in messages] == [
        "tunes.toml:3: a QR code wants recordings at an address; "
        'none is printed; write sounds = "https://..."'
    ]
    assert book.sounds == "here"


def test_an_edition_in_keys_of_its_own_has_recordings_of_its_own(tmp_path: Path) -> None:
    book, messages = parse_settings(
        'sounds = "here"\nqr = true\n[[edition]]\nname = "own"\nsounds = "https://a.org/own"\n',
        "tunes.toml",
        (),
    )
    assert messages == ()
    (own,) = book.editions
    tune = book_tune(tmp_path, 1, "Polska").arrangement.tune
    for edition, link in (
        (own, SoundLink("https://a.org/own/tunes-1.flac", True)),
        (replace(own, sounds=""), SoundLink("here/tunes-1.flac", False)),
    ):
        setup = replace(prepare(SAMPLES), book=book, edition=edition)
        assert sound_links(setup, (Section("", "", (tune,)),)) == [link]
