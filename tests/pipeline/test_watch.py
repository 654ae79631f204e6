"""The book is made anew when what it is made of is saved, and never for anything else."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty, Queue

import pikepdf
import pytest

from tunebook.errors import InputError, SettingError
from tunebook.pipeline import watch
from tunebook.pipeline.half_typed import at_open_end
from tunebook.pipeline.load import BuildOrder, Wishes
from tunebook.pipeline.remembered import next_turn, recalled, remember, remembering
from tunebook.read.abc.tune import read_abc

TUNE = "X:1\nT:{0}\nM:3/4\nL:1/8\nK:D\n{1}|d2 f2 a2|d6|]\n"
OTHER = "X:1\nT:{0}\nM:3/4\nL:1/8\nK:G\n|G2 B2 d2|g2 f2 d2|G6|]\n"


class Watched:
    """A running ``build --watch`` and what it says."""

    def __init__(self, home: Path, cache: Path) -> None:
        surroundings = {**os.environ, "XDG_CACHE_HOME": str(cache)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tunebook", "build", "t", "-o", "t/book.pdf", "--watch"],
            cwd=home, env=surroundings, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.said: Queue[str] = Queue()
        self.warned: list[str] = []
        for stream, take in ((self.process.stdout, self.said.put),
                             (self.process.stderr, self.warned.append)):  # fmt: skip
            threading.Thread(target=self._listen, args=(stream, take), daemon=True).start()

    @staticmethod
    def _listen(stream: Iterator[str], take: Callable[[str], None]) -> None:
        for line in stream:
            take(line.rstrip("\n"))

    def line(self) -> str:
        try:
            return self.said.get(timeout=60)
        except Empty:
            raise AssertionError(f"nothing was said; {self.warned}") from None

    def warns(self, start: str) -> bool:
        """Whether a warning begins so; what is said may be read before what is warned of."""
        until = time.monotonic() + 60
        while not any(line.startswith(start) for line in self.warned):
            if time.monotonic() > until:
                return False
            time.sleep(0.05)
        return True


@pytest.fixture
def home(tmp_path: Path, keep_fonts_in: Callable[[Path], None]) -> Path:
    keep_fonts_in(tmp_path / "cache")
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "a.abc").write_text(TUNE.format("Alfa", ""), encoding="utf-8")
    (tmp_path / "t" / "b.abc").write_text(OTHER.format("Beta"), encoding="utf-8")
    return tmp_path


@pytest.fixture
def watched(home: Path) -> Iterator[Watched]:
    found = Watched(home, home / "cache")
    yield found
    found.process.kill()
    found.process.wait()


def titles(book: Path) -> list[str]:
    with pikepdf.open(book) as pdf, pdf.open_outline() as outline:
        return [str(item.title) for item in outline.root if str(item.title) in "Alfa Beta Gamma"]


@pytest.mark.skipif(sys.platform == "win32", reason="interrupts are sent as POSIX has them")
def test_a_desk_s_work(watched: Watched, home: Path) -> None:
    folder, book = home / "t", home / "t" / "book.pdf"
    assert watched.line().startswith("t/book.pdf: 2 tunes on ")
    assert watched.line() == "waiting for changes in t; Ctrl-C ends it"

    # An editor that saves by renaming; the book beside the tunes makes no work of its own.
    (folder / "a.abc~").write_text(TUNE.format("Alfa", "|d2 e2 f2"), encoding="utf-8")
    os.replace(folder / "a.abc~", folder / "a.abc")
    assert watched.line().startswith("a.abc (Alfa): t/book.pdf, 2 tunes on ")

    # A tune that is half typed, and a file that is saved as it was.
    good = book.read_bytes()
    (folder / "b.abc").write_text("X:1\nT:Beta\nK:", encoding="utf-8")
    assert watched.line() == "b.abc: the book stays as it was"
    assert book.read_bytes() == good
    assert watched.warns("t/b.abc:1: "), watched.warned
    (folder / "a.abc").write_bytes((folder / "a.abc").read_bytes())
    (folder / "b.abc").write_text(OTHER.format("Beta")[:-5] + '"D"d2 d>\n', encoding="utf-8")
    assert watched.line() == "b.abc: the book stays as it was"
    assert watched.warns("t/b.abc:6:23: bar 3 is too short"), watched.warned

    # Several saves at once: the broken tune goes, another comes.
    (folder / "b.abc").unlink()
    (folder / "c.abc").write_text(OTHER.format("Gamma"), encoding="utf-8")
    assert watched.line().startswith("b.abc removed, c.abc added (Gamma): t/book.pdf, 2 tunes on ")
    assert titles(book) == ["Alfa", "Gamma"]

    # Settings that cannot be read keep the book too; with good ones all is made anew.
    (folder / "tunes.toml").write_text("title = ", encoding="utf-8")
    assert watched.line() == "tunes.toml: the book stays as it was"
    (folder / "mine.toml").write_text('size = "large"\n', encoding="utf-8")
    (folder / "tunes.toml").write_text('[hand]\nfile = "mine.toml"\n', encoding="utf-8")
    assert watched.line().startswith("tunes.toml (Alfa, Gamma): t/book.pdf, 2 tunes on ")
    (folder / "mine.toml").write_text('size = "small"\n', encoding="utf-8")
    assert watched.line().startswith("mine.toml (Alfa, Gamma): t/book.pdf, 2 tunes on ")

    watched.process.send_signal(signal.SIGINT)
    assert watched.process.wait(timeout=30) == 0
    assert watched.said.empty(), list(watched.said.queue)
    assert titles(book) == ["Alfa", "Gamma"]
    assert not any("Traceback" in line or "stopped" in line for line in watched.warned)
    assert sorted(path.name for path in folder.iterdir()) == [
        "a.abc", "book.pdf", "c.abc", "mine.toml", "tunes.toml"
    ]  # fmt: skip


def test_reports_for_scripts_do_not_go_with_it(
    command: Callable[..., tuple[int, str, str]],
) -> None:
    for option in ("--json", "--strict"):
        code, _, errors = command("build", "t", "--watch", option)
        assert code == SettingError.exit_code and "leave out --json and --strict" in errors


def test_a_folder_that_is_not_there_is_said_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file or folder"):
        next(watch.watch_book(tmp_path / "none", Wishes(), BuildOrder()))


def test_what_is_remembered_is_forgotten_when_two_turns_did_without() -> None:
    remember("a", 1)
    assert recalled("a") is None
    with remembering():
        remember("a", 1)
        remember("b", 2)
        next_turn()
        assert recalled("a") == 1
        next_turn()
        assert (recalled("a"), recalled("b")) == (1, None)
    assert recalled("a") is None


@pytest.mark.parametrize(
    ("music", "count"),
    [
        ("|G2 B2 d2|d2 d>", 1),
        ("|G2 B2 d2|\nd2 d2 d2 d <", 1),
        ('|G2 B2 d2|d2 d2 "G7', 2),
        ("|G2 B2 d2|d2 d2 d2", 0),
        ("|G2 B2|d2 d2 d2", 0),
        ("|G2 B2 d2|d2 d|] % the end", 0),
        ("|G2 B2 d2|d2 :|\nw:a b c d\nW:more", 0),
        ("|G2 B2 d2|d2 d\nW:more\n% note", 1),
    ],
)
def test_a_tune_is_half_typed_whose_last_bar_is_open_and_not_whole(music: str, count: int) -> None:
    (tune,) = read_abc(f"X:1\nT:A\nM:3/4\nL:1/8\nK:G\n{music}\n")
    assert len(at_open_end(tune)) == count, tune.messages
