"""What cannot be played is said once for each cause."""

from __future__ import annotations

from tunebook.model.names import bars_in_words, in_ranges
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange


def said(music: str) -> list[tuple[str, str]]:
    tune: Tune = read_abc(f"X:1\nT:t\nM:4/4\nL:1/4\nK:C\n{music}\n")[0]
    solved = arrange(tune, read_instrument("nyckelharpa-3row"), read_hand(), drones="none")
    title = "Nyckelharpa"
    return [
        (one.kind, one.what.split(f" {title}")[0]) for one in solved.messages if title in one.what
    ]


def test_notes_outside_the_compass_are_one_message_with_their_bars() -> None:
    (one,) = said("C,,DEF|GABc|C,,D,,EF|C,,4|")
    assert one[0] == "compass"
    assert one[1].startswith("bars 1, 3-4: C2 D2 are outside the compass of the")


def test_one_note_outside_the_compass_names_itself() -> None:
    (one,) = said("CDEF|G,,ABc|")
    assert one[1].startswith("bar 2: G2 is outside the compass of the")


def test_hundreds_of_wide_chords_are_one_message() -> None:
    (one,) = said("[C^c'^D'][C^c'^D'][C^c'^D'][C^c'^D']|" * 200 + "CDEF|")
    assert one[0] in ("compass", "double-stop")
    assert one[1].startswith("bars 1-200: ")


def test_numbers_in_ranges() -> None:
    assert in_ranges([3, 1, 2, 7, 7, 9]) == "1-3, 7, 9"
    assert in_ranges(range(0, 99, 2), 3) == "0, 2, 4, ..."
    assert (bars_in_words([4]), bars_in_words([4, 5])) == ("bar 4", "bars 4-5")
