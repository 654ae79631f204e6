"""Overlays leave the melody alone and are voices. Source of their meaning: The ABC Music Standard
2.1, section 7.4; groups in (& &): common practice, no source."""

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
    assert not tune.messages
    assert [bar.sign_after for bar in tune.bars] == ["|"] * len(tune.bars)


@pytest.mark.parametrize(
    ("music", "overlays"),
    [
        ("CDEF|GABc & e4|d4|", ["z|E|z"]),
        ("CDEF|GABc & e4 & f4|d4|", ["z|E|z", "z|F|z"]),
        ("CDEF|GABc && e4|f4|d4|", ["E|F|z"]),
        ("CDEF|& c4|GABc|& e4|d4|", ["C|E|z"]),
        ("(& CDEF|GABc & e4|f4 & g4|a4 &)|d4|", ["E|F|z", "G|A|z"]),
        ("CD(&EF|GABc & e2|f2d2 &)|d4|", ["zE|FD|z"]),
        ("CDEF|GABc (& e4|f4 &)|d4|", ["E|F|z"]),
        ("CD[1 EF:|[2 GA|]B4 & cc z2|", ["z|z|z|CCz"]),
    ],
)
def test_overlays_are_voices_of_their_bars(music: str, overlays: list[str]) -> None:
    tune = read(music)
    letters = "CDEFGAB"
    found = [
        "|".join(
            "".join(letters[note.pitches[0].step] if note.pitches else "z" for note in bar.notes)
            for bar in voice.bars
        )
        for voice in tune.voices
    ]
    assert found == overlays
    assert [voice.id for voice in tune.voices] == ["&", "&&"][: len(overlays)]
    assert not tune.messages


def test_overlay_has_accidentals_lengths_and_pins_of_its_own() -> None:
    (overlay,) = read("^CDEF & CC [L:1/8]!2!C2 [r:string G]C2|C4|").voices
    notes = overlay.bars[0].notes
    assert [note.pitches[0].alter for note in notes] == [0, 0, 0, 0]
    assert [str(note.duration) for note in notes] == ["1/4"] * 4
    assert (notes[2].finger_pins, notes[3].string_pin) == ((2,), "G")


def test_overlay_that_does_not_fill_its_bar_is_said_with_its_place() -> None:
    tune = read("CDEF|GABc & e2|d4|")
    (message,) = tune.messages
    assert "voice & does not fit the melody: too short: bar 2" in message.what
    assert (message.place.line, message.place.column) == (5, 13)
    assert [note.is_rest for note in tune.voices[0].bars[1].notes] == [False, True]


def test_overlay_of_a_further_voice_is_a_voice_too() -> None:
    tune = read("V:1\nCDEF|G4|\nV:2\nE4 & G4|E4|")
    assert [voice.id for voice in tune.voices] == ["2", "2&"]
    assert [note.is_rest for note in tune.voices[1].bars[1].notes] == [True]


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
