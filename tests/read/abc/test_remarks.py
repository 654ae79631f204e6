"""Remarks of ours, those that nearly are, and everybody else's."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc


def read(music: str) -> Tune:
    return read_abc(f"X:1\nT:T\nM:4/4\nL:1/4\nK:D\n{music}\n")[0]


def said(tune: Tune) -> list[str]:
    return [message.what for message in tune.messages if message.kind == "pin"]


@pytest.mark.parametrize(
    "remark",
    [
        "strng D", "sting D", "srting G", "strings A", "String: D,", "stringD", "string=D",
        "string", "string D d d", "sträng D", "dron D4", "drne E4 finger 1", "drone H4", "drone E",
        "drone off please", "drone E4 finger 7", "bordun off", "drones A3",
        "droen none", "finger 2",
        "accent D4 finger 7", "accent D4 then", "acent D4",
        "solved Am 1.43", "solved ? 0.12", "solved Am 0,12", "solved Am 0.12 after",
    ],
)  # fmt: skip
def test_remark_that_seems_to_be_ours_and_is_not_is_said(remark: str) -> None:
    tune = read(f"[r:{remark}]A B c d|")
    assert len(said(tune)) == 1 and remark.strip() in said(tune)[0]
    note = tune.bars[0].notes[0]
    assert note.string_pin is None and note.drone_pin is None and note.later_chords == ()
    assert note.accent_pin is None


@pytest.mark.parametrize(
    "remark",
    [
        "strong beat here", "done by ear", "string quartet parts are in the other book",
        "drones of the old pipers sounded thus", "drive on", "from a notebook", "D string", "12",
        "accent on the second beat", "accents as she played them",
        "solved by ear", "finger it as you like", "the string D", "prone to hurry", "",
    ],
)  # fmt: skip
def test_remarks_of_others_are_left_alone(remark: str) -> None:
    tune = read(f"[r:{remark}]A B c d|")
    assert said(tune) == []
    assert tune.bars[0].notes[0].string_pin is None


def test_strings_and_drones_are_read_in_any_case_and_with_two_words() -> None:
    tune = read("[r:String low C]A [r:DRONE e4 Finger 1]B [r:drone G3 string G]c [r:drone none]d|")
    first, second, third, fourth = tune.bars[0].notes
    assert first.string_pin == "low C"
    assert second.drone_pin is not None and third.drone_pin is not None
    assert (second.drone_pin.midi, second.drone_pin.finger) == (64, 1)
    assert (third.drone_pin.midi, third.drone_pin.string) == (55, "G")
    assert fourth.drone_pin is not None and fourth.drone_pin.midi is None
    assert said(tune) == []


def test_a_finger_that_trills_is_read() -> None:
    (tune,) = read_abc("X:1\nT:t\nL:1/4\nK:D\n[r:trill finger 3]Td [r:Trill finger 7]d d2|]\n")
    assert [note.trill_pin for note in tune.bars[0].notes] == [3, None, None]
    assert ["about a trill" in one.what for one in tune.messages] == [True]


def test_chord_of_an_earlier_run_is_known_again_unless_it_was_changed() -> None:
    tune = read('[r:solved Am 0.432]"Am"A [r:solved G 0.9]"Em"B2 [r:solved D7 0.61 after 1/8]d|')
    first, second, third = tune.bars[0].notes
    assert first.chord is not None and second.chord is not None
    assert first.chord.solved_confidence == 0.432
    assert second.chord.solved_confidence is None
    ((delay, chord),) = third.later_chords
    assert (delay, chord.symbol, chord.solved_confidence) == (Fraction(1, 8), "D7", 0.61)


def test_a_players_remark_stands_with_the_next_note_and_several_are_joined() -> None:
    music = "A [r:note keep it  down][r:note softly]B c d|[r:notes by me]e4|]\n"
    tune = read_abc("X:1\nT:T\nM:4/4\nL:1/4\nK:D\n" + music)[0]
    assert tune.messages == ()
    assert [note.remark for bar in tune.bars for note in bar.notes] == [
        "", "keep it  down; softly", "", "", "",
    ]  # fmt: skip


def test_double_stops_and_the_return_to_the_program_s_choice_are_read() -> None:
    tune = read("[r:accent D4]A [r:Accent f#4 finger 2]B [r:accent off]c [r:drone free]d|")
    first, second, third, fourth = tune.bars[0].notes
    assert first.accent_pin is not None and second.accent_pin is not None
    assert (first.accent_pin.midi, first.accent_pin.finger) == (62, None)
    assert (second.accent_pin.midi, second.accent_pin.finger) == (66, 2)
    assert third.accent_pin is not None and third.accent_pin.midi is None
    assert fourth.drone_pin is not None and fourth.drone_pin.is_free
    assert said(tune) == []
