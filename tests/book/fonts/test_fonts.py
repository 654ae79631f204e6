"""Fonts: every character finds one, misses are remembered, widths add up."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.book.fonts import files as font_files
from tunebook.book.fonts.files import kerned
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF, Fonts, load_fonts, printable
from tunebook.store import Store


@pytest.fixture(scope="module")
def fonts(store: Store) -> Fonts:
    return load_fonts(store)


@pytest.mark.parametrize(
    "text", ["Sjöö Åå", "Żółć ğ ő ș", "Жук їжак", "Ωραία", "B♭ F♯ ♩ = 104", "“a” – b … →"]
)
def test_latin_cyrillic_greek_and_music_print(fonts: Fonts, text: str) -> None:
    before = set(fonts.missing)
    runs = fonts.runs(text, SERIF)
    assert "".join(run for _, run in runs) == text
    assert fonts.missing == before


def test_plain_text_is_one_run(fonts: Fonts) -> None:
    assert len(fonts.runs("Polska från Ödeby", ITALIC)) == 1


def test_a_character_without_a_font_is_remembered_and_replaced(fonts: Fonts) -> None:
    runs = fonts.runs("a漢b", SERIF)
    assert "漢" in fonts.missing
    assert "漢" not in "".join(run for _, run in runs)


def test_letters_are_composed_and_controls_removed() -> None:
    assert printable("a\u030a\tb\u202ec\x00") == "å bc "


def test_quotation_marks_are_the_printers(fonts: Fonts) -> None:
    assert printable('"Ottil\'s" ("x")') == "“Ottil’s” (“x”)"
    assert printable('"x"', "”") == "”x”"


def test_text_of_the_size_of_a_title_is_kerned(fonts: Fonts) -> None:
    assert fonts.width("Va", BOLD, 20.0) < fonts.width("V", BOLD, 20.0) + fonts.width(
        "a", BOLD, 20.0
    )
    small = fonts.width("V", BOLD, 9.0) + fonts.width("a", BOLD, 9.0)
    assert fonts.width("Va", BOLD, 9.0) == pytest.approx(small)


def test_kerned_pieces_make_up_the_text() -> None:
    assert kerned("VaVa", {"Va": -80, "aV": -10}) == [
        ("V", -80),
        ("a", -10),
        ("V", -80),
        ("a", 0),
    ]
    assert kerned("", {}) == [("", 0)]


def test_converted_fonts_are_kept(tmp_path: Path) -> None:
    store = Store(tmp_path)
    first = font_files.text_font(SERIF, store)
    assert first is not None
    assert store.size("fonts").files == store.size().files == 1
    assert font_files.text_font(SERIF, store) == first


def test_a_cache_that_cannot_be_written_does_no_harm(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    assert font_files.text_font(SERIF, Store(blocked / "fonts")) is not None


def test_dejavu_stands_in_without_lilypond(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(font_files, "_find", lambda name: None)
    fonts = load_fonts()
    assert fonts.main_names[0].startswith("DejaVu")
    assert fonts.width("Polska", SERIF, 10.0) > 0
