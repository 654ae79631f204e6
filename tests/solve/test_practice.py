from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.model.book import HandChoice
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.practice import find_hard_passages, make_exercise

LABELS = {"loop": "slowly", "long_short": "long, short", "short_long": "short, long"}
TEXT = """X:1
T:Exercise ground
M:2/4
L:1/8
Q:1/4=100
K:D
|: D2 A2 | FA dA | EB gb | d4 :|
|: (EB gb | d2) A2 | (3ABc d2 | D4 :|
"""


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    tune = read_abc(TEXT)[0]
    return arrange(
        tune, read_instrument("nyckelharpa-3row"), read_hand(HandChoice()), drones="none"
    )


def test_the_hardest_passage_comes_first(arrangement: Arrangement) -> None:
    difficulty = [bar.difficulty for bar in arrangement.bar_difficulties]
    pairs = {at: difficulty[at] + difficulty[at + 1] for at in (0, 1, 2, 4, 5, 6)}
    assert find_hard_passages(arrangement)[0].start == max(pairs, key=lambda at: pairs[at])


def test_passages_do_not_overlap_and_do_not_run_over_a_repeat(arrangement: Arrangement) -> None:
    bars = [set(passage) for passage in find_hard_passages(arrangement)]
    assert sum(map(len, bars)) == len(set().union(*bars))
    assert {3, 4} not in bars


def test_an_exercise_keeps_the_fingers_of_the_tune(arrangement: Arrangement) -> None:
    exercise = make_exercise(arrangement, range(2, 4), LABELS)
    wanted = [
        tuple(stop.finger for stop in one.stops)
        for one in arrangement.notes
        if one.bar_index in (2, 3)
    ]
    assert [note.finger_pins for bar in exercise.bars[:2] for note in bar.notes] == wanted


def test_the_bars_of_an_exercise_bear_no_numbers_of_their_own(arrangement: Arrangement) -> None:
    exercise = make_exercise(arrangement, range(2, 4), LABELS)
    assert {bar.number for bar in exercise.bars} == {0}
    assert [bar.index for bar in exercise.bars] == list(range(len(exercise.bars)))


def test_every_variant_fills_its_bars_and_is_a_loop(arrangement: Arrangement) -> None:
    exercise = make_exercise(arrangement, range(1, 3), LABELS)
    assert len(exercise.bars) == 6
    for bar in exercise.bars:
        assert sum((note.duration for note in bar.notes), Fraction(0)) == bar.duration
    assert [bar.sign_before for bar in exercise.bars[::2]] == ["|:"] * 3
    assert [bar.sign_after for bar in exercise.bars[1::2]] == [":|"] * 3


def test_long_short_is_three_to_one(arrangement: Arrangement) -> None:
    exercise = make_exercise(arrangement, range(1, 3), LABELS)
    lengths = [note.duration for note in exercise.bars[2].notes]
    assert lengths == [Fraction(3, 16), Fraction(1, 16)] * 2
    assert exercise.bars[2].notes[0].annotations[0].text == "long, short"


def test_a_variant_that_would_change_nothing_is_left_out(arrangement: Arrangement) -> None:
    assert len(make_exercise(arrangement, range(0, 1), LABELS).bars) == 1


def test_a_slur_that_leads_out_of_the_passage_is_cut(arrangement: Arrangement) -> None:
    exercise = make_exercise(arrangement, range(4, 5), LABELS)
    assert sum(note.slurs_opened for bar in exercise.bars for note in bar.notes) == 0


def test_an_exercise_is_slower_than_the_tune(arrangement: Arrangement) -> None:
    assert make_exercise(arrangement, range(0, 1), LABELS).tempo.per_minute == 60
