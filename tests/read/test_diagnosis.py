"""Bars whose length does not fit, and the places where they may be short."""

from __future__ import annotations

import pytest

from tunebook.read.abc_tune import read_abc


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
    assert tune.messages[0].with_excerpt().split("\n")[1:] == [
        "    CDE|FGAB|cde|]",
        "        ~~~~",
    ]


def test_free_metre_has_bars_of_any_length() -> None:
    assert whats("CDE|FGAB|c|]", "none") == []


def test_change_of_metre_counts_from_the_next_bar() -> None:
    assert whats("CDE|[M:2/4]FG|AB|]") == []
