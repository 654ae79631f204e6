"""Pieces engraved together are the same as engraved by themselves."""

from __future__ import annotations

import errno
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pikepdf
import pytest
from small_pieces import DEADLY, ENDLESS, HEAD, NO_SUCH_COMMAND, OPENING, piece

from tunebook.engrave import batches as engrave_batches
from tunebook.engrave.batches import alike, joined, told_apart
from tunebook.engrave.engrave import engrave
from tunebook.model.piece import Piece
from tunebook.pipeline.load import Wishes, load, prepare
from tunebook.pipeline.sources import source_of_tune

SAMPLES = Path(__file__).parents[2] / "sample_tunes"


@pytest.fixture(scope="module")
def tunes() -> dict[str, Piece]:
    setup = prepare(SAMPLES, Wishes(edition="player"))
    first = load(setup, is_ordered=False).tunes[:5]
    made = [source_of_tune(tune, tune.title, setup, None) for tune in first]
    return {one.identity: one.piece for one in made if one.piece is not None}


def text_of(pdf: Path, page: int) -> bytes:
    with pikepdf.open(pdf) as document:
        content = document.pages[page].Contents.read_bytes()
    # The letters of a subset are numbered anew in each file; the lines are not.
    return b"\n".join(line for line in content.splitlines() if line.endswith((b" f", b" S", b" l")))


def test_tunes_can_be_set_in_one_file(tunes):
    assert all(one.opening is not None for one in tunes.values())
    assert alike(tunes) == [list(tunes)] and len(tunes) == 5


def test_tunes_set_together_look_as_when_set_alone(tunes, tmp_path, monkeypatch):
    (tmp_path / "together").mkdir()
    (tmp_path / "alone").mkdir()
    together, failures = engrave(tunes, work_folder=tmp_path / "together")
    assert failures == [] and len({one.pdf for one in together}) < len(together)
    # As if the common file had failed: each piece is engraved once more as a file of its own.
    monkeypatch.setattr(engrave_batches, "run_gathered", lambda *_: False)
    alone, _ = engrave(tunes, work_folder=tmp_path / "alone")
    assert len({one.pdf for one in alone}) == len(alone)
    for one, other in zip(together, alone, strict=True):
        assert len(one.systems) == len(other.systems)
        for first, second in zip(one.systems, other.systems, strict=True):
            assert first.bar_count == second.bar_count
            assert first.height_pt == pytest.approx(second.height_pt, abs=0.01)
            assert first.bottom_pt == pytest.approx(second.bottom_pt, abs=0.01)
            assert first.width_pt == pytest.approx(second.width_pt, abs=0.01)
            assert text_of(one.pdf, first.page_index) == text_of(other.pdf, second.page_index)
        assert one.opening is not None and other.opening is not None
        assert one.opening.width_pt == pytest.approx(other.opening.width_pt, abs=0.01)


def test_pieces_with_other_settings_are_not_set_together():
    small = replace(piece("c''1"), preamble=HEAD.replace("size 16", "size 14"))
    pieces = {"a": piece("c''1"), "b": small, "c": piece("d''1", OPENING), "d": small}
    assert alike(pieces) == [["a", "c"], ["b", "d"]]


def test_openings_on_other_paper_are_not_set_together():
    narrow = replace(OPENING, head=OPENING.head.replace("ragged-right", "ragged-last"))
    pieces = {"a": piece("c''1", OPENING), "b": piece("c''1", narrow), "c": piece("d''1")}
    assert alike(pieces) == [["a", "c"], ["b"]]


def test_words_that_look_like_a_layout_block_stay_words():
    word = "c''1 ^ \"\\\\layout { }\""
    text = joined([piece(word), piece("d''1")])
    assert word in text
    assert text.count("piece = ") == 2


def test_texts_of_a_piece_hold_all_of_it_its_music_or_its_opening():
    one = piece("c''1", OPENING, bars=(4, 3))
    first = "% bars in each line: 4 3\n" + HEAD
    assert one.music_text == first + one.score.text()
    assert one.text == one.music_text + OPENING.book(OPENING.score.text())
    assert one.opening_text == first + OPENING.head + OPENING.score.text() + "}\n"
    assert "bookOutputSuffix" in one.text and "bookOutputSuffix" not in one.opening_text
    bare = replace(one, opening=None)
    assert bare.text == bare.music_text == one.music_text and bare.opening_text == ""


def test_systems_come_back_to_the_piece_they_belong_to(tmp_path):
    wanted = {
        "one": piece("c''1", OPENING),
        "three": piece("c''1 \\break c''1 \\break c''1", bars=(1, 1, 1)),
        "two": piece("d''1 \\break d''1", OPENING, bars=(1, 1)),
    }
    pieces, failures = engrave(wanted, work_folder=tmp_path)
    assert failures == []
    assert [len(one.systems) for one in pieces] == [1, 3, 2]
    assert [one.opening is not None for one in pieces] == [True, False, True]
    pages = [system.page_index for one in pieces for system in one.systems]
    assert sorted(pages) == list(range(6))


@pytest.mark.parametrize(
    ("fault", "reason", "timeout_s"),
    [
        (NO_SUCH_COMMAND, "noSuchThing", 60),
        (ENDLESS, "took longer than 5 s", 5),
        (DEADLY, "SIGKILL", 60),
    ],
)
def test_faulty_piece_among_others_is_named_and_the_rest_goes_on(
    tmp_path, fault, reason, timeout_s
):
    wanted = {"first": piece("c''1"), "wrong": piece(fault), "last": piece("d''1")}
    pieces, failures = engrave(wanted, work_folder=tmp_path, timeout_s=timeout_s)
    assert [one.identity for one in pieces] == ["first", "last"]
    assert [one.identity for one in failures] == ["wrong"]
    assert reason in failures[0].reason and "\n" not in failures[0].reason


def test_boxes_of_a_file_are_told_apart_by_piece():
    text = "page 1 2 3\nsystem 0 1 2 3 4 1\nsystem 0 1 2 3 5 0\nsystem 0 1 2 3 6 1\n"
    assert told_apart(text) == {
        1: "page 1 2 3\nsystem 0 1 2 3 4 0\nsystem 0 1 2 3 6 2\n",
        0: "page 1 2 3\nsystem 0 1 2 3 5 1\n",
    }
    with pytest.raises(ValueError):
        told_apart("system 0 1 2 3 4 1\n")
    with pytest.raises(IndexError):
        told_apart("page 1 2 3\nsystem 0 1\n")


def test_a_full_disk_is_said_at_once_and_no_piece_is_tried_again(tmp_path, monkeypatch):
    def tried_again(*_):
        raise AssertionError("the pieces were tried one by one")

    full = SimpleNamespace(total=10**9, used=10**9, free=4096)
    monkeypatch.setattr(engrave_batches, "run_gathered", lambda *_: False)
    monkeypatch.setattr(engrave_batches, "run_engraver", tried_again)
    monkeypatch.setattr("shutil.disk_usage", lambda _: full)
    wanted = {"one": piece("c''1"), "two": piece("d''1")}
    with pytest.raises(OSError) as caught:
        engrave(wanted, work_folder=tmp_path)
    assert caught.value.errno == errno.ENOSPC
    assert str(tmp_path) in str(caught.value.filename)
