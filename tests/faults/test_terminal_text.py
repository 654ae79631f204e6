"""Text from files and their names reaches the terminal as plain lines, whatever it holds."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tunebook.cli.terminal import (
    MOST_LETTERS,
    print_as_json,
    print_messages,
    print_table,
    shown,
    warn,
)
from tunebook.errors import MOST_EXCERPT_LETTERS, Message, SourcePlace

Run = Callable[..., tuple[int, str, str]]

TUNE = "X:1\nT:{0}\nR:vals\nM:3/4\nL:1/4\nK:D\nD F A|d A F|E G|A3|]\n\n"
# A colour, a window's title, C1's own way to begin a sequence, a line break, a bell, marks of
# direction, deletion (ECMA-48; Unicode's bidirectional algorithm, UAX 9).
STEERING = "\x1b[31m\x1b]0;x\x07\x9b2J\u202e\u2066\x7f"


def command(*arguments: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tunebook", *arguments], cwd=folder, capture_output=True, text=True,
        check=False, timeout=60, errors="surrogateescape",
        env={**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), **environment},
    )  # fmt: skip


def is_plain(text: str) -> bool:
    return all(letter.isprintable() or letter == "\n" for letter in text)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Tjädern – ”vals”", "Tjädern – ”vals”"),
        ("a\x1b[31mb", "a\\u001b[31mb"),
        ("a\x9bb\x7f", "a\\u009bb\\u007f"),
        ("a\nb\rc\td", "a\\nb\\rc\\td"),
        ("a\u2028b\x85c\x1dd", "a\\u2028b\\u0085c\\u001dd"),
        ("a\u202eb\u2066c", "a\\u202eb\\u2066c"),
        ("b\udce4r", "b\\udce4r"),
        ("a\u00a0b", "a b"),
        ("\U000e0001", "\\U000e0001"),
    ],
)
def test_what_is_no_printable_letter_is_shown_as_an_escape(text: str, line: str) -> None:
    assert shown(text) == line
    assert shown(text).isprintable()


def test_a_long_line_lacks_its_middle_and_says_so() -> None:
    line = shown("begin" + "x" * 900_000 + "end; what to do")
    assert len(line) < MOST_LETTERS + 60
    assert line.startswith("begin") and line.endswith("end; what to do")
    assert "[... 898020 letters ...]" in line


def test_an_excerpt_of_a_long_line_is_what_stands_around_the_offence() -> None:
    text = "a" * 500_000 + "WRONG" + "b" * 500_000
    message = Message(SourcePlace("a.abc", 3, 500_001), "note", "is wrong", "", text, 5)
    source, below = message.excerpt_lines()
    assert len(source) <= MOST_EXCERPT_LETTERS + 4
    assert source[below.index("~") :].startswith("WRONG")
    assert below.count("~") == 5


def test_messages_point_at_the_letter_whatever_stands_before_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    excerpt = f"D{STEERING}\tX E"
    column = excerpt.index("X") + 1
    print_messages([Message(SourcePlace("a\n.abc", 1, column), "note", "what", "", excerpt, 1)])
    line, source, below = capsys.readouterr().err.splitlines()
    assert line == f"a\\n.abc:1:{column}: what"
    assert is_plain(source.replace("\t", "")) and source[below.index("~")] == "X"


def test_a_table_stays_a_table(capsys: pytest.CaptureFixture[str]) -> None:
    print_table(("tune", "title"), [("a\nb", f"T{STEERING}"), ("c", "U" * 100_000)])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 4
    assert all(is_plain(line) and len(line) < 1000 for line in lines)


@dataclass(frozen=True)
class Report:
    name: str
    output: Path


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252"])
def test_json_is_valid_and_keeps_every_letter(
    monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    report = Report(f"Tjäder{STEERING}\n\u00a0\U0001f3bb\U000e0001 ”", Path("b\udce4r.pdf"))
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="replace")
    monkeypatch.setattr(sys, "stdout", stream)
    print_as_json(report)
    stream.flush()
    printed = stream.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]
    assert is_plain(printed)
    assert json.loads(printed) == {"name": report.name, "output": str(report.output)}


def test_a_stream_that_cannot_be_written_stops_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(sys, "stderr", Full())
    warn("a line")
    monkeypatch.setattr(sys, "stderr", None)
    warn("a line")
    assert sys.stderr is None


@pytest.fixture
def hostile(place: Path) -> Path:
    """A folder whose names and titles would steer a terminal."""
    folder = place / f"t{STEERING}\n"
    folder.mkdir()
    name = f"a\n{STEERING}.abc"
    text = TUNE.format(f"Title {STEERING}") + "X:2\nT:x\nD2\n% " + "more text " * 60
    (folder / name).write_text(text, "utf-8")
    return folder


@pytest.mark.skipif(sys.platform == "win32", reason="such names are not allowed here")
@pytest.mark.parametrize(
    "arguments",
    [
        ("check", "{folder}"), ("check", "{folder}", "--json"), ("explain", "{file}"),
        ("explain", "{file}", "--tune", "1"), ("check", "{folder}x"),
        ("settings", "{folder}"), ("check", "{folder}", "--instrument", "{folder}"),
        ("check", "{folder}", "--tuning", STEERING), ("check", "{folder}", "--edition", STEERING),
        ("check", "{folder}", "--hand", STEERING), ("check", "{folder}", "--jobs", STEERING),
        (f"--{STEERING}",), ("check", "{folder}", "--settings", "{file}"),
        ("export", "{folder}", "--to", "json", "-o", "{folder}/x.json"),
        ("export", "{folder}", "--to", STEERING, "-o", "x"),
        ("compare", "{folder}", "--tunings", f"CGDA,{STEERING}"),
        ("build", "{folder}", "-o", "{folder}"),
    ],
    ids=lambda arguments: " ".join(arguments).encode("unicode_escape").decode()[:60],
)  # fmt: skip
def test_every_command_prints_plain_lines(
    hostile: Path, run: Run, arguments: tuple[str, ...]
) -> None:
    file = next(hostile.iterdir())
    words = [one.format(folder=hostile, file=file) for one in arguments]
    code, out, errors = run(*words)
    assert code in ((0,) if "--json" in words else (0, 2, 3, 5)), errors
    assert out or errors
    assert is_plain(out) and is_plain(errors.replace("\t", "")), ascii(out + errors)
    if "--json" in words:
        assert json.loads(out)


def test_a_profile_with_a_steering_title_is_shown_plainly_and_printed_whole(
    place: Path, run: Run
) -> None:
    from tunebook.read.settings.profile import read_instrument
    from tunebook.write.instrument_text import profile_as_toml

    text = "\n".join(profile_as_toml(read_instrument("nyckelharpa-3row")).splitlines())
    title = next(line for line in text.splitlines() if line.startswith("title"))
    mine = place / "mine.toml"
    escaped = json.dumps(f"My harpa {STEERING}")
    mine.write_text(text.replace(title, f"title = {escaped}"), encoding="utf-8")
    code, out, errors = run("instrument", "mine.toml")
    assert code == 0, errors
    assert is_plain(out) and "My harpa \\u001b[31m" in out
    _, printed, _ = run("instrument", "mine.toml", "--profile")
    assert is_plain(printed)
    assert tomllib.loads(printed)["title"].startswith("My harpa")


@pytest.mark.skipif(sys.platform == "win32", reason="such names are not allowed here")
def test_names_that_are_no_utf8_are_read_and_told_in_json(tmp_path: Path) -> None:
    (tmp_path / "t").mkdir()
    name = os.fsdecode(b"b\xe4r.abc")
    (tmp_path / "t" / name).write_text(TUNE.format("T") + "X:2\nT:x\nD2\n", encoding="utf-8")
    done = command("check", "t", "--json", folder=tmp_path)
    report = json.loads(done.stdout)
    assert [row["identity"] for row in report["rows"]] == [f"{name}:1"]
    assert report["left_out"][0]["place"]["path"] == f"t/{name}"


@pytest.mark.parametrize(
    "environment",
    [
        {"PYTHONIOENCODING": "ascii"},
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    ],
    ids=["ascii", "C"],
)
def test_letters_that_the_terminal_has_not_are_replaced(
    tmp_path: Path, environment: dict[str, str]
) -> None:
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "a.abc").write_text(TUNE.format("Tjädern"), encoding="utf-8")
    done = command("check", "t", folder=tmp_path, **environment)
    assert done.returncode == 0, done.stderr
    assert "Tj?dern" in done.stdout
    told = command("check", "t", "--json", folder=tmp_path, **environment)
    assert json.loads(told.stdout)["rows"][0]["title"] == "Tjädern"
