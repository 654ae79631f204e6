"""What is kept between runs: found again, whole or not at all, bounded, cleared."""

from __future__ import annotations

import multiprocessing
import os
from pathlib import Path

import pytest

from tunebook.store import NO_STORE, Kind, Store, StoreSize, cache_folder, default_store, key_of


def test_what_is_kept_comes_back_by_kind_and_key(tmp_path: Path) -> None:
    store = Store(tmp_path / "new" / "folder")
    store.keep("solved", "ab12", b"value")
    assert store.fetch("solved", "ab12") == b"value"
    assert store.fetch("solved", "ab13") is None
    assert store.fetch("books", "ab12") is None


@pytest.mark.parametrize("content", [b"", b"rubbish", b"x" * 100])
def test_a_damaged_entry_is_as_good_as_none(tmp_path: Path, content: bytes) -> None:
    store = Store(tmp_path)
    store.keep("fonts", "ab12", b"value")
    (tmp_path / "fonts" / "ab" / "ab12").write_bytes(content)
    assert store.fetch("fonts", "ab12") is None
    store.keep("fonts", "ab12", b"value")
    assert store.fetch("fonts", "ab12") == b"value"


def test_a_linked_file_is_whole_and_stays_when_the_kept_one_goes(tmp_path: Path) -> None:
    store = Store(tmp_path / "store")
    target = tmp_path / "page.pdf"
    name = store.keep_file("sheets", b"%PDF")
    assert name == store.keep_file("sheets", b"%PDF")
    target.write_bytes(b"older")
    assert store.link("sheets", name, target)
    assert store.clear() == StoreSize(1, 4)
    assert target.read_bytes() == b"%PDF"
    assert not store.link("sheets", name, target)
    store.keep_file("sheets", b"%PDF")
    (tmp_path / "store" / "sheets" / name[:2] / name).write_bytes(b"%PD")
    assert not store.link("sheets", name, tmp_path / "other.pdf")


def test_the_least_recently_used_go_first_whatever_their_kind(tmp_path: Path) -> None:
    store = Store(tmp_path, limit_bytes=2500)
    kept: list[tuple[Kind, str]] = [("solved", "aa1"), ("books", "bb2"), ("fonts", "cc3")]
    for at, (kind, name) in enumerate([*kept, ("pieces", "dd4")]):
        store.keep(kind, name, b"x" * 1000)
        os.utime(tmp_path / kind / name[:2] / name, (at, at))
    assert store.fetch("solved", "aa1") is not None  # used just now
    store.trim()
    left = [path.name for path in tmp_path.rglob("*") if path.is_file()]
    assert sorted(left) == ["aa1", "dd4"]
    assert store.size().size_bytes <= 2500


def test_files_of_an_earlier_form_are_counted_and_go_first(tmp_path: Path) -> None:
    store = Store(tmp_path, limit_bytes=50)
    for name in ("sheets/ef.pdf", "C059-1-1.font", "ab/ab12"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x" * 100)
        os.utime(tmp_path / name, (1, 1))
    store.keep("solved", "ab12", b"value")
    assert store.size().files == 4
    store.trim()
    assert store.size() == store.size("solved") == StoreSize(1, 37)


def keep_often(folder: Path, letter: bytes) -> None:
    """Keep, fetch and trim without rest, as one of two runs."""
    store = Store(folder, limit_bytes=40_000)
    for at in range(60):
        store.keep("solved", f"a{at % 10}", letter * 5000)
        found = store.fetch("solved", f"a{at % 7}")
        assert found is None or found in (b"a" * 5000, b"b" * 5000)
        name = store.keep_file("sheets", b"sheet" * 100)
        target = folder.parent / f"{letter.decode()}.pdf"
        if store.link("sheets", name, target):
            assert target.read_bytes() == b"sheet" * 100
        store.trim()


def test_two_runs_at_once_find_whole_entries_or_none(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    runs = [
        context.Process(target=keep_often, args=(tmp_path / "store", letter))
        for letter in (b"a", b"b")
    ]
    for run in runs:
        run.start()
    for run in runs:
        run.join(60)
    assert [run.exitcode for run in runs] == [0, 0]
    assert list(tmp_path.rglob(".tunebook-*")) == []


def test_what_is_not_to_be_kept_leaves_no_trace(tmp_path: Path) -> None:
    NO_STORE.keep("solved", "ab12", b"value")
    name = NO_STORE.keep_file("sheets", b"%PDF")
    assert NO_STORE.fetch("solved", "ab12") is None
    assert not NO_STORE.link("sheets", name, tmp_path / "a.pdf")
    NO_STORE.trim()
    assert NO_STORE.clear() == NO_STORE.size() == StoreSize(0, 0)
    assert default_store(is_wanted=False) is NO_STORE


def test_a_folder_that_cannot_be_written_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    store = Store(tmp_path / "file" / "store")
    store.keep("solved", "ab12", b"value")
    assert store.fetch("solved", "ab12") is None
    store.trim()
    assert store.clear() == StoreSize(0, 0)


@pytest.mark.skipif(os.name == "nt", reason="a variable of free desktops")
def test_the_folder_follows_the_base_directories(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # XDG Base Directory Specification 0.8: an absolute XDG_CACHE_HOME, else ~/.cache; a relative
    # path is invalid and passed over.
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "tunebook"
    assert default_store().folder == tmp_path / "tunebook" / "engraved"
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert cache_folder().is_relative_to(tmp_path / "home")


def test_a_key_depends_on_every_part_and_its_kind() -> None:
    keys = {key_of(*parts) for parts in (("a", "b"), ("ab",), ("a", "", "b"), ("b",), (b"b",))}
    assert len(keys) == 5
