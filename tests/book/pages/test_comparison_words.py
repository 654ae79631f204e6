"""Keys and scores in the comparison, in the words of both languages."""

from __future__ import annotations

import pytest

from tunebook.book.pages.comparison import _cell, _key
from tunebook.model.changes import KeyScore, TuningScore
from tunebook.model.tune import Key
from tunebook.model.words import FixedWords, fixed_words

ENGLISH, SWEDISH = fixed_words("en"), fixed_words("sv")
B_DORIAN = Key(6, 0, "dorian", 3)


@pytest.mark.parametrize(
    ("words", "first", "later"),
    [
        (ENGLISH, "B dorian (−3) 0.55", "B (−3) 0.55"),
        (SWEDISH, "h-dorisk (−3) 0,55", "h (−3) 0,55"),
    ],
)
def test_a_key_has_its_mode_once(words: FixedWords, first: str, later: str) -> None:
    score = KeyScore(-3, "B", 0.55, B_DORIAN)
    assert _key(score, True, words) == first
    assert _key(score, False, words) == later
    assert "(0)" in _key(KeyScore(0, "B", 0.55, B_DORIAN), True, words)


def test_a_score_has_the_decimal_sign_and_the_names_of_the_language() -> None:
    score = TuningScore("CGDA", 1.25, 0, 0, 0, "B3 Bb3", 3, 5)
    assert _cell(score, ENGLISH.report, ENGLISH) == "1.25  B3 B♭3  3/5"
    assert _cell(score, SWEDISH.report, SWEDISH) == "1,25  H3 B3  3/5"
