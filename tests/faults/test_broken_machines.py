"""Broken machines: each fault ends in one clear line and an exit code, the old PDF untouched."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from reading import text_of

# Without it these are no faults that can be brought about: limits, signals, rights of POSIX.
resource = pytest.importorskip("resource")

TUNE = "X:{0}\nT:Tune {0}\nR:polska\nM:3/4\nL:1/8\nK:D\n|:d2 {1} f2|e2 c2 A2|d2 f2 a2|d6:|\n\n"
NOTES = ("e2", "ef", "g2", "c2", "d2", "A2", "B2", "cd")


@pytest.fixture
def place(tmp_path: Path, keep_fonts_in: Callable[[Path], None]) -> Path:
    keep_fonts_in(tmp_path / "cache")
    (tmp_path / "tunes").mkdir()
    tunes = "".join(TUNE.format(number, NOTES[number % 8]) for number in range(1, 4))
    (tmp_path / "tunes" / "a.abc").write_text(tunes, encoding="utf-8")
    (tmp_path / "tmp").mkdir()
    return tmp_path


def environment(place: Path, **changes: str) -> dict[str, str]:
    folders = {"XDG_CACHE_HOME": str(place / "cache"), "TMPDIR": str(place / "tmp")}
    return {**os.environ, **folders, **changes}


def build(
    place: Path,
    *extra: str,
    before: str = "",
    prepare: Callable[[], None] | None = None,
    **changes: str,
) -> subprocess.CompletedProcess[str]:
    start = f"{before}\nfrom tunebook.cli.entry import main\nmain()"
    command = [sys.executable, "-c", start, "build", "tunes", "-o", "out/book.pdf", *extra]
    return subprocess.run(
        command, capture_output=True, text=True, cwd=place, check=False, timeout=120,
        env=environment(place, **changes), preexec_fn=prepare,
    )  # fmt: skip


def last_line(done: subprocess.CompletedProcess[str]) -> str:
    assert "Traceback" not in done.stderr, done.stderr
    return done.stderr.strip().splitlines()[-1]


def left_behind(place: Path) -> list[str]:
    out = place / "out"
    found = [str(path) for path in (place / "tmp").iterdir() if path.name.startswith("tunebook")]
    return found + [path.name for path in out.iterdir() if path.name != "book.pdf"]


@pytest.fixture
def old_book(place: Path) -> Iterator[Path]:
    """A book from an earlier run; whatever goes wrong afterwards must leave it as it is."""
    book = place / "out" / "book.pdf"
    book.parent.mkdir()
    book.write_bytes(b"%PDF the old book")
    yield book
    assert book.read_bytes() == b"%PDF the old book"
    assert left_behind(place) == []


def test_without_lilypond_the_line_says_how_to_get_it(place: Path, old_book: Path) -> None:
    before = "import sys; sys.modules['lilypond'] = None"
    done = build(place, before=before, PATH="/nonexistent")
    assert done.returncode == 4
    assert "LilyPond" in last_line(done) and "; " in last_line(done)


def test_a_lilypond_that_is_killed_costs_the_tunes_not_the_temper(
    place: Path, old_book: Path
) -> None:
    program = place / "lilypond"
    program.write_text(
        '#!/bin/sh\n[ "$1" = --version ] && echo "GNU LilyPond 2.24.3" || kill -9 $$\n'
    )
    program.chmod(0o755)
    done = build(
        place, before="import sys; sys.modules['lilypond'] = None", PATH=f"{place}:/usr/bin:/bin"
    )
    assert done.returncode in (3, 4)
    assert last_line(done)


def test_an_old_lilypond_is_refused(place: Path, old_book: Path) -> None:
    program = place / "lilypond"
    program.write_text('#!/bin/sh\necho "GNU LilyPond 2.18.2"\n')
    program.chmod(0o755)
    done = build(
        place, before="import sys; sys.modules['lilypond'] = None", PATH=f"{place}:/usr/bin:/bin"
    )
    assert done.returncode == 4
    assert "2.18.2" in last_line(done)


def test_a_full_disk_is_one_line(place: Path, old_book: Path) -> None:
    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))

    done = build(place, prepare=small_files)
    assert done.returncode in (3, 4, 5)
    assert "; " in last_line(done)


def test_an_output_that_is_a_folder_is_said_before_any_work(place: Path) -> None:
    (place / "out" / "book.pdf").mkdir(parents=True)
    done = build(place)
    assert done.returncode == 5
    assert done.stderr.strip() == "out/book.pdf: is a folder; name a file"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_said_before_any_work(place: Path, old_book: Path) -> None:
    old_book.parent.chmod(0o555)
    done = build(place)
    old_book.parent.chmod(0o755)
    assert done.returncode == 5
    assert "cannot be written" in last_line(done)


def test_a_damaged_cache_is_made_anew(place: Path) -> None:
    assert build(place).returncode == 0
    book = place / "out" / "book.pdf"
    good = text_of(book)
    for path in (place / "cache").rglob("*"):
        if path.is_file() and path.stat().st_size:
            path.write_bytes(b"rubbish")
    done = build(place)
    assert done.returncode == 0, done.stderr
    # Bytes may differ: glyphs are numbered by what was engraved together.
    assert text_of(book) == good and "Tune 3" in good
    assert left_behind(place) == []


def test_two_builds_at_once_both_succeed(place: Path) -> None:
    command = [sys.executable, "-m", "tunebook", "build", "tunes", "-o"]
    runs = [
        subprocess.Popen(
            [*command, f"out/{name}.pdf"], cwd=place, env=environment(place),
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for name in ("one", "two")
    ]  # fmt: skip
    for run in runs:
        _, errors = run.communicate(timeout=120)
        assert run.returncode == 0, errors
    assert sorted(path.name for path in (place / "out").iterdir()) == ["one.pdf", "two.pdf"]


@pytest.mark.parametrize(("stage", "delay_s"), [("arranging", 0.4), ("engraving", 0.2)])
def test_an_interrupt_at_any_stage_leaves_nothing_behind(
    place: Path, old_book: Path, stage: str, delay_s: float
) -> None:
    # No two tunes are alike, so that each has to be engraved.
    tunes = "".join(
        TUNE.format(number, " | ".join([NOTES[number % 8]] * (4 + number // 8)))
        for number in range(1, 80)
    )
    (place / "tunes" / "a.abc").write_text(tunes, encoding="utf-8")
    command = [sys.executable, "-m", "tunebook", "build", "tunes", "-o", "out/book.pdf"]
    run = subprocess.Popen(
        command, cwd=place, env=environment(place, TUNEBOOK_TEST_MARK=str(place)),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert run.stderr is not None
    # From the first word on it is ours to stop.
    first = next(line for line in run.stderr if line.startswith(stage))
    assert first.startswith(f"{stage}: 1 of")
    time.sleep(delay_s)
    os.killpg(run.pid, signal.SIGINT)
    _, errors = run.communicate(timeout=60)
    assert run.returncode == 130, errors
    assert errors.strip().splitlines()[-1] == "stopped; nothing was overwritten"
    assert "Traceback" not in errors
    end = time.monotonic() + 20
    while processes_with(str(place)) and time.monotonic() < end:
        time.sleep(0.02)
    assert processes_with(str(place)) == []


def processes_with(mark: str) -> list[str]:
    """Command lines of processes that still run with ``mark`` in their environment."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if mark.encode() in (folder / "environ").read_bytes():
                found.append((folder / "cmdline").read_text().replace("\0", " "))
        except OSError:
            continue
    return found
