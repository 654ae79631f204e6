"""Alphabetical order in English and Swedish."""

from __future__ import annotations

import pytest

from tunebook.book.pages.sorting import initial, sort_key


def ordered(titles: list[str], language: str) -> list[str]:
    return sorted(titles, key=lambda title: sort_key(title, language))


def test_swedish_letters_come_after_z_in_swedish() -> None:
    titles = ["Östan", "Ängen", "Zigenarpolskan", "Ålen", "Apan"]
    assert ordered(titles, "sv") == ["Apan", "Zigenarpolskan", "Ålen", "Ängen", "Östan"]


def test_letters_with_marks_are_bare_letters_in_english() -> None:
    titles = ["Östan", "Pool", "Ängen", "Ant", "Ålen", "Zoo"]
    assert ordered(titles, "en") == ["Ålen", "Ängen", "Ant", "Östan", "Pool", "Zoo"]


def test_danish_and_german_letters_find_their_place_in_swedish() -> None:
    assert ordered(["Ör", "Ør", "Är", "Ær", "Zz"], "sv") == ["Zz", "Är", "Ær", "Ör", "Ør"]
    assert ordered(["Yz", "Müller", "Mynt"], "sv") == ["Müller", "Mynt", "Yz"]


def test_numbers_sort_by_value() -> None:
    assert ordered(["Vals 10", "Vals 2", "Vals"], "sv") == ["Vals", "Vals 2", "Vals 10"]


def test_case_makes_no_difference() -> None:
    assert ordered(["beta", "Alpha", "Gamma", "alphb"], "en") == [
        "Alpha",
        "alphb",
        "beta",
        "Gamma",
    ]


def test_an_article_in_front_or_behind_does_not_count_in_english() -> None:
    assert ordered(["The Crow", "Daw", "Bat, The", "A Cat"], "en") == [
        "Bat, The",
        "A Cat",
        "The Crow",
        "Daw",
    ]


def test_other_alphabets_come_last() -> None:
    assert ordered(["Жук", "Öl", "Ωδή"], "sv")[0] == "Öl"


@pytest.mark.parametrize(
    ("title", "language", "letter"),
    [
        ("Ålen", "sv", "Å"),
        ("Ålen", "en", "A"),
        ("ørn", "sv", "Ö"),
        ("The Crow", "en", "C"),
        ("12 skillingar", "sv", "#"),
        ("", "en", "#"),
        ("...", "en", "#"),
    ],
)
def test_initial(title: str, language: str, letter: str) -> None:
    assert initial(title, language) == letter
