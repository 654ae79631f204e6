"""Questions are passages without marks that different hands finger in different ways."""

from __future__ import annotations

from corpus_tunes import random_tunes
from players import PLAYERS, sheets_by

from tunebook.model.hand import Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.learning.ask import MOST_A_TUNE, questions
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Mark
from tunebook.solve.learning.study import World

HARPA = read_instrument("nyckelharpa-3row")
WORLD = World(HARPA, read_hand(), Limits())
SHEETS = [
    one._replace(marks=()) for one in sheets_by(PLAYERS["as usual"], random_tunes(4, seed=5), HARPA)
]


def test_questions_are_of_free_passages_with_ways_that_differ() -> None:
    half = list(sheets_by(PLAYERS["as usual"], [SHEETS[0].tune], HARPA)[0].marks)
    bars = {mark.ref.bar for mark in half[: len(half) // 2]}
    first = SHEETS[0]._replace(marks=tuple(half[: len(half) // 2]))
    found = questions(WORLD, [first, *SHEETS[1:]], 5)
    assert 0 < len(found) <= 5
    assert [one.worth for one in found] == sorted((one.worth for one in found), reverse=True)
    for one in found:
        assert 2 <= len(one.ways) <= 3 and len(set(one.ways)) == len(one.ways)
        assert len({tuple(ref for ref, _ in way) for way in one.ways}) == 1
        assert one.name != first.name or not {one.first, one.last} & bars
    names = [one.name for one in found]
    assert max(names.count(name) for name in names) <= MOST_A_TUNE


def test_the_same_is_asked_in_every_run() -> None:
    assert questions(WORLD, SHEETS[:2], 3) == questions(WORLD, SHEETS[:2], 3)


def test_what_she_has_answered_is_not_asked_again() -> None:
    asked = questions(WORLD, SHEETS[:2], 2)
    first = asked[0]
    tune = next(one.tune for one in SHEETS if one.name == first.name)
    marks = tuple(Mark(ref, tuple(stop.finger for stop in stops)) for ref, stops in first.ways[1])
    answered = Sheet("answered", tune, SHEETS[0].speed, marks)
    again = questions(WORLD, [*SHEETS[:2], answered], 4)
    assert again
    assert (first.name, first.first) not in {(one.name, one.first) for one in again}
