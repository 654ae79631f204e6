"""Clefs that a tune asks for (The ABC Music Standard 2.1, section 4.6)."""

from __future__ import annotations

import pytest

from tunebook.read.abc.keys import is_printed, read_clef
from tunebook.read.abc.tune import read_abc


@pytest.mark.parametrize(
    ("text", "clef"),
    [
        ("C clef=bass", "bass"),
        ("D bass", "bass"),
        ('Am clef="alto"', "alto"),
        ("G clef=treble-8", "treble_8"),
        ("G treble+8", "treble^8"),
        ("G clef=bass3", "varbaritone"),
        ("G clef=alto1", "soprano"),
        ("G clef=treble5", "treble"),
        ("G clef=F", "bass"),
        ("none", ""),
        ("C", ""),
        ("F", ""),
        ('1 name="bass viol" nm=tenor', ""),
        ("C clef=perc", "perc"),
        ("C clef=none", "none"),
        ("C perc", "perc"),
        ("C clef=harp", "harp"),
    ],
)
def test_clef_is_read_by_name_line_and_octave(text: str, clef: str) -> None:
    assert read_clef(text) == clef
    assert is_printed(clef) == (clef not in ("", "perc", "none", "harp"))


def clefs(text: str) -> list[str]:
    return [bar.clef for bar in read_abc("X:1\nT:t\nL:1/4\nM:4/4\n" + text)[0].bars]


def test_clef_begins_where_it_is_asked_for_and_a_change_in_a_bar_at_the_next() -> None:
    assert clefs("K:C clef=bass\nCDEF|\nK:clef=treble\nCD[K:alto]EF|GABc|\n") == [
        "bass",
        "treble",
        "alto",
    ]


def test_clef_that_holds_already_is_no_change() -> None:
    assert clefs("K:C clef=bass\nCDEF|[K:bass]CDEF|\n") == ["bass", ""]


def test_each_voice_has_its_own_clef() -> None:
    text = "V:1 clef=tenor\nV:2 clef=bass octave=-1\nK:C\nV:1\nCDEF|\nV:2\nCDEF|\nV:1\nCDEF|\n"
    assert clefs(text) == ["tenor", ""]
    again = "K:C\nV:1 clef=tenor\nCDEF|\nV:2 clef=bass octave=-1\nCDEF|\nV:1\nCDEF|\n"
    assert clefs(again) == ["tenor", ""]
    tune = read_abc("X:1\nL:1/4\n" + again)[0]
    assert {note.pitches[0].octave for bar in tune.bars for note in bar.notes} == {4}


@pytest.mark.parametrize("name", ["perc", "none", "harp"])
def test_clef_that_is_not_printed_is_said(name: str) -> None:
    tune = read_abc(f"X:1\nK:C clef={name}\nCDEF|\n")[0]
    assert tune.bars[0].clef == ""
    assert [f"clef={name}" in message.what for message in tune.messages] == [True]
