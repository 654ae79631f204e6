"""What README.md says is true: its Python example runs, its commands and settings exist."""

from __future__ import annotations

import doctest
import re
import tomllib
from pathlib import Path

import pytest

from tunebook.read.settings.tunes_file import parse_settings, read_settings

README = Path(__file__).resolve().parents[1] / "README.md"
TEXT = README.read_text(encoding="utf-8")


def test_the_python_example_does_what_it_shows() -> None:
    results = doctest.testfile(str(README), module_relative=False)
    assert results.attempted >= 6
    assert results.failed == 0


def test_every_command_in_the_table_exists() -> None:
    from typer.main import get_command

    from tunebook.cli.entry import app

    known = set(getattr(get_command(app), "commands"))  # noqa: B009
    named = set(re.findall(r"`tunebook ([a-z]+)", TEXT))
    assert named and named <= known
    assert known <= named


def test_the_example_of_a_settings_file_is_read_without_a_word() -> None:
    example = re.search(r"```toml\n(.*?)```", TEXT, re.S)
    assert example is not None
    tomllib.loads(example[1])
    _, messages = parse_settings(example[1], "tunes.toml", read_settings(None)[0].editions)
    assert messages == ()


@pytest.mark.parametrize(
    "end", ["tunebook build sample_tunes -o sample_book.pdf", "python -m pytest"]
)
def test_both_commands_have_their_windows_form(end: str) -> None:
    posix, windows = (line for line in TEXT.splitlines() if line.endswith(end) and "venv" in line)
    assert posix.startswith("python3 -m venv .venv && .venv/bin/")
    same = posix.replace("python3", "py", 1).replace(".venv/bin/", ".venv\\Scripts\\")
    # The command prompt of Windows knows double quotes alone.
    assert windows == same.replace("'", '"')


@pytest.mark.parametrize("picture", re.findall(r"!\[.*?\]\((.*?)\)", TEXT))
def test_every_picture_is_there_and_small(picture: str) -> None:
    path = README.parent / picture
    assert path.is_file()
    assert path.stat().st_size < 300_000
