"""Overlays leave the melody alone. Source of their meaning: The ABC Music Standard 2.1, section
7.4; groups in (& &): common practice, no source."""

from __future__ import annotations

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc


def read(music: str) -> Tune:
    return read_abc(f"X:1\nM:4/4\nL:1/4\nK:C\n{music}\n")[0]


def melody(tune: Tune) -> list[str]:
    letters = "CDEFGAB"
    return [
        "".join(letters[note.pitches[0].step] for note in bar.notes if note.pitches)
        for bar in tune.bars
    ]


@pytest.mark.parametrize(
    "music",
    [
        "CDEF|GABc & e4|d4|",
        "CDEF|GABc & e4 & f4|d4|",
        "CDEF|GABc &\\\ne4|d4|",
        "CDEF|GABc && e4|f4|d4|",
        "CDEF|GABc|\n&& e4|f4|\nd4|",
        "CDEF|GABc|& e4|d4|",
        "(& CDEF|GABc & e4|f4 &)|d4|",
        "(&CDEF|GABc\\\n& e4|f4 & g4|a4 &)|d4|",
        "CDEF|GABc (& e4|f4 &)|d4|",
        "CDEF|\n(& GABc &)\n & e4|d4|",
    ],
)
def test_melody_is_read_as_if_no_overlay_stood_there(music: str) -> None:
    tune = read(music)
    assert melody(tune) == (["CDEF", "GABC", "D"] if "(& GABc &)" not in music else ["CDEF", "D"])
    assert {message.kind for message in tune.messages} == {"voice"}
    assert [bar.sign_after for bar in tune.bars] == ["|"] * len(tune.bars)


def test_overlay_sign_after_its_last_bar_ends_nothing_of_the_melody() -> None:
    assert melody(read("CDEF|&& g4|g4|GABc|")) == ["CDEF", "GABC"]


@pytest.mark.parametrize("field", ["[K:D]", "[L:1/8]", "[M:3/4]", "[r:string G]", "[P:B]"])
def test_field_inside_an_overlay_is_not_the_melodys(field: str) -> None:
    tune = read(f"CDEF & {field}e4|FFFF|")
    plain = read("CDEF|FFFF|")
    assert [bar.notes for bar in tune.bars][1:] != []
    for bar, other in zip(tune.bars, plain.bars, strict=True):
        assert (bar.key, bar.meter, bar.part, bar.duration) == (
            other.key,
            other.meter,
            other.part,
            other.duration,
        )
        assert [note.pitches for note in bar.notes] == [note.pitches for note in other.notes]
        assert all(note.string_pin is None for note in bar.notes)


def test_line_of_a_field_inside_an_overlay_is_not_the_melodys() -> None:
    tune = read("CDEF & e2\nK:D\ne2|FFFF|")
    assert [bar.key.fifths for bar in tune.bars] == [0, 0]


def test_new_voice_ends_an_overlay_that_nothing_ended() -> None:
    tune = read("V:1\nCDEF & e4\nV:2\ncccc|\nV:1\n|GABc|")
    assert melody(tune) == ["CDEF", "GABC"]


def test_group_without_end_leaves_the_notes_to_the_melody() -> None:
    assert melody(read("(& CDEF|GABc|")) == ["CDEF", "GABC"]
