"""One message for one cause."""

from __future__ import annotations

from tunebook.read.abc.notices import MOST_OF_A_KIND, Notices
from tunebook.read.abc.tune import read_abc


def test_messages_of_one_text_are_one_with_their_number_and_lines() -> None:
    notices = Notices("a.abc", ["one", "two", "three", "four"], 10)
    for line, column in ((0, 2), (0, 3), (1, 1), (3, 1)):
        notices.add("text", "'?' has no meaning", "take it out", line=line, column=column)
    (message,) = notices.messages()
    assert str(message) == (
        "a.abc:10:2: '?' has no meaning (4 times, lines 10-11, 13); take it out"
    )
    assert message.excerpt == "one"


def test_messages_of_one_cause_are_one_though_their_texts_differ() -> None:
    notices = Notices("a.abc", ["one", "two"], 1)
    notices.add("rhythm", "'>' is ignored", line=0, cause="unequal")
    notices.add("rhythm", "'<' is ignored", line=0, cause="unequal")
    assert [message.what for message in notices.messages()] == ["'>' is ignored (2 times, line 1)"]


def test_causes_of_a_kind_are_bounded() -> None:
    notices = Notices("a.abc", ["one"], 1)
    for number in range(100):
        notices.add("text", f"{number}", line=0)
    messages = notices.messages()
    assert len(messages) == MOST_OF_A_KIND + 1
    assert messages[-1].what == "80 further messages of kind 'text' in this tune"


def test_a_sign_that_stands_for_nothing_is_said_once_in_a_tune() -> None:
    tune = read_abc("X:1\nM:4/4\nL:1/4\nK:C\nkCDkEF|kGABc|\nhckBkAG|\n")[0]
    assert [(message.place.column, message.what) for message in tune.messages] == [
        (1, "'k' stands for nothing and is ignored (5 times, lines 5-6)"),
        (1, "'h' stands for nothing and is ignored"),
    ]
