"""One tune that cannot be written costs no other tune its file."""

from __future__ import annotations

from pathlib import Path

import pytest

import tunebook.write.musicxml.score as score
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.load import load, prepare

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


@pytest.mark.parametrize("encoding", ["latin-1", "iso-8859-2", "utf-8"])
def test_exported_abc_is_in_utf_8_whatever_its_text_was(tmp_path: Path, encoding: str) -> None:
    head = f"%%abc-charset {encoding}\n" if encoding == "iso-8859-2" else ""
    music = "M:4/4\nL:1/8\nQ:1/4=96\nK:D\nDEFG A2d2|d8|]\n"
    text = f"{head}X:1\nT:Träsk\n{music}\nX:2\nT:Äng\n{music}".replace("\n", "\r\n")
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / "a.abc").write_bytes(text.encode(encoding))
    settings = '[tune."a.abc:2"]\nkey = "E"\n'
    (tmp_path / "tunes" / "tunes.toml").write_text(settings, encoding="utf-8")
    report = export_folder(prepare(tmp_path / "tunes"), ExportOrder("abc", tmp_path / "out"))
    written = (tmp_path / "out" / "a.abc").read_bytes().decode("utf-8")
    assert report.messages == () and "\\u00" not in written
    assert "T:Träsk\r\n" in written and "T:Äng\r\n" in written and "K:E\r\n" in written
    assert not head or written.startswith("%%abc-charset utf-8\r\n")
    assert [tune.title for tune in load(prepare(tmp_path / "out")).tunes] == ["Träsk", "Äng"]
