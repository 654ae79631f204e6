"""Bars whose length does not fit, and the places where they may be short."""

from __future__ import annotations

import pytest

from tunebook.read.abc.tune import read_abc


def whats(music: str, meter: str = "3/4") -> list[str]:
    tune = read_abc(f"X:1\nM:{meter}\nL:1/4\nK:C\n{music}\n")[0]
    assert all(message.kind == "bar-length" for message in tune.messages)
    return [message.what for message in tune.messages]


@pytest.mark.parametrize(
    "music",
    [
        "CDE|FGA|]",
        "C|DEF|GA|]",
        "C|DEF|GA:|B|cde|fg:|",
        "C|DEF|GA:|Bcd|efg|]",
        "C|:DEF|GA:|",
        "C|DEF|1GA:|2GA||B|cde|fg|]",
        "C|DEF|1GA:|2GAB||cde|fg|]",
        "CDE|FG||A|Bcd|efg|]",
        "CDE|FG:|A|Bcd|]",
        "C/|DEF|GA3/2|]",
    ],
)
def test_bars_that_share_their_time_are_right(music: str) -> None:
    assert whats(music) == []


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("CDE|FGAB|cde|]", "bar 2 is too long: 4/4 instead of 3/4"),
        ("CDE|FG|ABc|]", "bar 2 is too short: 2/4 instead of 3/4"),
        ("C|DEF|GAB|cd/|]", "bar 3 is too short: 3/8 instead of 3/4"),
        ("CDE|FGA|B|]", "bar 3 is too short: 1/4 instead of 3/4"),
        ("CDE|F/G/A/B/|cde|]", "bar 2 is too short: 2/4 instead of 3/4"),
    ],
)
def test_bar_of_wrong_length_is_said(music: str, expected: str) -> None:
    assert whats(music) == [expected]


def test_message_underlines_the_bar() -> None:
    tune = read_abc("X:1\nM:3/4\nL:1/4\nK:C\nCDE|FGAB|cde|]\n")[0]
    assert list(tune.messages[0].excerpt_lines()) == [
        "    CDE|FGAB|cde|]",
        "        ~~~~",
    ]


def test_free_metre_has_bars_of_any_length() -> None:
    assert whats("CDE|FGAB|c|]", "none") == []


def test_change_of_metre_counts_from_the_next_bar() -> None:
    assert whats("CDE|[M:2/4]FG|AB|]") == []


BARS_OF_EIGHTHS = "CDE|" * 6


def test_bars_of_wrong_length_are_one_message_at_the_first() -> None:
    tune = read_abc("X:1\nM:3/4\nL:1/4\nK:C\nCDE|FG|ABc|FGAB|cd|ef|CDE|]\n")[0]
    (message,) = tune.messages
    assert message.what == "4 bars do not fit 3/4; too short: bars 2, 5-6; too long: bar 4"
    assert (message.place.line, message.place.column) == (5, 5)


@pytest.mark.parametrize(
    ("meter", "expected", "remedy"),
    [
        ("3/4", "6 bars are too short: L: is missing, 1/8 was assumed", "write L:1/4"),
        ("3/2", "6 bars are too short: L: is missing, 1/8 was assumed", "write L:1/2"),
    ],
)
def test_missing_unit_length_is_the_one_cause(meter: str, expected: str, remedy: str) -> None:
    tune = read_abc(f"X:1\nM:{meter}\nK:C\n|{BARS_OF_EIGHTHS}]\n")[0]
    (message,) = tune.messages
    assert (message.what, message.remedy) == (expected, remedy)


def test_unit_length_that_is_written_is_not_blamed() -> None:
    tune = read_abc(f"X:1\nM:3/4\nL:1/8\nK:C\n|{BARS_OF_EIGHTHS}]\n")[0]
    (message,) = tune.messages
    assert message.what == "6 of 6 bars are 3/8 long instead of 3/4"


def test_pickup_of_each_section_is_known_in_a_tune_of_many_bars() -> None:
    assert whats("C|" + "DEF|" * 300 + "GA:|" + "B|" + "cde|" * 300 + "fg|]") == []
