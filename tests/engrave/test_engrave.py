"""Engraving with the real program: boxes, openings, order, faulty pieces, the cache."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from small_pieces import GREEDY, NO_SUCH_COMMAND, OPENING, piece

from tunebook.engrave.engrave import engrave
from tunebook.engrave.kept_pieces import KeptPieces
from tunebook.engrave.process import RunLimits
from tunebook.engrave.settings import read_boxes
from tunebook.model.piece import EngravedFiles, Piece
from tunebook.store import Store, StoreSize

resource = pytest.importorskip("resource")

GOOD = piece("c''4 c'' c'' c'' c''1 \\break c''1", bars=(2, 1))
WITH_OPENING = replace(GOOD, opening=OPENING)


def other(number: int) -> Piece:
    return piece("d''4 c'' c'' c'' c''1 \\break c''1 " + "c''1 " * number)


def test_each_system_has_a_page_and_a_box(tmp_path):
    (one,), failures = engrave({"a.abc:1": GOOD}, work_folder=tmp_path)
    assert failures == []
    assert one.identity == "a.abc:1"
    assert [system.bar_count for system in one.systems] == [2, 1]
    with pikepdf.open(one.pdf) as pdf:
        assert len(pdf.pages) == 2
        page = [float(side) for side in pdf.pages[0].mediabox]
    for system in one.systems:
        assert system.left_pt >= 0 and system.left_pt + system.width_pt <= page[2]
        assert system.bottom_pt >= 0 and system.bottom_pt + system.height_pt <= page[3]
        assert system.left_pt + system.staff_indent_pt == pytest.approx(18, abs=0.1)
        assert 300 < system.width_pt < 320
        assert 20 < system.height_pt < 80


def test_opening_comes_as_a_file_of_its_own(tmp_path):
    pieces, _ = engrave({"with": WITH_OPENING, "without": GOOD}, work_folder=tmp_path)
    assert pieces[0].opening is not None and pieces[0].opening_pdf is not None
    assert pieces[0].opening.width_pt < 150
    assert len(pieces[0].systems) == 2
    assert pieces[1].opening is None and pieces[1].opening_pdf is None


def test_nothing_asked_needs_no_program(tmp_path):
    assert engrave({}, work_folder=tmp_path) == ([], [])


def test_results_come_in_the_order_of_the_request(tmp_path):
    names = [f"tune {number}" for number in (3, 1, 2, 0)]
    pieces, _ = engrave({name: other(len(name)) for name in names}, work_folder=tmp_path, jobs=2)
    assert [one.identity for one in pieces] == names


def test_equal_sources_are_engraved_once(tmp_path):
    pieces, _ = engrave({"a": GOOD, "b": GOOD}, work_folder=tmp_path)
    assert [one.identity for one in pieces] == ["a", "b"]
    assert pieces[0].pdf == pieces[1].pdf


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="memory cannot be limited here")
def test_piece_that_eats_all_memory_does_not_stop_the_rest(tmp_path, monkeypatch):
    # What becomes of the greedy piece is the memory manager's affair: an error or a crash.
    def tight(timeout_s):
        return RunLimits(timeout_s, memory_bytes=500 * 1024**2)

    monkeypatch.setattr("tunebook.engrave.engrave.RunLimits", tight)
    wanted = {"first": other(1), "greedy": piece(GREEDY), "last": other(2)}
    pieces, failures = engrave(wanted, work_folder=tmp_path, timeout_s=30)
    names = [one.identity for one in pieces]
    assert "first" in names and "last" in names
    assert {failure.identity for failure in failures} <= {"greedy"}


def test_progress_counts_every_piece_once(tmp_path):
    seen = []
    wanted = {"first": other(1), "wrong": piece(NO_SUCH_COMMAND), "last": other(2)}
    engrave(wanted, work_folder=tmp_path, on_progress=lambda *what: seen.append(what))
    assert sorted(name for name, _, _ in seen) == ["first", "last", "wrong"]
    assert [done for _, done, _ in seen] == [1, 2, 3]
    assert {total for _, _, total in seen} == {3}


@pytest.fixture
def no_program(monkeypatch):
    """Any start of the program fails the test."""

    def refuse(*_args, **_options):
        raise AssertionError("LilyPond was started")

    def forbid():
        for name in ("run_engraver", "run_gathered"):
            monkeypatch.setattr(f"tunebook.engrave.batches.{name}", refuse)

    return forbid


def folders(tmp_path: Path, count: int) -> list[Path]:
    made = [tmp_path / f"work{number}" for number in range(count)]
    for folder in made:
        folder.mkdir()
    return made


def test_kept_piece_is_not_engraved_again(tmp_path, no_program):
    first, second = folders(tmp_path, 2)
    store = Store(tmp_path / "cache")
    (before,), _ = engrave({"a": WITH_OPENING}, work_folder=first, store=store)
    no_program()
    (after,), _ = engrave({"b": WITH_OPENING}, work_folder=second, store=store)
    assert after.identity == "b"
    assert after.systems == before.systems and after.opening == before.opening
    assert after.pdf.parent == second
    assert after.pdf.read_bytes() == before.pdf.read_bytes()


def test_changed_source_is_engraved_again(tmp_path):
    first, second = folders(tmp_path, 2)
    store = Store(tmp_path / "cache")
    engrave({"a": GOOD}, work_folder=first, store=store)
    engrave({"a": other(1)}, work_folder=second, store=store)
    assert store.size("pieces").files == 2


@pytest.mark.parametrize("damage", ["cut entry", "cut sheet", "no sheet", "empty"])
def test_damaged_entry_is_made_anew(tmp_path, damage):
    first, second = folders(tmp_path, 2)
    store = Store(tmp_path / "cache")
    (before,), _ = engrave({"a": GOOD}, work_folder=first, store=store)
    (entry,) = (tmp_path / "cache").glob("pieces/*/*")
    (sheet,) = (tmp_path / "cache").glob("sheets/*/*")
    if damage == "cut entry":
        entry.write_bytes(entry.read_bytes()[:-1])
    elif damage == "empty":
        entry.write_bytes(b"")
    else:
        content = sheet.read_bytes()
        sheet.unlink()
        if damage == "cut sheet":
            sheet.write_bytes(content[: len(content) // 2])
    (one,), failures = engrave({"a": GOOD}, work_folder=second, store=store)
    assert failures == [] and len(one.systems) == 2
    assert one.systems == before.systems
    assert KeptPieces(store, first).fetch(entry.name) is not None


def test_failed_piece_is_not_kept(tmp_path):
    store = Store(tmp_path / "cache")
    (work,) = folders(tmp_path, 1)
    engrave({"wrong": piece(NO_SUCH_COMMAND)}, work_folder=work, store=store)
    assert store.size().files == 0


def test_cache_that_cannot_be_written_does_no_harm(tmp_path):
    blocked = tmp_path / "cache"
    blocked.write_text("a file where the folder should be")
    (work,) = folders(tmp_path, 1)
    (one,), failures = engrave({"a": GOOD}, work_folder=work, store=Store(blocked))
    assert failures == [] and one.pdf.is_file()


def test_pages_that_pieces_share_are_kept_once_and_go_after_them(tmp_path):
    store = Store(tmp_path / "cache", limit_bytes=1500)
    (tmp_path / "work").mkdir()
    shared = tmp_path / "shared.pdf"
    shared.write_bytes(b"." * 1000)
    kept = KeptPieces(store, tmp_path / "work")
    for name in ("aa1", "bb2"):
        kept.keep(name, EngravedFiles(shared, "boxes " * 60))
    assert store.size("sheets") == StoreSize(1, 1000)
    later = KeptPieces(store, tmp_path / "work")
    os.utime(tmp_path / "cache" / "pieces" / "aa" / "aa1", (0, 0))
    store.trim()
    assert later.fetch("aa1") is None
    found = later.fetch("bb2")
    assert found is not None and found.pdf.read_bytes() == b"." * 1000
    assert store.clear().files == 2
    assert found.pdf.read_bytes() == b"." * 1000


def test_boxes_that_are_cut_short_are_refused():
    with pytest.raises(ValueError):
        read_boxes("")
    with pytest.raises(ValueError):
        read_boxes("page 100 200 5\nsystem 0 90 -1\n")
