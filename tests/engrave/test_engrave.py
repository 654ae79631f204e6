"""Engraving with the real program: boxes, openings, order, faulty pieces, the cache."""

from __future__ import annotations

import os
from pathlib import Path

import pikepdf
import pytest

from tunebook.engrave.engrave import engrave
from tunebook.engrave.kept_pieces import KeptPieces
from tunebook.engrave.process import RunLimits
from tunebook.engrave.settings import bar_counts_of, read_boxes
from tunebook.model.piece import EngravedFiles
from tunebook.store import Store, StoreSize

resource = pytest.importorskip("resource")

GOOD = """% bars in each line: 2 1
\\version "2.24.0"
#(set-global-staff-size 16)
\\header { tagline = ##f }
\\paper { indent = 0 left-margin = 18\\bp line-width = 300\\bp paper-width = 336\\bp }
\\score { { c''4 c'' c'' c'' c''1 \\break c''1 } \\layout { } }
"""
OPENING = """\\book {
  \\paper { is-opening = ##t ragged-right = ##t }
  \\bookOutputSuffix "opening"
  \\score { { c''1 } \\layout { } }
}
"""
WRONG = '\\version "2.24.0"\n\\score { { \\noSuchThing c4 } }\n'
ENDLESS = '\\version "2.24.0"\n#(let loop () (loop))\n{ c4 }\n'
GREEDY = '\\version "2.24.0"\n#(let loop ((l 0)) (loop (make-vector 100000 l)))\n{ c4 }\n'
DEADLY = '\\version "2.24.0"\n#(kill (getpid) SIGKILL)\n{ c4 }\n'


def other(number: int) -> str:
    return GOOD.replace("c''4 c''", "d''4 c''") + f"#(define number {number})\n"


def test_each_system_has_a_page_and_a_box(tmp_path):
    (piece,), failures = engrave({"a.abc:1": GOOD}, work_folder=tmp_path)
    assert failures == []
    assert piece.identity == "a.abc:1"
    assert [system.bar_count for system in piece.systems] == [2, 1]
    with pikepdf.open(piece.pdf) as pdf:
        assert len(pdf.pages) == 2
        page = [float(side) for side in pdf.pages[0].mediabox]
    for system in piece.systems:
        assert system.left_pt >= 0 and system.left_pt + system.width_pt <= page[2]
        assert system.bottom_pt >= 0 and system.bottom_pt + system.height_pt <= page[3]
        assert system.left_pt + system.staff_indent_pt == pytest.approx(18, abs=0.1)
        assert 300 < system.width_pt < 320
        assert 20 < system.height_pt < 80


def test_opening_comes_as_a_file_of_its_own(tmp_path):
    pieces, _ = engrave({"with": GOOD + OPENING, "without": GOOD}, work_folder=tmp_path)
    assert pieces[0].opening is not None and pieces[0].opening_pdf is not None
    assert pieces[0].opening.width_pt < 150
    assert len(pieces[0].systems) == 2
    assert pieces[1].opening is None and pieces[1].opening_pdf is None


def test_nothing_asked_needs_no_program(tmp_path):
    assert engrave({}, work_folder=tmp_path) == ([], [])


def test_results_come_in_the_order_of_the_request(tmp_path):
    names = [f"tune {number}" for number in (3, 1, 2, 0)]
    pieces, _ = engrave({name: other(len(name)) for name in names}, work_folder=tmp_path, jobs=2)
    assert [piece.identity for piece in pieces] == names


def test_equal_sources_are_engraved_once(tmp_path):
    pieces, _ = engrave({"a": GOOD, "b": GOOD}, work_folder=tmp_path)
    assert [piece.identity for piece in pieces] == ["a", "b"]
    assert pieces[0].pdf == pieces[1].pdf


def test_wrong_piece_is_named_and_the_rest_goes_on(tmp_path):
    sources = {"first": other(1), "wrong": WRONG, "last": other(2)}
    pieces, failures = engrave(sources, work_folder=tmp_path)
    assert [piece.identity for piece in pieces] == ["first", "last"]
    assert [failure.identity for failure in failures] == ["wrong"]
    assert "noSuchThing" in failures[0].reason
    assert "\n" not in failures[0].reason


def test_hanging_piece_is_named_and_the_rest_goes_on(tmp_path):
    sources = {"first": other(1), "endless": ENDLESS, "last": other(2)}
    pieces, failures = engrave(sources, work_folder=tmp_path, timeout_s=4)
    assert [piece.identity for piece in pieces] == ["first", "last"]
    assert [(one.identity, one.reason) for one in failures] == [("endless", "took longer than 4 s")]


def test_piece_that_kills_the_program_is_named_and_the_rest_goes_on(tmp_path):
    sources = {"first": other(1), "deadly": DEADLY, "last": other(2)}
    pieces, failures = engrave(sources, work_folder=tmp_path)
    assert [piece.identity for piece in pieces] == ["first", "last"]
    assert [failure.identity for failure in failures] == ["deadly"]
    assert "SIGKILL" in failures[0].reason


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="memory cannot be limited here")
def test_piece_that_eats_all_memory_does_not_stop_the_rest(tmp_path, monkeypatch):
    # What becomes of the greedy piece is the memory manager's affair: an error or a crash.
    def tight(timeout_s):
        return RunLimits(timeout_s, memory_bytes=500 * 1024**2)

    monkeypatch.setattr("tunebook.engrave.engrave.RunLimits", tight)
    sources = {"first": other(1), "greedy": GREEDY, "last": other(2)}
    pieces, failures = engrave(sources, work_folder=tmp_path, timeout_s=30)
    names = [piece.identity for piece in pieces]
    assert "first" in names and "last" in names
    assert {failure.identity for failure in failures} <= {"greedy"}


def test_progress_counts_every_piece_once(tmp_path):
    seen = []
    sources = {"first": other(1), "wrong": WRONG, "last": other(2)}
    engrave(sources, work_folder=tmp_path, on_progress=lambda *what: seen.append(what))
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
    (before,), _ = engrave({"a": GOOD + OPENING}, work_folder=first, store=store)
    no_program()
    (after,), _ = engrave({"b": GOOD + OPENING}, work_folder=second, store=store)
    assert after.identity == "b"
    assert after.systems == before.systems and after.opening == before.opening
    assert after.pdf.parent == second
    assert after.pdf.read_bytes() == before.pdf.read_bytes()


def test_changed_source_is_engraved_again(tmp_path):
    first, second = folders(tmp_path, 2)
    store = Store(tmp_path / "cache")
    engrave({"a": GOOD}, work_folder=first, store=store)
    engrave({"a": GOOD.replace("c''1 }", "d''1 }")}, work_folder=second, store=store)
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
    (piece,), failures = engrave({"a": GOOD}, work_folder=second, store=store)
    assert failures == [] and len(piece.systems) == 2
    assert piece.systems == before.systems
    assert KeptPieces(store, first).fetch(entry.name) is not None


def test_failed_piece_is_not_kept(tmp_path):
    store = Store(tmp_path / "cache")
    engrave({"wrong": WRONG}, work_folder=folders(tmp_path, 1)[0], store=store)
    assert store.size().files == 0


def test_cache_that_cannot_be_written_does_no_harm(tmp_path):
    blocked = tmp_path / "cache"
    blocked.write_text("a file where the folder should be")
    (work,) = folders(tmp_path, 1)
    (piece,), failures = engrave({"a": GOOD}, work_folder=work, store=Store(blocked))
    assert failures == [] and piece.pdf.is_file()


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


def test_bar_counts_are_read_from_the_first_line_only():
    assert bar_counts_of(GOOD) == (2, 1)
    assert bar_counts_of("\n" + GOOD) == ()


def test_boxes_that_are_cut_short_are_refused():
    with pytest.raises(ValueError):
        read_boxes("")
    with pytest.raises(ValueError):
        read_boxes("page 100 200 5\nsystem 0 90 -1\n")
