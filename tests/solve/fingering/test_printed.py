"""Which numbers and string letters a player edition prints."""

from __future__ import annotations

from tunebook.model.arrangement import Stop
from tunebook.read.settings.profile import read_instrument
from tunebook.solve.fingering.printed import Played, implied_stop, marks

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
OPEN = {1: 48, 2: 55, 3: 62, 4: 69}


def stop(string: int, key: int, finger: int) -> Stop:
    return Stop(OPEN[string] + key, string, key, finger)


def note(*stops: Stop, hand=2.0, ways=(), **fields) -> Played:
    return Played(tuple(stops), hand, tuple(ways), **fields)


def needed(*played: Played) -> list[bool]:
    return [is_needed for is_needed, _ in marks(played, CGDA)]


def letters(*played: Played) -> list[bool]:
    return [shows_string for _, shows_string in marks(played, CGDA)]


A0, B1, C2, D3, E4 = (
    note(stop(4, 0, 0)), note(stop(4, 2, 1)), note(stop(4, 4, 2)), note(stop(4, 5, 3)),
    note(stop(4, 7, 4)),
)  # fmt: skip


def test_first_position_prints_nothing_but_the_first_note() -> None:
    start = note(stop(4, 0, 0), is_start=True)
    assert needed(start, B1, C2, D3, E4) == [True, False, False, False, False]


def test_an_unusual_finger_is_printed() -> None:
    assert needed(A0, note(stop(4, 4, 3))) == [False, True]


def test_the_same_note_struck_again_is_not_printed_again() -> None:
    odd = note(stop(4, 4, 3))
    assert needed(A0, odd, odd) == [False, True, False]


def test_a_change_of_place_is_printed_on_the_first_stopped_note_and_on_the_way_back() -> None:
    up = note(stop(4, 5, 3), hand=3.0)
    assert needed(B1, A0, up, A0, D3) == [False, False, True, False, True]


def test_both_notes_of_a_crossed_stop_are_printed() -> None:
    low = note(stop(3, 2, 1))
    high = note(stop(4, 2, 2), ways=("crossed",))
    assert needed(A0, low, high) == [False, True, True]


def test_row_jumps_and_substitutions_are_printed() -> None:
    for way in ("row_jump", "substitution", "barre"):
        assert needed(A0, note(stop(4, 2, 1), ways=(way,))) == [False, True]


def test_a_fifth_under_one_finger_is_not_printed_on_a_fingerboard() -> None:
    fiddle = read_instrument("fiddle")
    low, high = Stop(64, 2, 2, 1), Stop(71, 3, 2, 1)
    found = marks([note(Stop(62, 2, 0, 0)), note(low), note(high, ways=("row_jump",))], fiddle)
    assert [is_needed for is_needed, _ in found] == [False, False, False]


def test_stopped_double_stops_are_printed() -> None:
    assert needed(A0, note(stop(3, 4, 2), stop(4, 0, 0))) == [False, True]
    assert needed(A0, note(stop(2, 0, 0), stop(3, 0, 0))) == [False, False]


def test_a_pinned_finger_is_printed() -> None:
    assert needed(A0, note(stop(4, 2, 1), is_pinned=True)) == [False, True]


def test_a_continued_note_prints_nothing() -> None:
    odd = note(stop(4, 4, 3))
    assert needed(odd, note(stop(4, 4, 3), is_continued=True)) == [True, False]


def test_a_note_that_cannot_be_played_prints_nothing() -> None:
    assert marks([note()], CGDA) == [(False, False)]


def test_a_letter_stands_where_the_string_is_not_the_usual_one() -> None:
    fourth = note(stop(3, 7, 4))
    assert letters(note(stop(3, 5, 3)), fourth) == [False, False]
    assert letters(A0, fourth, fourth) == [False, True, False]


def test_a_letter_stands_on_the_way_back_when_one_could_have_stayed() -> None:
    fourth = note(stop(3, 7, 4))
    assert letters(A0, fourth, B1) == [False, True, True]
    assert letters(A0, note(stop(3, 2, 1)), B1) == [False, False, False]


def test_no_letter_stands_for_an_ordinary_change_of_strings() -> None:
    assert letters(note(stop(3, 5, 3)), A0, B1, note(stop(3, 4, 2))) == [False] * 4


def test_a_figure_stands_under_every_letter() -> None:
    fourth = note(stop(3, 7, 4))
    for line in ((A0, fourth, B1), (B1, fourth, A0), (A0, note(stop(3, 2, 1)), B1)):
        assert all(figure or not letter for figure, letter in marks(line, CGDA))


def test_past_the_fifth_on_a_lower_string_figure_and_letter_are_printed() -> None:
    # In CGCA the strings C and A are a sixth apart: G lies on key 7 of C, G sharp on key 8.
    harpa = read_instrument("nyckelharpa-3row", "CGCA")
    for key in (7, 8):
        high = note(Stop(60 + key, 3, key, 4))
        assert marks((A0, high, high), harpa)[1:] == [(True, True), (False, False)]
    # On the highest string key 7 is first position's.
    assert marks((D3, E4), harpa)[1] == (False, False)


def test_first_position_implies_the_open_string() -> None:
    assert implied_stop(CGDA, 69) == Stop(69, 4, 0, 0)
    assert implied_stop(CGDA, 64) == Stop(64, 3, 2, 1)


def test_first_position_implies_nothing_beyond_key_7() -> None:
    assert implied_stop(CGDA, 69 + 8) is None
