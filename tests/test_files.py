from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tunebook.errors import OutputError
from tunebook.files import check_writable, write_whole


def test_a_file_is_written_whole_and_leaves_no_temporary_behind(tmp_path: Path) -> None:
    write_whole(tmp_path / "deep" / "a.txt", b"whole")
    assert (tmp_path / "deep" / "a.txt").read_bytes() == b"whole"
    assert os.listdir(tmp_path / "deep") == ["a.txt"]


def test_a_folder_in_the_way_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "book.pdf").mkdir()
    with pytest.raises(OutputError) as caught:
        write_whole(tmp_path / "book.pdf", b"x")
    assert str(caught.value).endswith("cannot be written (it is a folder); choose another place")
    with pytest.raises(OutputError, match="is a folder; name a file"):
        check_writable(tmp_path / "book.pdf")


def test_what_killed_runs_left_half_written_goes_and_all_else_stays(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    mine, theirs, hexes = os.getpid(), gone.pid, "0123456789ab"
    an_hour, two_days = 3600.0, 48 * 3600.0
    # By name: the age in seconds, and whether the file goes.
    files = {
        f".tunebook-{theirs}-{hexes}": (an_hour, sys.platform != "win32"),
        f".tunebook-{theirs}-{hexes[::-1]}": (0.0, False),
        f".tunebook-{mine}-{hexes}": (an_hour, False),
        f".tunebook-{mine}-{hexes[::-1]}": (two_days, True),
        f".tunebook-{theirs}-{hexes}.pdf": (two_days, False),
        ".tunebook-notes": (two_days, False),
        "book.pdf": (two_days, False),
    }
    now = time.time()
    for name, (age_s, _) in files.items():
        (tmp_path / name).write_bytes(b"half")
        os.utime(tmp_path / name, (now - age_s, now - age_s))
    check_writable(tmp_path / "book.pdf")
    assert set(os.listdir(tmp_path)) == {name for name, (_, goes) in files.items() if not goes}


def test_a_failed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.txt"
    path.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.txt"]


def test_what_must_not_be_overwritten_is_not(tmp_path: Path) -> None:
    path = tmp_path / "tunes.toml"
    path.write_bytes(b"mine")
    with pytest.raises(OutputError, match="File exists"):
        write_whole(path, b"new", may_overwrite=False)
    assert path.read_bytes() == b"mine"
    assert os.listdir(tmp_path) == ["tunes.toml"]


def test_a_file_in_place_of_the_folder_is_said_early(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OutputError, match="cannot be written"):
        check_writable(tmp_path / "file" / "book.pdf")


def test_others_may_read_what_the_umask_lets_them(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_whole(tmp_path / "a.txt", b"x")
    finally:
        os.umask(before)
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o644
