"""Pieces engraved together are the same as engraved by themselves."""

from __future__ import annotations

from pathlib import Path

import pikepdf
import pytest

from tunebook.engrave import batches as engrave_batches
from tunebook.engrave.batches import alike, joined, take_apart, told_apart
from tunebook.engrave.engrave import engrave
from tunebook.pipeline.load import Wishes, load, prepare
from tunebook.pipeline.sources import source_of_tune

SAMPLES = Path(__file__).parents[2] / "sample_tunes"

HEAD = """\\version "2.24.0"
#(set-global-staff-size 16)
\\header { tagline = ##f }
\\paper { indent = 0 left-margin = 18\\bp line-width = 300\\bp paper-width = 336\\bp }
"""
OPENING = """\\book {
  \\paper { is-opening = ##t ragged-right = ##t }
  \\bookOutputSuffix "opening"
  \\score {
    { c''1 }
    \\layout { }
  }
}
"""


def piece(music: str, opening: str = "", lines: str = "1") -> str:
    score = f"\\score {{\n  {{ {music} }}\n  \\layout {{ }}\n}}\n"
    return f"% bars in each line: {lines}\n{HEAD}{score}{opening}"


@pytest.fixture(scope="module")
def sources() -> dict[str, str]:
    setup = prepare(SAMPLES, Wishes(edition="player"))
    tunes = load(setup, is_ordered=False).tunes[:5]
    return {tune.title: source_of_tune(tune, tune.title, setup, None).text for tune in tunes}


def text_of(pdf: Path, page: int) -> bytes:
    with pikepdf.open(pdf) as document:
        content = document.pages[page].Contents.read_bytes()
    # The letters of a subset are numbered anew in each file; the lines are not.
    return b"\n".join(line for line in content.splitlines() if line.endswith((b" f", b" S", b" l")))


def test_source_of_a_tune_can_be_set_with_others(sources):
    parts = [take_apart(source) for source in sources.values()]
    assert all(one is not None and one.opening_score for one in parts)
    assert len(alike(dict(zip(sources, parts, strict=True)))) == 1


def test_tunes_set_together_look_as_when_set_alone(sources, tmp_path, monkeypatch):
    (tmp_path / "together").mkdir()
    (tmp_path / "alone").mkdir()
    together, failures = engrave(sources, work_folder=tmp_path / "together")
    assert failures == [] and len({one.pdf for one in together}) < len(together)
    monkeypatch.setattr(engrave_batches, "take_apart", lambda source: None)
    alone, _ = engrave(sources, work_folder=tmp_path / "alone")
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


@pytest.mark.parametrize(
    "source",
    [
        HEAD + "{ c4 }\n",
        HEAD + "\\score { { c4 } \\layout { } }\n",
        piece("c''1") + "#(define more 1)\n",
        piece("c''1", OPENING) + OPENING,
        piece("c''1").replace("\\layout { }", "\\layout { } \\midi { }"),
        piece("c''1").replace("  \\layout { }\n", ""),
    ],
)
def test_any_other_source_is_engraved_by_itself(source):
    assert take_apart(source) is None


def test_pieces_with_other_settings_are_not_set_together():
    small = piece("c''1").replace("size 16", "size 14")
    parts = {"a": piece("c''1"), "b": small, "c": piece("d''1", OPENING), "d": small}
    taken = {name: one for name in parts if (one := take_apart(parts[name])) is not None}
    assert alike(taken) == [["a", "c"], ["b", "d"]]


def test_words_that_look_like_a_layout_block_stay_words(tmp_path):
    word = "c''1 ^ \"\\\\layout { }\""
    parts = [take_apart(piece(word)), take_apart(piece("d''1"))]
    text = joined([one for one in parts if one is not None])
    assert word in text
    assert text.count("piece = ") == 2


def test_systems_come_back_to_the_piece_they_belong_to(tmp_path):
    sources = {
        "one": piece("c''1", OPENING),
        "three": piece("c''1 \\break c''1 \\break c''1", lines="1 1 1"),
        "two": piece("d''1 \\break d''1", OPENING, lines="1 1"),
    }
    pieces, failures = engrave(sources, work_folder=tmp_path)
    assert failures == []
    assert [len(one.systems) for one in pieces] == [1, 3, 2]
    assert [one.opening is not None for one in pieces] == [True, False, True]
    pages = [system.page_index for one in pieces for system in one.systems]
    assert sorted(pages) == list(range(6))


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ("\\noSuchThing c4", "noSuchThing"),
        ("#(let loop () (loop)) c4", "took longer than 4 s"),
        ("#(begin (kill (getpid) SIGKILL) 1) c4", "SIGKILL"),
    ],
)
def test_faulty_piece_among_others_is_named_and_the_rest_goes_on(tmp_path, fault, reason):
    sources = {"first": piece("c''1"), "wrong": piece(fault), "last": piece("d''1")}
    pieces, failures = engrave(sources, work_folder=tmp_path, timeout_s=4)
    assert [one.identity for one in pieces] == ["first", "last"]
    assert [one.identity for one in failures] == ["wrong"]
    assert reason in failures[0].reason


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
