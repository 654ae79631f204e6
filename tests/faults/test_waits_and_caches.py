"""Nothing outside is waited for without end, and the cache removes and keeps what it says."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest

from tunebook.book.fonts.files import text_font
from tunebook.book.pages import plots
from tunebook.engrave.program import find_lilypond
from tunebook.errors import ProgramError
from tunebook.pipeline import workers
from tunebook.programs import answer_of
from tunebook.store import Kind, Store, cache_folder

Run = Callable[..., tuple[int, str, str]]
on_linux = pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux only")


def sleeper(path: Path) -> Path:
    """A program that never answers, nor does the child it starts."""
    path.write_text(f'#!/bin/sh\nsleep 600 &\necho $! > "{path}.child"\nwait\n')
    path.chmod(0o755)
    return path


def has_ended(number: int) -> bool:
    """Whether the process is gone, or only waits for its parent to ask how it ended."""
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except OSError:
        return True


@on_linux
def test_a_program_that_does_not_answer_is_ended_with_its_children(tmp_path: Path) -> None:
    program = sleeper(tmp_path / "program")
    with pytest.raises(TimeoutError, match=r"no answer after 0\.5 s"):
        answer_of([str(program)], 0.5)
    child = int(Path(f"{program}.child").read_text())
    for _ in range(100):
        if has_ended(child):
            break
        time.sleep(0.02)
    assert has_ended(child)


@on_linux
def test_an_engraver_or_a_list_of_fonts_that_hangs_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("lilypond", "fc-list"):
        sleeper(tmp_path / name)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setitem(sys.modules, "lilypond", None)
    monkeypatch.setattr("tunebook.engrave.program._VERSION_TIMEOUT_S", 0.3)
    find_lilypond.cache_clear()
    with pytest.raises(ProgramError, match=r"does not run \(no answer after 0\.3 s\); "):
        find_lilypond()
    find_lilypond.cache_clear()
    monkeypatch.setattr(plots, "_FONT_LIST_TIMEOUT_S", 0.3)
    plots.check_font_list.cache_clear()
    with pytest.raises(ProgramError, match="fonts of this machine cannot be listed"):
        plots.check_font_list()
    plots.check_font_list.cache_clear()


def stopping_at(number: int, stopped: int) -> int:
    """``number``, but the worker that is given ``stopped`` stops itself."""
    if number == stopped:
        os.kill(os.getpid(), signal.SIGSTOP)
    return number


@on_linux
def test_a_worker_that_was_stopped_is_not_waited_for_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(workers, "LONGEST_WAIT_S", 2)
    work = [(number, 5) for number in range(12)]
    with pytest.raises(ProgramError, match="has not answered for 2 s; "):
        list(workers.map_on_cores(stopping_at, work, jobs=2))
    for process in multiprocessing.active_children():
        process.join(5.0)
    assert multiprocessing.active_children() == []


@on_linux
def test_a_worker_that_is_stopped_when_all_is_done_is_not_waited_for_either(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    results = []
    for result in workers.map_on_cores(stopping_at, [(at, -1) for at in range(12)], jobs=2):
        results.append(result)
        if len(results) == 12:
            for process in multiprocessing.active_children():
                os.kill(process.pid or 0, signal.SIGSTOP)
    assert results == list(range(12))
    for process in multiprocessing.active_children():
        process.join(5.0)
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero")])
def test_a_pipe_or_device_as_an_entry_of_the_cache_is_as_good_as_none(
    tmp_path: Path, make: Callable[[Path], None]
) -> None:
    store = Store(tmp_path)
    store.keep("solved", "ab12", b"an answer")
    (entry,) = (path for path in tmp_path.rglob("*") if path.is_file())
    entry.unlink()
    make(entry)
    assert store.fetch("solved", "ab12") is None
    assert not store.link("solved", "ab12", tmp_path / "linked")
    store.keep("solved", "ab12", b"an answer")
    assert store.fetch("solved", "ab12") == b"an answer"


def test_a_pipe_as_a_kept_font_is_as_good_as_none(tmp_path: Path) -> None:
    store = Store(tmp_path)
    found = text_font("serif", store)
    (font,) = (path for path in tmp_path.rglob("*") if path.is_file())
    font.unlink()
    os.mkfifo(font)
    assert text_font("serif", store) == found
    assert font.is_file()


def filled(folder: Path) -> list[Path]:
    """Every kind of thing kept, three of an earlier form, and two files of somebody else."""
    store = Store(folder)
    for kind in get_args(Kind):
        store.keep(kind, "ab12", b"an answer")
    earlier = [folder / "cd" / "cd34", folder / "sheets" / "ef.pdf", folder / "C059-1-1.font"]
    foreign = [folder / "letters" / "ab" / "mine.txt", folder / "solved" / "mine.txt"]
    for path in (*earlier, *foreign):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"kept")
    return [path for path in folder.rglob("*") if path.is_file()]


@pytest.mark.parametrize("is_link", [False, True])
def test_clearing_removes_what_was_kept_and_nothing_else(
    place: Path, run: Run, is_link: bool
) -> None:
    folder = cache_folder() / "engraved"
    real = place / "elsewhere" if is_link else folder
    real.mkdir(parents=True)
    if is_link:
        folder.parent.mkdir(parents=True)
        folder.symlink_to(real)
    assert len(filled(real)) == len(get_args(Kind)) + 5
    code, output, _ = run("cache", "clear")
    assert code == 0 and output.strip().endswith("removed")
    assert [path.name for path in real.rglob("*") if path.is_file()] == ["mine.txt"] * 2
    assert folder.is_symlink() == is_link
    assert Store(folder).size().files == 0


def test_what_could_not_be_removed_is_not_said_to_be(tmp_path: Path) -> None:
    store = Store(tmp_path)
    filled(tmp_path)
    kept = tmp_path / "cd" / "cd34"
    before = Path.unlink

    def unlink(path: Path, missing_ok: bool = False) -> None:
        if path == kept:
            raise PermissionError(13, "Permission denied")
        before(path, missing_ok)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "unlink", unlink)
        assert store.clear().files == len(get_args(Kind)) + 2
    assert kept.is_file()
    assert store.clear().files == 1


def test_a_wrong_word_after_cache_is_one_line(run: Run) -> None:
    code, output, errors = run("cache", "bogus")
    assert (code, output) == (2, "")
    assert errors == "cache cannot 'bogus'; write show or clear\n"


def test_a_build_without_cache_keeps_nothing(place: Path, run: Run) -> None:
    assert run("build", "t", "-o", "x.pdf", "--no-cache", "--jobs", "1")[0] == 0
    assert not (place / "cache" / "tunebook").exists()
