"""Remarks on two voices that sound together. The rules are common practice, no source; the examples
are made up so that each shows one of them alone."""

from __future__ import annotations

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_instrument
from tunebook.solve.two_voices import PARALLEL_NOTES, is_strong, voice_remarks

FIDDLE = read_instrument("fiddle")


def tune_of(upper: str, lower: str, meter: str = "4/4") -> Tune:
    text = f"X:1\nT:x\nM:{meter}\nL:1/4\nK:C\nV:1\nV:2\n[V:1] {upper}\n[V:2] {lower}\n"
    (tune,) = read_abc(text)
    return tune


def said(upper: str, lower: str, meter: str = "4/4") -> list[str]:
    tune = tune_of(upper, lower, meter)
    return [one.what for one in voice_remarks(tune.bars, tune.voices[0].bars, FIDDLE)]


@pytest.mark.parametrize(
    ("upper", "lower", "expected"),
    [
        ("c d e f|g4|]", "C D E F|E4|]", ["bar 1: 4 notes in parallel octaves"]),
        ("c d e f|g4|]", "c d e f|e4|]", ["bar 1: 4 notes in parallel unisons"]),
        ("e f g c'|b4|]", "A A B c|d4|]", []),
        ("c d e g|f4|]", "C D E c|A4|]", []),  # three notes are an ending
        ("c c c c|c4|]", "C C C C|C4|]", []),  # nobody moves
        ("c d e f|g a b c'|]", "A B E F|G A B c|]", ["bars 1-2: 6 notes in parallel octaves"]),
        ("c2 d2|e2 f2|]", "C2 D D|E E F F|]", []),  # one moves alone in between
    ],
)
def test_a_run_in_octaves_or_unison_is_told_from_four_notes_on(
    upper: str, lower: str, expected: list[str]
) -> None:
    assert [one for one in said(upper, lower) if "parallel" in one] == expected
    assert PARALLEL_NOTES == 4


def test_the_bar_before_a_second_ending_is_not_the_one_before_it_on_the_page() -> None:
    upper = "|: e2 g2 |1 c d e2 :|2 f g a2 |]"
    lower = "|: c2 e2 |1 C D c2 :|2 F G A2 |]"
    assert [one for one in said(upper, lower) if "parallel" in one] == []


@pytest.mark.parametrize(
    ("upper", "lower", "expected"),
    [
        ("d4|e4|]", "c4|c4|]", ["bar 1: C5 clashes with D5 on a strong beat"]),
        ("c2 B2|c4|]", "C2 C2|C4|]", ["bar 1: C4 clashes with B4 on a strong beat"]),
        ("c B c2|c4|]", "E C E2|E4|]", []),  # a weak beat
        ("c2 B2|c4|]", "E2 A2-|A2 G2|]", ["bar 1: A4 clashes with B4 on a strong beat"]),
        ("e2 d2|c4|]", "E4|E4|]", []),  # held over: a suspension
        ("f4|e4|]", "G4|G4|]", []),  # a minor seventh belongs to many chords
        ("[eg]4|c4|]", "f4|E4|]", [
            "bar 1: F5 clashes with E5 on a strong beat",
            "bar 1: F5 clashes with G5 on a strong beat",
        ]),
    ],
)  # fmt: skip
def test_a_second_struck_together_on_a_strong_beat_clashes(
    upper: str, lower: str, expected: list[str]
) -> None:
    assert [one for one in said(upper, lower) if "clash" in one] == expected


@pytest.mark.parametrize(
    ("meter", "bar", "strong"),
    [
        ("4/4", "c c c c", [0, 2]),
        ("3/4", "c c c", [0]),
        ("2/4", "c c", [0]),
        ("6/8", "c/ c/ c/ c/ c/ c/", [0, 3]),
        ("9/8", "c/ c/ c/ c/ c/ c/ c/ c/ c/", [0]),
        ("none", "c c c c", []),
    ],
)
def test_strong_beats_are_those_of_the_metre(meter: str, bar: str, strong: list[int]) -> None:
    (tune,) = read_abc(f"X:1\nT:x\nM:{meter}\nL:1/4\nK:C\n{bar}|{bar}|]\n")
    first = tune.bars[0]
    assert [at for at, note in enumerate(first.notes) if is_strong(first, note.onset)] == strong


def test_a_pickup_is_counted_from_the_end_of_its_bar() -> None:
    (tune,) = read_abc("X:1\nT:x\nM:4/4\nL:1/4\nK:C\nc c|c c c c|c c|]\n")
    pickup = tune.bars[0]
    assert [is_strong(pickup, note.onset) for note in pickup.notes] == [True, False]


def test_a_voice_on_the_other_side_of_the_melody_is_told_with_its_bars() -> None:
    assert said("c4|c4|E4|c4|]", "A4|A4|G4|A4|]") == ["bar 3: the voice lies above the melody"]
    assert said("C4|C4|E4|]", "E4|E4|C4|]") == ["bar 3: the voice lies below the melody"]
    assert said("c4|c4|]", "A4|A4|]") == []


def test_tones_that_the_instrument_lacks_are_named_once() -> None:
    found = said("c4|c4|c4|]", "F,4|C4|[A,,E]4|]")
    assert found == ["bars 1, 3: A2 F3 outside the compass of the Fiddle tuned GDAE"]


def test_rests_and_voices_of_silence_give_no_remark() -> None:
    assert said("c4|z4|c4|]", "z4|D4|z4|]") == []
