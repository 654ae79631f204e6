"""Finding the engraving program, and ending it: missing, too old, broken, interrupted."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from tunebook.engrave import program as lilypond_program
from tunebook.engrave.program import clean_environment, find_lilypond
from tunebook.errors import EXIT_PROGRAM, ProgramError

needs_posix = pytest.mark.skipif(os.name != "posix", reason="needs a shell script as a program")


@pytest.fixture(autouse=True)
def _forget_program():
    find_lilypond.cache_clear()
    yield
    find_lilypond.cache_clear()


def make_program(folder: Path, text: str) -> Path:
    path = folder / "lilypond"
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def only_on_path(monkeypatch, folder: Path) -> None:
    monkeypatch.setitem(sys.modules, "lilypond", None)
    monkeypatch.setenv("PATH", str(folder))


def test_packaged_program_is_found():
    assert find_lilypond().version >= (2, 24, 0)


def test_missing_program_is_one_clear_line(monkeypatch, tmp_path):
    only_on_path(monkeypatch, tmp_path)
    with pytest.raises(ProgramError) as raised:
        find_lilypond()
    assert str(raised.value) == (
        f"LilyPond, which engraves the music, was not found; {lilypond_program.how_to_install()}"
    )
    assert raised.value.exit_code == EXIT_PROGRAM


@pytest.mark.parametrize(
    ("system", "machine", "there", "advice"),
    [
        ("linux", "x86_64", "apt-get", "install it with: pip install lilypond"),
        ("win32", "AMD64", "", "install it with: pip install lilypond"),
        ("darwin", "x86_64", "brew", "install it with: pip install lilypond"),
        ("darwin", "arm64", "brew", "install it with: brew install lilypond"),
        ("darwin", "arm64", "port", "install it with: sudo port install lilypond"),
        ("linux", "aarch64", "apt-get", "install it with: sudo apt-get install lilypond"),
        ("linux", "aarch64", "dnf", "install it with: sudo dnf install lilypond"),
        ("linux", "aarch64", "", "install it from https://lilypond.org/download.html"),
        ("win32", "ARM64", "", "install it from https://lilypond.org/download.html"),
    ],
)
def test_advice_fits_the_system(monkeypatch, system, machine, there, advice):
    # Names of packages in the systems' managers: from memory.
    monkeypatch.setattr(lilypond_program.sys, "platform", system)
    monkeypatch.setattr(lilypond_program.platform, "machine", lambda: machine)
    monkeypatch.setattr(
        lilypond_program.shutil, "which", lambda name: name if name == there else None
    )
    assert lilypond_program.how_to_install().startswith(advice)


@needs_posix
def test_program_on_the_path_serves_too(monkeypatch, tmp_path):
    path = make_program(tmp_path, "echo GNU LilyPond 2.24.3 '(running Guile 2.2)'")
    only_on_path(monkeypatch, tmp_path)
    assert find_lilypond().path == path.resolve()
    assert find_lilypond().version_text == "2.24.3"


@needs_posix
def test_program_that_is_too_old_is_refused(monkeypatch, tmp_path):
    path = make_program(tmp_path, "echo GNU LilyPond 2.22.1")
    only_on_path(monkeypatch, tmp_path)
    with pytest.raises(ProgramError, match=r"LilyPond 2\.22\.1 at .* is too old") as raised:
        find_lilypond()
    assert str(path) in str(raised.value)


@needs_posix
@pytest.mark.parametrize("text", ["exit 3", "echo hello", "kill -9 $$"])
def test_program_that_does_not_run_is_refused(monkeypatch, tmp_path, text):
    make_program(tmp_path, text)
    only_on_path(monkeypatch, tmp_path)
    with pytest.raises(ProgramError, match="does not run"):
        find_lilypond()


def test_program_sees_nothing_that_steers_it(monkeypatch):
    monkeypatch.setenv("LILYPOND_DATADIR", "/elsewhere")
    monkeypatch.setenv("GUILE_LOAD_PATH", "/elsewhere")
    monkeypatch.setenv("LD_PRELOAD", "evil.so")
    assert not {"LILYPOND_DATADIR", "GUILE_LOAD_PATH", "LD_PRELOAD"} & set(clean_environment())


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads /proc")
def test_interruption_leaves_no_process_behind(tmp_path):
    script = textwrap.dedent(
        f"""
        from pathlib import Path
        from tunebook.engrave.engrave import engrave
        from tunebook.model.piece import Piece, Score
        endless = Score('#(let loop () (loop))', "")
        print("start", flush=True)
        pieces = {{"a": Piece("", endless), "b": Piece(" ", endless)}}
        engrave(pieces, work_folder=Path({str(tmp_path)!r}), jobs=2)
        """
    )
    run = subprocess.Popen(
        [sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None and run.stdout.readline() == b"start\n"
    wait_until(lambda: len(children_of(run.pid)) == 2)
    children = children_of(run.pid)
    run.send_signal(signal.SIGINT)
    assert run.wait(20) != 0
    wait_until(lambda: not any(is_alive(child) for child in children))
    assert len(children) == 2
    assert list(tmp_path.glob("*.pdf")) == []
    run.communicate()


def children_of(pid: int) -> list[int]:
    found = []
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(entry.parent.name))
    return found


def is_alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def wait_until(is_reached, limit_s: float = 30.0) -> None:
    end = time.monotonic() + limit_s
    while not is_reached():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.05)
