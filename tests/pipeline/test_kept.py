from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest

from tunebook.errors import Message, SourcePlace
from tunebook.pipeline.kept import book_sum, fetch, keep, moved, setup_sum
from tunebook.pipeline.load import Wishes, prepare, read_files
from tunebook.pipeline.sources import kept_leaves
from tunebook.read.abc.tune import read_abc
from tunebook.store import Kind, Store
from tunebook.write.lilypond import abjad_leaves, leaves
from tunebook.write.lilypond.abjad_leaves import leaf_text


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    store = Store(tmp_path)
    keep(store, "solved", "ab12", ("value", 3))
    assert fetch(store, "solved", "ab12") == ("value", 3)
    assert fetch(store, "solved", "ab13") is None
    assert fetch(store, "books", "ab12") is None


def test_what_other_versions_of_the_packages_made_is_as_good_as_none(tmp_path: Path) -> None:
    store = Store(tmp_path)
    # A module that is not there (pickle's protocol 0, Python's documentation of pickletools).
    store.keep("solved", "ab12", b"cno_such_module\nName\n.")
    assert store.fetch("solved", "ab12") is not None
    assert fetch(store, "solved", "ab12") is None


def test_messages_move_with_their_tune() -> None:
    tune = read_abc("X:1\nT:T\nK:D\nDEF|]\n")[0]
    mine = Message(SourcePlace(tune.file, 4, 2), "x", "what")
    other = Message(SourcePlace("other.abc", 4), "x", "what")
    assert [one.place.line for one in moved([mine, other], tune.file, 10)] == [14, 4]


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


def test_an_unchanged_book_is_fetched_without_what_makes_one() -> None:
    code = "import sys, tunebook.pipeline.build; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    makers = ("abjad", "numpy", "pikepdf", "reportlab", "tunebook.book.", "tunebook.engrave.")
    assert [name for name in done.stdout.split() if name.startswith(makers)] == []


def test_all_that_is_kept_is_counted_and_cleared(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    from tunebook.pipeline.build import build
    from tunebook.pipeline.kept import clear_cache, describe_cache, fault_folder
    from tunebook.pipeline.load import BuildOrder

    keep_fonts_in(tmp_path / "cache")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    # Else another test may have made all of these leaves.
    monkeypatch.setattr(abjad_leaves, "_texts", {})
    leaves.leaf_lines.cache_clear()
    (tmp_path / "t.abc").write_text("X:1\nT:T\nM:3/4\nL:1/4\nK:D\nD F A|d3|]\n", "utf-8")
    build(prepare(tmp_path / "t.abc"), BuildOrder(tmp_path / "book.pdf"))
    home = tmp_path / "cache" / "tunebook" / "engraved"
    kept = [path for path in home.rglob("*") if path.is_file()]
    assert {path.relative_to(home).parts[0] for path in kept} == set(get_args(Kind))
    size = sum(path.stat().st_size for path in kept)
    assert f": {len(kept)} files" in describe_cache() and f"{size / 1e6:.1f} MB" in describe_cache()
    fault_folder().mkdir()
    (fault_folder() / "tunebook-fault-1.txt").touch()
    assert "reports of faults: 1" in describe_cache()
    assert f": {len(kept)} files" in clear_cache()
    assert [path for path in home.parent.rglob("*") if path.is_file()] == []
    assert ": 0 files" in describe_cache()


def test_leaves_are_made_by_abjad_once_and_then_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts: dict[object, str] = {}
    new: dict[object, str] = {}
    monkeypatch.setattr(abjad_leaves, "_texts", texts)
    monkeypatch.setattr(abjad_leaves, "_new_texts", new)
    store = Store(tmp_path)
    with kept_leaves(store):
        assert leaf_text("fs''!", "4.") == "fs''!4."
    texts.clear()

    def refuse(*_: object) -> str:
        raise AssertionError("made again")

    monkeypatch.setattr(abjad_leaves, "text_of_leaf", refuse)
    size = store.size("leaves")
    with kept_leaves(store):
        assert leaf_text("fs''!", "4.") == "fs''!4."
    assert size == store.size("leaves") and size.files == 1
