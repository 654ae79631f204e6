"""Music without end: the search grows with the repeats, and has a budget; bars and chords end."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.errors import Message
from tunebook.model.tune import Tune
from tunebook.pipeline import load as arranging
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.load import Setup, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc, read_tune
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.solve.search import leaps as branching
from tunebook.solve.search.layers import (
    CELLS_A_STEP,
    Layers,
    Leap,
    OutOfStepsError,
    at_most,
    path_cost,
    spend,
)
from tunebook.solve.search.leaps import elimination, largest_table, solve_branching


def music(sections: int, number: int = 1) -> str:
    """A tune of many repeated bars, no two alike."""
    chance = random.Random(number)
    bars = ("".join(chance.choice("DEFGABcd") for _ in range(4)) for _ in range(sections))
    head = f"X:{number}\nT:Tune {number}\nM:2/4\nL:1/8\nK:D\n"
    return head + "\n".join(f"|:{bar}:|" for bar in bars) + "\n"


def limited(text: str, **limits: int) -> Tune:
    (piece,) = cut_into_tunes(text, "tune.abc")
    assert isinstance(piece, TuneText)
    return read_tune(piece, limits=replace(DEFAULT_LIMITS, **limits))


def said(messages: tuple[Message, ...]) -> list[str]:
    return [str(one) for one in messages if one.kind == "limit"]


# The search over repeats


def smallest_first(
    sizes: dict[int, int], edges: set[tuple[int, int]]
) -> list[tuple[int, frozenset[int]]]:
    """The order of elimination by its definition: all tables counted anew each time."""
    around = {one: {o for edge in edges if one in edge for o in edge} - {one} for one in sizes}
    order = []
    while around:
        cells = {one: sizes[one] * int(np.prod([sizes[o] for o in around[one]])) for one in around}
        branch = min(around, key=lambda one: (cells[one], one))
        neighbours = around.pop(branch)
        for other in neighbours:
            around[other] = (around[other] | neighbours) - {other, branch}
        order.append((branch, frozenset(neighbours)))
    return order


@settings(max_examples=100, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 5), min_size=2, max_size=9),
    pairs=st.sets(st.tuples(st.integers(0, 8), st.integers(0, 8)), max_size=14),
)
def test_the_smallest_table_is_always_next(sizes: list[int], pairs: set[tuple[int, int]]) -> None:
    count = len(sizes)
    edges = {(min(a, b), max(a, b)) for a, b in pairs if a != b and max(a, b) < count}
    known = dict(enumerate(sizes))
    assert list(elimination(known, edges)) == smallest_first(known, edges)


def test_tables_counted_anew_grow_with_the_repeats_and_not_with_their_square(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    counted = []
    real = branching.math.prod
    monkeypatch.setattr(branching.math, "prod", lambda cells: counted.append(1) or real(cells))

    def effort(repeats: int) -> int:
        counted.clear()
        edges = {(at, at + 1) for at in range(2 * repeats - 1)}
        edges |= {(at, at + 1) for at in range(0, 2 * repeats, 2)}
        assert len(list(elimination(dict.fromkeys(range(2 * repeats), 3), edges))) == 2 * repeats
        return len(counted)

    assert effort(2000) <= 2.1 * effort(1000)
    assert effort(2000) <= 10 * 2000


def test_hundreds_of_endings_overflow_nothing() -> None:
    """One bar that goes on to each of 400 others: tables beyond every number of a machine."""
    count = 401
    layers = Layers(
        [np.arange(8.0)] * count,
        [np.zeros((8, 8))] * (count - 1),
        [Leap(0, end, np.eye(8)) for end in range(2, count)],
    )
    cells, _ = largest_table(layers, [8] * count)
    assert cells >= 8
    states, cost = solve_branching(layers)
    assert cost == pytest.approx(path_cost(layers, states))


# The budget


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    (tmp_path / "a.abc").write_text("\n".join(music(n, n) for n in (2, 150, 3)), encoding="utf-8")
    (tmp_path / "tunes.toml").write_text("[reading]\nsolving_steps = 5000\n", encoding="utf-8")
    return prepare(tmp_path)


def test_steps_are_counted_and_not_timed() -> None:
    with at_most(10):
        spend(4, 3 * CELLS_A_STEP)
        spend(3)
        with pytest.raises(OutOfStepsError):
            spend(1)
    spend(1_000_000)  # without a budget nothing is counted


def test_a_tune_of_too_many_repeats_is_solved_as_written_and_the_others_as_ever(
    setup: Setup,
) -> None:
    report = check_folder(setup, jobs=1)
    assert [row.title for row in report.rows] == ["Tune 2", "Tune 150", "Tune 3"]
    (message,) = said(report.messages)
    assert message.endswith(
        "'Tune 150' takes more than 5000 steps to solve; it is solved as written, without its "
        "repeats; write it shorter, or raise solving_steps under [reading]"
    )
    assert not report.left_out


def test_equal_budgets_give_equal_answers(setup: Setup) -> None:
    tune = read_abc(music(150, 150))[0]
    first, second = (arrange_tune(tune, setup).arrangement for _ in range(2))
    assert first == second
    assert first is not None and len(first.tune.played) == 150 < len(tune.played)


def test_a_tune_beyond_the_budget_even_as_written_is_left_out(setup: Setup) -> None:
    tight = replace(setup, book=replace(setup.book, reading=(("solving_steps", 1500),)))
    report = check_folder(tight, jobs=1)
    assert "Tune 150" not in [row.title for row in report.rows]
    (message,) = report.left_out
    assert "takes more than 1500 steps to solve; left out; write it shorter" in str(message)


def test_an_ordinary_tune_takes_a_hundredth_of_the_budget(setup: Setup) -> None:
    steps = DEFAULT_LIMITS.solving_steps // 100
    plain = replace(setup, book=replace(setup.book, reading=(("solving_steps", steps),)))
    outcome = arrange_tune(read_abc(music(16))[0], plain)
    assert outcome.arrangement is not None
    assert not said(outcome.arrangement.messages)


# Bars, chords, endings


def test_a_chord_without_end_keeps_its_first_tones() -> None:
    tune = limited("X:1\nT:T\nL:1/4\nK:C\n[" + "CEGc" * 1750 + "]4|C4|]\n")
    assert len(tune.bars[0].notes[0].pitches) == DEFAULT_LIMITS.chord_notes
    assert said(tune.messages) == [
        "tune.abc:5:26: this chord has more than 24 tones; the others are not read; "
        "take some out, or raise chord_notes under [reading]"
    ]
    assert len(limited("X:1\nK:C\n[CEG]4|]\n", chord_notes=2).bars[0].notes[0].pitches) == 2


def test_a_bar_without_end_is_divided_and_no_note_is_lost() -> None:
    tune = limited("X:1\nT:T\nL:1/4\nM:none\nK:C\n" + "CDEF" * 250 + "|C4|]\n")
    assert [len(bar.notes) for bar in tune.bars] == [200] * 5 + [1]
    assert "(4 times, line 6)" in said(tune.messages)[0]
    assert "more than 200 notes and is divided here" in said(tune.messages)[0]
    assert [len(bar.notes) for bar in limited("X:1\nK:C\nCDEF|]\n", bar_notes=3).bars] == [3, 1]


def test_endings_are_read_up_to_a_number() -> None:
    endings = "".join(f"[{number} D4:|\n" for number in range(1, 199))
    tune = limited(f"X:1\nT:T\nL:1/4\nM:4/4\nK:D\n|:A4|\n{endings}")
    assert max(number for bar in tune.bars for number in bar.ending) == 99
    assert len(tune.bars) == 199
    assert "endings are read up to number 99" in said(tune.messages)[0]


def test_every_limit_of_reading_is_a_setting(tmp_path: Path) -> None:
    from dataclasses import fields

    names = [one.name for one in fields(ReadingLimits)]
    lines = "\n".join(f"{name} = 77" for name in names)
    (tmp_path / "tunes.toml").write_text(f"[reading]\n{lines}\n", encoding="utf-8")
    made = prepare(tmp_path)
    assert not made.messages
    assert arranging.reading_limits(made) == ReadingLimits(**dict.fromkeys(names, 77))
