"""Music that belongs to no tune is told from words."""

from __future__ import annotations

from tunebook.read.abc.stray_lines import looks_like_music

MUSIC = [
    *('"D"A2d', "(3abc", "{g}a", "[CE]", "z", "|:", "z4|", "x|", "A2", "^f", "c'"),
    *("abc|def|", "A D E A", "ABcd efga", "[1 abc", '["1."abc', "uA vB|", "~g3", "a>b"),
    *("|: uef \\", "GA \\", ".a.b|", "!trill!A", "c/d/", "kG2 d>B kG2 d>B | c>AG>F G2 :|"),
]
WORDS = [
    *("", "Some words.", "A", "B part", "Add a D chord.", "Bag", "a", "(cabbage)", "Fine"),
    *("-----", "=====", "1. 2.", "D.C.", "| | |", "A0127", "Play it |: twice :| or more"),
    *("bar 9 is printed as |e3 f2 e2 a2|", "See page A4", "Låten går i D-dur", "E:8", "N:a b"),
    *(
        "% abc|def|",
        "[see below]",
        '"Titel"',
        "<b>bad</b>",
        "e.g.",
        "Även en å ö",
        "http://a.b",
    ),
    *("Jag lärde den av A. Bodén", "This is all: a, b, c", "C. G. A."),
]


def test_music_is_told_from_words() -> None:
    assert [line for line in MUSIC if not looks_like_music(line)] == []
    assert [line for line in WORDS if looks_like_music(line)] == []


def test_a_line_without_end_is_judged_by_its_beginning() -> None:
    assert looks_like_music("abc|" * 200_000)
    assert not looks_like_music("word " * 200_000)
