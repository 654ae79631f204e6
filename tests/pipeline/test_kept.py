from __future__ import annotations

import os
from pathlib import Path

import pytest

from tunebook.errors import Message, SourcePlace
from tunebook.pipeline.kept import book_sum, fetch, keep, moved, setup_sum, trim
from tunebook.pipeline.load import Wishes, prepare, read_files
from tunebook.read.abc.tune import read_abc


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
    before = book_sum(setup, None, output, read_files(setup))
    assert before == book_sum(setup, None, output, read_files(setup))
    path.write_text("X:1\nT:T\nK:D\nDEG|]\n")
    assert before != book_sum(setup, None, output, read_files(setup))


def test_all_that_is_kept_is_counted_and_cleared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tunebook.pipeline.build import build_book
    from tunebook.pipeline.kept import clear_cache, describe_cache, fault_folder
    from tunebook.pipeline.load import BuildOrder

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "t.abc").write_text("X:1\nT:T\nM:3/4\nL:1/4\nK:D\nD F A|d3|]\n", "utf-8")
    build_book(prepare(tmp_path / "t.abc"), BuildOrder(tmp_path / "book.pdf"))
    home = tmp_path / "cache" / "tunebook" / "engraved"
    kept = [path for path in home.rglob("*") if path.is_file()]
    assert {"sheets", "solved"} <= {path.relative_to(home).parts[0] for path in kept}
    assert any(path.suffix == ".font" for path in kept)
    size = sum(path.stat().st_size for path in kept)
    assert f": {len(kept)} files" in describe_cache() and f"{size / 1e6:.1f} MB" in describe_cache()
    fault_folder().mkdir()
    (fault_folder() / "tunebook-fault-1.txt").touch()
    assert "reports of faults: 1" in describe_cache()
    assert f": {len(kept)} files" in clear_cache()
    assert [path for path in home.parent.rglob("*") if path.is_file()] == []
    assert ": 0 files" in describe_cache()
