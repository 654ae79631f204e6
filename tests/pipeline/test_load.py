"""The one way in: every file is read once, and its bytes are what everything is made of."""

from __future__ import annotations

import builtins
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from tunebook.cli.entry import command
from tunebook.errors import InputError
from tunebook.pipeline.load import Wishes, load, prepare, prepare_all, read_files

TUNE = "X:{0}\nT:Tune {0}\nM:3/4\nL:1/4\nK:D\nD F A|d3|]\n\n"
HEAVY = ("abjad", "fontTools", "matplotlib", "music21", "numpy", "pikepdf", "reportlab", "scipy")


@pytest.fixture
def folder(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> Path:
    keep_fonts_in(tmp_path / "cache")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t").mkdir()
    for number, name in enumerate(("a.abc", "b.abc"), start=1):
        (tmp_path / "t" / name).write_text(TUNE.format(number), "utf-8")
    (tmp_path / "t" / "tunes.toml").write_text('[[set]]\ntitle = "S"\ntunes = ["b.abc:2"]\n')
    return tmp_path / "t"


@pytest.fixture
def times_opened(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each file of the folder is opened, by its name."""
    counted: Counter[str] = Counter()

    def watched(opening: Callable[..., object]) -> Callable[..., object]:
        def open_and_count(file: object, *rest: object, **more: object) -> object:
            if isinstance(file, (str, Path)) and Path(file).absolute().parent == folder:
                counted[Path(file).name] += 1
            return opening(file, *rest, **more)

        return open_and_count

    monkeypatch.setattr(builtins, "open", watched(open))
    monkeypatch.setattr("io.open", builtins.open)
    return counted


@pytest.mark.parametrize(
    "line",
    [
        "build t -o book.pdf",
        "retune t --to CGCA -o book.pdf",
        "compare t --tunings CGDA,CGCA",
        "export t --to abc -o out",
        "check t",
    ],
)
def test_each_file_is_read_once(
    times_opened: Counter[str], monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    monkeypatch.setattr(sys, "argv", ["tunebook", *line.split(), "--jobs", "1"])
    assert command() in (None, 0)
    assert times_opened == {"a.abc": 1, "b.abc": 1, "tunes.toml": 1}


def test_an_unchanged_book_is_read_once_and_fetched_without_what_makes_one(folder: Path) -> None:
    arguments = ["build", "t", "-o", "book.pdf"]
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    code = (
        "import sys\nfrom tunebook.cli.entry import command\ncommand()\n"
        f"print(*(name for name in {HEAVY} if name in sys.modules))"
    )
    printed = [
        subprocess.run(
            [sys.executable, "-c", code, *arguments],
            capture_output=True, text=True, check=True, cwd=folder.parent, env=environment,
        ).stdout.splitlines()
        for _ in range(2)
    ]  # fmt: skip
    assert "abjad" in printed[0][-1]
    # Without a hand to learn nothing of learning is loaded.
    assert "scipy" not in printed[0][-1]
    assert printed[1][-1] == ""
    assert printed[0][0].rpartition(",")[0] == printed[1][0].rpartition(",")[0]


def test_the_bytes_that_were_read_are_those_that_count(folder: Path) -> None:
    setup = prepare(folder)
    files = read_files(setup)
    (folder / "a.abc").write_text("no tune", "utf-8")
    assert [tune.title for tune in load(setup, files).tunes] == ["Tune 2", "Tune 1"]
    assert [tune.title for tune in load(setup).tunes] == ["Tune 2"]


def test_unordered_tunes_stand_as_in_the_files_those_left_out_among_them(folder: Path) -> None:
    with (folder / "tunes.toml").open("a", encoding="utf-8") as file:
        file.write('[tune."a.abc:1"]\nleave_out = true\n')
    setup = prepare(folder)
    assert [tune.title for tune in load(setup).tunes] == ["Tune 2"]
    assert [tune.title for tune in load(setup, is_ordered=False).tunes] == ["Tune 1", "Tune 2"]


def test_a_folder_of_which_nothing_can_be_used_is_refused_with_the_first_reason(
    folder: Path,
) -> None:
    (folder / "b.abc").unlink()
    (folder / "a.abc").write_text("X:1\nT:T\nDEF|\n", "utf-8")
    for order in ({}, {"is_ordered": False}, {"holds_music": False}):
        with pytest.raises(InputError, match=r"no tune could be used \(first reason: .*a\.abc:1"):
            load(prepare(folder), **order)


def test_all_files_of_the_folder_are_on_record_once_they_were_read(folder: Path) -> None:
    (folder / "c.abc").write_bytes(b"\0")
    before, after = prepare_all(folder, (Wishes(), Wishes(tuning="CGCA")))
    assert before.read is after.read
    read_files(after)
    names = ("a.abc", "b.abc", "c.abc", "tunes.toml")
    assert all(before.read.holds(folder / name) for name in names)
    assert (before.instrument.tuning_name, after.instrument.tuning_name) == ("CGDA", "CGCA")
