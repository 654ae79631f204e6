from __future__ import annotations

import os
from pathlib import Path

import pytest

from tunebook.errors import Message, SourcePlace
from tunebook.pipeline.kept import book_sum, fetch, keep, moved, setup_sum, trim
from tunebook.pipeline.setup import Wishes, prepare
from tunebook.read.abc_tune import read_abc


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    keep(tmp_path, "ab12", ("value", 3))
    assert fetch(tmp_path, "ab12") == ("value", 3)
    assert fetch(tmp_path, "ab13") is None


@pytest.mark.parametrize("content", [b"", b"rubbish", b"x" * 100])
def test_a_damaged_entry_is_as_good_as_none(tmp_path: Path, content: bytes) -> None:
    keep(tmp_path, "ab12", "value")
    (tmp_path / "solved" / "ab" / "ab12").write_bytes(content)
    assert fetch(tmp_path, "ab12") is None


def test_the_least_used_go_first(tmp_path: Path) -> None:
    for at, name in enumerate(("aa1", "bb2", "cc3")):
        keep(tmp_path, name, "x" * 1000)
        os.utime(tmp_path / "solved" / name[:2] / name, (at, at))
    trim(tmp_path, 2500)
    assert [fetch(tmp_path, name) is None for name in ("aa1", "bb2", "cc3")] == [True, False, False]


def test_messages_move_with_their_tune() -> None:
    tune = read_abc("X:1\nT:T\nK:D\nDEF|]\n")[0]
    mine = Message(SourcePlace(tune.file, 4, 2), "x", "what")
    other = Message(SourcePlace("other.abc", 4), "x", "what")
    assert [one.place.line for one in moved([mine, other], tune, 10)] == [14, 4]


def test_another_tuning_or_edition_is_another_sum(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text("X:1\nT:T\nK:D\nDEF|]\n")
    sums = {
        setup_sum(prepare(tmp_path, wishes))
        for wishes in (Wishes(), Wishes(tuning="CGCA"), Wishes(edition="teacher"), Wishes())
    }
    assert len(sums) == 3


def test_a_changed_file_is_another_book(tmp_path: Path) -> None:
    path = tmp_path / "a.abc"
    path.write_text("X:1\nT:T\nK:D\nDEF|]\n")
    setup, output = prepare(tmp_path), tmp_path / "book.pdf"
    before = book_sum(setup, None, output)
    assert before == book_sum(setup, None, output)
    path.write_text("X:1\nT:T\nK:D\nDEG|]\n")
    assert before != book_sum(setup, None, output)
