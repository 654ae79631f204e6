"""Nothing that a run reads is written over, and nothing but a file is replaced."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from tunebook.errors import OutputError
from tunebook.files import FilesRead, read_whole, write_whole

Run = Callable[..., tuple[int, str, str]]

IS_READ = "is one of the files that are read here; choose another place"

# (the file that must stay, the command line)
OVER_A_FILE_THAT_IS_READ = [
    ("t/my.toml", "build t -o t/my.toml"),
    ("t/my.toml", "build t/a.abc -o t/my.toml"),
    ("t/tunes.toml", "build t -o t/tunes.toml"),
    ("t/a.abc", "build t -o t/a.abc"),
    ("t/a.abc", "build t -o t/../t/A.ABC"),
    ("t/a.abc", "build t -o link.pdf"),
    ("t/a.abc", "build t -o hard.pdf"),
    ("t/a.abc", "build t -o by-folder/a.abc"),
    ("mine.toml", "build t --instrument mine.toml -o mine.toml"),
    ("mine.toml", "build t --instrument mine.toml -o Mine.toml"),
    ("own.toml", "build t --settings own.toml -o own.toml"),
    ("mine.toml", "retune t --instrument fiddle --to-instrument mine.toml -o mine.toml"),
    ("mine.toml", "retune t --instrument mine.toml --to CGCA -o mine.toml"),
    ("mine.toml", "compare t --keys --instrument mine.toml -o mine.toml"),
    ("t/b.abc", "compare t --keys -o t/b.abc"),
    ("mine.toml", "export t --to json --instrument mine.toml -o mine.toml"),
    ("t/my.toml", "export t --to json -o t/my.toml"),
    ("t/a.abc", "export t --to abc -o t"),
    ("t/a.abc", "export t --to abc -o by-folder"),
    ("mine.toml", "instrument mine.toml -o mine.toml"),
    ("ly/a-1.ly", "export t --to ly --instrument ly/a-1.ly -o ly"),
    ("ly/a-1.ly", "build t --instrument ly/a-1.ly --keep-source ly -o x.pdf --no-cache"),
    ("x-booklet.pdf", "build t --instrument x-booklet.pdf --settings a5.toml -o x.pdf"),
]


@pytest.mark.parametrize(("name", "line"), OVER_A_FILE_THAT_IS_READ)
def test_what_is_read_is_never_written_over(place: Path, run: Run, name: str, line: str) -> None:
    (place / "link.pdf").symlink_to("t/a.abc")
    (place / "hard.pdf").hardlink_to(place / "t" / "a.abc")
    (place / "by-folder").symlink_to("t")
    (place / "ly").mkdir()
    for copy in ("ly/a-1.ly", "x-booklet.pdf"):
        (place / copy).write_bytes((place / "mine.toml").read_bytes())
    (place / "own.toml").write_text('title = "Own"\n')
    (place / "a5.toml").write_text('paper = "a5"\nbooklet = true\n')
    before = {path: path.read_bytes() for path in place.rglob("*") if path.is_file()}
    code, _, errors = run(*line.split())
    assert code == 5
    assert IS_READ in errors.splitlines()[-1]
    after = {path: path.read_bytes() for path in before}
    assert after == before
    assert (place / name).is_file()


def make_pipe(path: Path) -> None:
    os.mkfifo(path)


def make_socket(path: Path) -> None:
    here = os.getcwd()
    os.chdir(path.parent)
    try:
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(path.name)
    finally:
        os.chdir(here)


def make_device(path: Path) -> None:
    try:
        os.mknod(path, 0o20600, os.makedev(1, 3))
    except PermissionError:
        pytest.skip("only root may make a device, and not everywhere")


def make_link_to_a_device(path: Path) -> None:
    path.symlink_to("/dev/null")


def make_dangling_link(path: Path) -> None:
    path.symlink_to("nowhere")


def make_circle(path: Path) -> None:
    path.symlink_to(path.name)


NO_FILES = [
    (Path.mkdir, "a folder"),
    (make_pipe, "a pipe"),
    (make_socket, "a socket"),
    (make_device, "a device"),
    (make_link_to_a_device, "a device"),
    (make_dangling_link, "a link that leads nowhere"),
    (make_circle, "a link that leads in a circle"),
]
COMMANDS = [
    "build t -o out",
    "retune t --to CGCA -o out",
    "compare t --keys -o out",
    "export t --to json -o out",
    "instrument fiddle -o out",
]


@pytest.mark.parametrize("line", COMMANDS)
@pytest.mark.parametrize(("make", "words"), NO_FILES)
def test_only_a_file_is_replaced_and_the_message_says_what_else_it_is(
    place: Path, run: Run, make: Callable[[Path], None], words: str, line: str
) -> None:
    make(place / "out")
    before = os.lstat(place / "out")
    code, _, errors = run(*line.split())
    assert (code, errors) == (5, f"out: is {words}; name a file\n")
    after = os.lstat(place / "out")
    assert (after.st_ino, after.st_mode) == (before.st_ino, before.st_mode)


@pytest.mark.parametrize(("make", "words"), NO_FILES[1:])
@pytest.mark.parametrize("line", ["build t -o x.pdf --keep-source out", "export t --to ly -o out"])
def test_a_folder_of_results_is_a_folder_or_nothing(
    place: Path, run: Run, make: Callable[[Path], None], words: str, line: str
) -> None:
    make(place / "out")
    code, _, errors = run(*line.split())
    assert (code, errors) == (5, f"out: is {words}; name a folder\n")


def test_a_second_pdf_is_looked_at_before_any_work(place: Path, run: Run) -> None:
    (place / "a5.toml").write_text('paper = "a5"\nbooklet = true\n')
    make_pipe(place / "x-booklet.pdf")
    code, _, errors = run("build", "t", "--settings", "a5.toml", "-o", "x.pdf")
    assert (code, errors) == (5, "x-booklet.pdf: is a pipe; name a file\n")


def test_a_link_as_output_stays_and_its_file_is_replaced(place: Path, run: Run) -> None:
    (place / "elsewhere").mkdir()
    (place / "elsewhere" / "drawn.pdf").write_bytes(b"old")
    (place / "out").symlink_to("elsewhere/drawn.pdf")
    assert run("instrument", "fiddle", "-o", "out")[0] == 0
    assert os.readlink(place / "out") == "elsewhere/drawn.pdf"
    assert (place / "elsewhere" / "drawn.pdf").read_bytes().startswith(b"%PDF")
    assert os.listdir(place / "elsewhere") == ["drawn.pdf"]


def test_a_file_that_is_read_while_the_book_is_made_is_seen_at_the_last_moment(
    tmp_path: Path,
) -> None:
    read = FilesRead()
    (tmp_path / "a.abc").write_bytes(b"X:1")
    write_whole(tmp_path / "book.pdf", b"1", read=read)
    read_whole(tmp_path / "a.abc", read)
    (tmp_path / "book.pdf").unlink()
    (tmp_path / "book.pdf").symlink_to("a.abc")
    with pytest.raises(OutputError, match="is one of the files"):
        write_whole(tmp_path / "book.pdf", b"2", read=read)
    assert (tmp_path / "a.abc").read_bytes() == b"X:1"


def test_letters_composed_in_another_way_name_the_same_file(tmp_path: Path) -> None:
    read = FilesRead()
    read.note(tmp_path / "la\u030at.abc")
    assert read.holds(tmp_path / "L\u00e5t.ABC")
    assert not read.holds(tmp_path / "lat.abc")
