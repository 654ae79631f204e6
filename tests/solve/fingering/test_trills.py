"""The finger that trills: free, above the one that holds, and within the hand's reach."""

from __future__ import annotations

import pytest

from tunebook.model.arrangement import FingeredNote
from tunebook.model.book import HandChoice
from tunebook.model.hand import FINGER_PAIRS
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.reasons import explain_bars, reasons_as_text
from tunebook.solve.second_opinion.pricing import verify_arrangement

HARPA, HAND = read_instrument("nyckelharpa-3row"), read_hand(HandChoice())
HEAD = "X:1\nT:T\nM:4/4\nL:1/4\nQ:1/4=96\nK:D\n"


def trills(music: str, key: str = "D") -> list[FingeredNote]:
    tune = read_abc(HEAD.replace("K:D", f"K:{key}") + music + "|]\n")[0]
    answer = arrange(tune, HARPA, HAND, drones="none")
    assert verify_arrangement(answer) == ()
    return [one for one in answer.notes if one.note.decorations]


@pytest.mark.parametrize("music", ["A B Tc d", "d e Tf g", "A TB c d", "G A TB2", "D TE F G"])
def test_a_free_finger_above_the_one_that_holds_trills_within_the_span(music: str) -> None:
    (one,) = trills(music)
    below, finger = one.stops[0].finger, one.trill_finger
    # Common practice, no source: the finger above trills, the one below holds.
    assert finger > below
    place = HARPA.string(one.stops[0].string_index).place_mm
    if below:
        key = one.stops[0].key
        apart = max(place(key + step) - place(key) for step in (1, 2))
        assert apart <= HAND.spans[FINGER_PAIRS.index((below, finger))].max_practical_mm


def test_the_hand_comes_down_to_where_an_open_string_can_be_trilled() -> None:
    (one,) = trills("a g TD2")
    if one.stops[0].key == 0:
        assert one.trill_finger in (1, 2)


def test_the_note_above_is_that_of_the_key_signature() -> None:
    # B flat over A lies a key nearer than B, under the index finger all the same.
    assert [one.trill_finger for one in trills("TA2 d2", "Dm")] == [1]
    assert [one.trill_finger for one in trills("TA2 d2", "D")] == [1]


def test_the_little_finger_cannot_trill_above_itself() -> None:
    for one in trills("A B c !4!Td"):
        assert one.trill_finger == 0


def test_a_note_without_a_trill_has_no_finger_for_one() -> None:
    assert all(not one.trill_finger for one in trills("!fermata!A B c d"))


def test_a_finger_that_is_asked_for_trills_if_it_can() -> None:
    for asked, trilling in (("", 2), ("[r:trill finger 3]", 3), ("[r:trill finger 1]", 2)):
        (one,) = trills(f"A {asked}!1!TB c d")
        assert one.stops[0].finger == 1 and one.trill_finger == trilling


def test_reasons_name_the_finger_that_trills() -> None:
    tune = read_abc(HEAD + "A TB c d|]\n")[0]
    answer = arrange(tune, HARPA, HAND, drones="none")
    lines = reasons_as_text(explain_bars(answer, 1, 1))
    finger = answer.notes[1].trill_finger
    assert any(f"finger {finger} trills" in line for line in lines)
