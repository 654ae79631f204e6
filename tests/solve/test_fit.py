"""The key in which a tune keeps to a level: against every key tried by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fit import AS_EASY, FAR, FEW_SIGNS, Level, bars_out_of_reach, fitting_key
from tunebook.solve.transpose import semitones_to, transpose_tune

FIRST = Limits(highest_position=0, allows_shifts=False, allows_crossed_stops=False)
LEVEL = Level(read_instrument("nyckelharpa-3row"), read_hand(HandChoice()), FIRST, 100 / 240)
HEAD = "X:1\nT:T\nM:4/4\nL:1/8\nQ:1/4=100\nK:{}\n"
EASY = HEAD.format("D") + "DEFG A2d2|efed c2A2|d8|]\n"
HIGH = HEAD.format("D") + "ABcd e2A2|efga b2a2|ABcd e2A2|d8|]\n"
WIDE = HEAD.format("D") + "G,A,B,C D2E2|FGAB c2d2|efga b2c'2|d'8|]\n"


def tune(text: str) -> Tune:
    return read_abc(text)[0]


def keeps(moved: Tune) -> bool:
    answer = arrange(moved, LEVEL.instrument, LEVEL.hand, FIRST, drones="none", chords="none")
    return all(one.stops and not one.beyond_limits for one in answer.notes)


def test_a_tune_in_first_position_is_within_reach() -> None:
    assert bars_out_of_reach(tune(EASY), LEVEL) == frozenset()


def test_bars_with_high_or_missing_notes_are_out_of_reach() -> None:
    assert 1 in bars_out_of_reach(tune(HIGH), LEVEL)
    # F3 lies below the lowest string with keys.
    assert bars_out_of_reach(transpose_tune(tune(EASY), -9), LEVEL) == {0}


@pytest.mark.parametrize(
    "text", [HIGH, HIGH.replace("b2a2", "f2e2"), EASY.replace("A2d2", "A2^g2")]
)
def test_the_key_is_the_nearest_of_the_easiest_that_keep_to_the_limits(text: str) -> None:
    found = fitting_key(tune(text), LEVEL)
    assert found is not None and keeps(found.tune)
    assert found.tune == transpose_tune(tune(text), found.semitones)
    ways = {
        semitones: arrange(
            moved, LEVEL.instrument, LEVEL.hand, FIRST, drones="none", chords="none"
        ).difficulty
        for semitones in range(-7, 8)
        if semitones and keeps(moved := transpose_tune(tune(text), semitones))
    }
    near = [one for one, effort in ways.items() if effort <= AS_EASY * min(ways.values())]
    few = [one for one in near if abs(transpose_tune(tune(text), one).key.fifths) <= FEW_SIGNS]
    assert abs(found.semitones) == min(abs(one) for one in few or near)


def test_where_no_key_keeps_to_the_limits_there_is_none() -> None:
    assert fitting_key(tune(WIDE), LEVEL) is None
    assert not any(keeps(transpose_tune(tune(WIDE), move)) for move in range(-FAR, FAR + 1))


def test_pins_go_along_where_a_key_can_hold_them_and_are_taken_out_where_none_can() -> None:
    held = fitting_key(tune(HIGH.replace("ABcd", "!0!ABcd")), LEVEL)
    assert held is not None and held.has_pins
    assert any(any(note.finger_pins) is not None for note in held.tune.bars[0].notes)
    lost = fitting_key(tune(HIGH.replace("efga", "[r:string D]e!4!f[r:string G]!1!ga")), LEVEL)
    assert lost is not None
    assert keeps(lost.tune)


def test_a_keynote_is_reached_the_nearest_way_that_is_possible() -> None:
    assert semitones_to(tune(EASY), "E", lambda way: True) == 2
    assert semitones_to(tune(EASY), "E", lambda way: way < 0) == -10
    assert semitones_to(tune(EASY), "C", lambda way: True) == -2
    assert semitones_to(tune(EASY), "Bb", lambda way: True) == -4
    assert semitones_to(tune(EASY), "D", lambda way: True) == 0


def test_a_moved_tune_knows_where_it_was_written() -> None:
    written = tune(EASY)
    moved = transpose_tune(transpose_tune(written, 3), 2)
    assert moved.moved is not None
    assert (moved.moved.semitones, moved.moved.key) == (5, written.key)
    assert replace(transpose_tune(moved, -5)).moved is None
