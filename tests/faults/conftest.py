"""A folder of tunes with settings and a profile, and the command run in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tunebook.read.settings.profile import read_instrument
from tunebook.write.instrument_text import profile_as_toml

TUNE = "X:{0}\nT:Tune {0}\nR:polska\nM:3/4\nL:1/8\nK:D\n|:d2 ef g2|e2 c2 A2|d2 f2 a2|d6:|\n\n"

Run = Callable[..., tuple[int, str, str]]


def write_tunes(path: Path, first: int = 1, count: int = 1) -> None:
    tunes = (TUNE.format(number) for number in range(first, first + count))
    path.write_text("".join(tunes), encoding="utf-8")


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """``t`` with two files of tunes, tunes.toml and the profile it names; ``mine.toml`` beside."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t").mkdir()
    write_tunes(tmp_path / "t" / "a.abc")
    write_tunes(tmp_path / "t" / "b.abc", 2)
    profile = "\n".join(profile_as_toml(read_instrument("nyckelharpa-3row")).splitlines())
    for name in ("t/my.toml", "mine.toml"):
        (tmp_path / name).write_text(profile, encoding="utf-8")
    settings = '[instrument]\nprofile = "my.toml"\n'
    (tmp_path / "t" / "tunes.toml").write_text(settings, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(place: Path, command: Run) -> Run:
    """Run the command in ``place``; returns its exit code, output and errors."""
    return command
