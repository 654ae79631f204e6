"""One tune that cannot be written costs no other tune its file."""

from __future__ import annotations

from pathlib import Path

import pytest

import tunebook.write.musicxml.score as score
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.load import prepare

GRACE_ONLY = "X:1\nT:Only a grace note\nL:1/8\nM:3/4\nK:D\n{d}|\n\n"
GOOD = "X:2\nT:Good\nM:3/4\nL:1/4\nK:D\nD F A|d3|]\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / "a.abc").write_text(GRACE_ONLY + GOOD, encoding="utf-8")
    return tmp_path / "tunes"


def test_a_tune_in_which_nothing_takes_time_is_written_as_source(folder: Path) -> None:
    report = export_folder(prepare(folder), ExportOrder("ly", folder.parent / "out", jobs=1))
    assert report.file_count == 2 and not report.left_out


def test_a_fault_in_writing_leaves_out_that_tune_alone(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = score.tune_as_musicxml

    def fail(one):  # type: ignore[no-untyped-def]
        if one.tune.number == "1":
            raise IndexError("of our own making")
        return plain(one)

    monkeypatch.setattr(score, "tune_as_musicxml", fail)
    report = export_folder(prepare(folder), ExportOrder("musicxml", folder.parent / "out", jobs=1))
    assert (report.tune_count, report.file_count) == (1, 1)
    (left_out,) = report.left_out
    assert "'Only a grace note' could not be written (IndexError: of our own making)" in str(
        left_out
    )
