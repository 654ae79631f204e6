"""What other systems have or lack: workers that are not forked, missing calls, names of files,
line ends, an output that a viewer holds open, a disk without links."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

from tunebook.errors import OutputError
from tunebook.files import write_whole
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.load import load, prepare
from tunebook.pipeline.order import order_tunes
from tunebook.read.abc.tune import read_abc
from tunebook.write.file_names import distinct_names, safe_name, tune_file_names

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
TUNE = "X:{0}\nT:Tune {0}\nR:vals\nM:3/4\nL:1/8\nK:D\n|:A2 d2 {1} f2|g2 f2 e2|A2 c2 e2|d6:|\n\n"
# Goes before everything in each process, workers too: calls that only some systems have.
TAKEN_AWAY = """
import ctypes, os, signal, sys
for module, names in ((os, ("fork", "forkpty", "killpg", "setsid", "sched_getaffinity")),
                      (signal, ("pthread_sigmask",))):
    for name in names:
        if hasattr(module, name):
            delattr(module, name)
sys.modules["resource"] = None
class NoLibrary:
    def __init__(self, name, *rest, **named):
        if name is None:
            raise OSError("no such library")
        raise AssertionError(name)
ctypes.CDLL = NoLibrary
"""
BUILD = """
from tunebook.pipeline import workers
print("forks:", workers.can_fork())
from tunebook.cli.entry import main
main()
"""


def folder_of(tmp_path: Path, files: dict[str, str | bytes]) -> Path:
    folder = tmp_path / "tunes"
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return folder


def tune(number: int = 1, note: str = "") -> str:
    return TUNE.format(number, note)


def test_a_book_is_built_by_started_workers_without_what_only_some_systems_have(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None]
) -> None:
    keep_fonts_in(tmp_path / "cache")
    notes = ("a2", "b2", "e2", "g2", "[df]2", "c2", "B2", "A2")
    folder_of(tmp_path, {"a.abc": "".join(tune(n + 1, note) for n, note in enumerate(notes))})
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "sitecustomize.py").write_text(TAKEN_AWAY)
    # A blank and brackets as in "C:\\Users\\Anna (work)\\Temp".
    temporary = tmp_path / "Anna (work); #1"
    temporary.mkdir()
    environment = {
        **os.environ, "PYTHONPATH": str(tmp_path / "site"), "TMPDIR": str(temporary),
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", BUILD, "build", "tunes", "-o", "book.pdf", "--jobs", "2"],
        capture_output=True, text=True, cwd=tmp_path, check=False, timeout=180, env=environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "forks: False" in done.stdout
    with pikepdf.open(tmp_path / "book.pdf") as book:
        assert len(book.pages) > 3
    assert "8 tunes" in done.stdout and "0 tunes left out" in done.stdout
    assert [path.name for path in temporary.iterdir() if path.name.startswith("tunebook")] == []


# Microsoft, "Naming Files, Paths, and Namespaces" (learn.microsoft.com), section on conventions.
RESERVED = ("con", "PRN", "aux", "Nul", "com1", "COM9", "lpt1", "LPT¹")


@pytest.mark.parametrize("name", RESERVED)
def test_no_file_bears_the_name_of_a_device(tmp_path: Path, name: str) -> None:
    for ending in ("abc", "x.abc"):
        folder = folder_of(tmp_path, {f"{name}.{ending}": tune()})
        setup = prepare(folder)
        report = export_folder(setup, ExportOrder("abc", tmp_path / "out"))
        assert report.tune_count == 1
        assert (tmp_path / "out" / f"_{name}.{ending}").is_file()
        shutil.rmtree(folder)
    first = read_abc(tune(), f"{name}.x.abc")[0]
    assert tune_file_names([first], "mid")[0].startswith("_")
    assert safe_name(f"{name}.pdf") == f"_{name}.pdf"
    assert safe_name(f"{name}cert.pdf") == f"{name}cert.pdf"


def test_names_that_differ_only_in_capitals_become_two_files(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, {"Vals.abc": tune(1), "vals.abc": tune(1, "a2")})
    out = tmp_path / "out"
    export_folder(prepare(folder), ExportOrder("abc", out))
    assert sorted(path.name.casefold() for path in out.iterdir()) == ["vals-2.abc", "vals.abc"]
    assert distinct_names(("Åå/x.abc", unicodedata.normalize("NFD", "åå/X.abc"))) == (
        "Åå/x.abc",
        unicodedata.normalize("NFD", "åå/X-2.abc"),
    )


@pytest.mark.parametrize("name", ["sub/polskor.abc:1", r"sub\\polskor.abc:1"])
def test_settings_may_part_folders_as_windows_does(tmp_path: Path, name: str) -> None:
    settings = (
        f'[[set]]\ntitle = "One"\ntunes = ["{name}"]\n[tune."{name}"]\ntempo = 77\n'
        '[instrument]\nprofile = "own\\\\my.toml"\n'
    )
    profile = (SAMPLES.parent / "tunebook/data/instruments/fiddle.toml").read_text("utf-8")
    folder = folder_of(
        tmp_path, {"sub/polskor.abc": tune(), "tunes.toml": settings, "own/my.toml": profile}
    )
    setup = prepare(folder)
    assert setup.messages == ()
    sections, messages = order_tunes(load(setup, is_ordered=False).tunes, setup.book, setup.edition)
    assert messages == ()
    assert [section.title for section in sections] == ["One"]
    choice = setup.book.choice("sub/polskor.abc:1")
    assert choice is not None and choice.tempo == 77


def test_a_profile_on_another_drive_is_refused_in_one_line(tmp_path: Path) -> None:
    settings = "[instrument]\nprofile = 'D:\\harpor\\my.toml'\n"
    folder = folder_of(tmp_path, {"a.abc": tune(), "tunes.toml": settings})
    with pytest.raises(Exception, match=r"my\.toml") as raised:
        prepare(folder)
    assert type(raised.value).__name__ == "SettingError"
    assert "\n" not in str(raised.value)


def test_names_of_files_may_come_decomposed(tmp_path: Path) -> None:
    # macOS gives names of files with their letters taken apart; people type them composed.
    composed = "gånglåtar.abc"
    folder = folder_of(
        tmp_path,
        {
            unicodedata.normalize("NFD", composed): tune(),
            "tunes.toml": f'[[set]]\ntitle = "One"\ntunes = ["{composed}:1"]\n',
        },
    )
    setup = prepare(folder)
    sections, messages = order_tunes(load(setup, is_ordered=False).tunes, setup.book, setup.edition)
    assert messages == () and [section.title for section in sections] == ["One"]


@pytest.mark.parametrize("line_end", ["\r\n", "\r"])
def test_line_ends_of_other_systems_change_nothing(tmp_path: Path, line_end: str) -> None:
    profile = (SAMPLES.parent / "tunebook/data/instruments/nyckelharpa-3row.toml").read_text(
        "utf-8"
    )
    settings = (
        'title = "Tio"\n[instrument]\nprofile = "my.toml"\n[tune."polskor.abc:1"]\ntempo = 99\n'
    )
    files = {
        "polskor.abc": (SAMPLES / "polskor.abc").read_text("utf-8"),
        "tunes.toml": settings,
        "my.toml": profile,
    }
    plain = prepare(folder_of(tmp_path / "plain", files))
    # Old editors for Windows put a byte-order mark before the text, too.
    changed = {name: ("\ufeff" + text).replace("\n", line_end) for name, text in files.items()}
    if line_end == "\r":  # TOML 1.0.0 knows no such line end.
        changed["tunes.toml"], changed["my.toml"] = files["tunes.toml"], files["my.toml"]
    other = prepare(folder_of(tmp_path / "other", changed))
    assert other.messages == plain.messages == ()
    assert other.instrument == plain.instrument
    assert [one.tempo for one in other.book.choices] == [99]
    ours, theirs = (load(one, is_ordered=False) for one in (plain, other))
    assert [replace(one, messages=()) for one in theirs.tunes] == [
        replace(one, messages=()) for one in ours.tunes
    ]
    assert theirs.messages == ours.messages
    export_folder(other, ExportOrder("abc", tmp_path / "out"))
    written = (tmp_path / "out" / "polskor.abc").read_bytes().decode("utf-8")
    assert written.startswith("\ufeff") and "!1!" in written
    assert written.count(line_end) == changed["polskor.abc"].count(line_end)


def test_an_output_that_a_viewer_holds_open_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book.pdf"
    book.write_bytes(b"old")

    def held_open(source: object, target: object) -> None:
        # What Windows answers when another program has the file open.
        raise PermissionError(13, "Access is denied")

    monkeypatch.setattr(os, "replace", held_open)
    with pytest.raises(OutputError, match="close") as raised:
        write_whole(book, b"new")
    assert str(raised.value) == (
        f"{book}: cannot be replaced (Access is denied); close it where it is open, as in a PDF "
        "viewer, or choose another place"
    )
    assert book.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["book.pdf"]


def test_a_disk_without_links_takes_new_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(source: object, target: object) -> None:
        # FAT and exFAT, as on memory sticks, have no hard links.
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    write_whole(tmp_path / "tunes.toml", b"title", may_overwrite=False)
    assert (tmp_path / "tunes.toml").read_bytes() == b"title"
    with pytest.raises(OutputError):
        write_whole(tmp_path / "tunes.toml", b"other", may_overwrite=False)
    assert (tmp_path / "tunes.toml").read_bytes() == b"title"
    assert [path.name for path in tmp_path.iterdir()] == ["tunes.toml"]
