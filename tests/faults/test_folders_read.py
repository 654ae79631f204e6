"""What is read from a folder lies in it, and what is passed over there is said."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tunebook.errors import InputError
from tunebook.pipeline.load import prepare
from tunebook.read.folder import look_through, read_folder

Run = Callable[..., tuple[int, str, str]]
NOBODY = 65534


@pytest.fixture
def outside(place: Path) -> Path:
    """A folder beside ``t`` with a file of tunes."""
    (place / "o").mkdir()
    shutil.copy(place / "t" / "b.abc", place / "o" / "c.abc")
    return place / "o"


def names(folder: Path, may_leave: bool = False) -> list[str]:
    files = look_through(folder, may_leave=may_leave).files
    return [path.relative_to(folder).as_posix() for path in files]


def said(folder: Path) -> dict[str, str]:
    return {one.place.path: one.what for one in look_through(folder).messages}


# (name of the link, where it leads, what is said of it)
LINKS_OUT = [
    ("c.abc", "../o/c.abc", "the link leads out of the folder, to a file"),
    ("far.abc", "/etc/hostname", "the link leads out of the folder, to a file"),
    ("more", "../o", "the link leads out of the folder, to a folder"),
    ("up", "..", "the link leads out of the folder, to a folder"),
    ("device.abc", "/dev/null", "it is a device"),
    ("gone.abc", "nowhere", "it is a link that leads nowhere"),
    ("circle.abc", "circle.abc", "it is a link that leads in a circle"),
    ("twice.abc", "by-way.abc", "it is a link that leads nowhere"),
]


@pytest.mark.parametrize(("name", "target", "words"), LINKS_OUT)
def test_a_link_out_of_the_folder_is_not_read_and_that_is_said(
    place: Path, outside: Path, name: str, target: str, words: str
) -> None:
    (place / "t" / name).symlink_to(target)
    assert names(place / "t") == ["a.abc", "b.abc"]
    assert said(place / "t") == {name: words}
    reading = read_folder(place / "t")
    assert len(reading.tunes) == 2
    assert [one.is_fatal for one in reading.messages] == [True]


def test_a_link_of_two_steps_is_judged_by_where_it_ends(place: Path, outside: Path) -> None:
    (place / "t" / "in.abc").symlink_to("../o/back.abc")
    (outside / "back.abc").symlink_to("../t/a.abc")
    (place / "t" / "out.abc").symlink_to("way.txt")
    (place / "t" / "way.txt").symlink_to("../o/c.abc")
    assert names(place / "t") == ["a.abc", "b.abc", "in.abc"]
    assert list(said(place / "t")) == ["out.abc"]


def test_links_that_stay_inside_are_well_and_circles_of_folders_end(place: Path) -> None:
    (place / "t" / "sub").mkdir()
    shutil.copy(place / "t" / "a.abc", place / "t" / "sub" / "notes.txt")
    (place / "t" / "d.abc").symlink_to("sub/notes.txt")
    (place / "t" / "sub" / "up").symlink_to("..")
    (place / "t" / "again").symlink_to("sub")
    assert names(place / "t") == ["a.abc", "b.abc", "d.abc"]
    assert said(place / "t") == {}


def test_the_folder_itself_may_be_a_link_and_so_may_a_file_that_is_named(place: Path) -> None:
    (place / "link").symlink_to("t")
    (place / "link.abc").symlink_to("t/a.abc")
    assert names(place / "link") == ["a.abc", "b.abc"]
    assert look_through(place / "link.abc").files == (place / "link.abc",)


def test_a_setting_lets_links_lead_out(place: Path, outside: Path, run: Run) -> None:
    (place / "t" / "c.abc").symlink_to("../o/c.abc")
    (place / "t" / "more").symlink_to("../o")
    (outside / "back").symlink_to("../t")
    (outside / "round").symlink_to(".")
    (place / "t" / "tunes.toml").write_text("[reading]\nmay_leave_folder = true\n")
    assert names(place / "t", may_leave=True) == ["a.abc", "b.abc", "c.abc", "more/c.abc"]
    code, output, _ = run("check", "t", "--json")
    report = json.loads(output)
    assert code == 0 and len(report["rows"]) == 4
    assert report["left_out"] == []


@pytest.mark.parametrize("profile", ["../mine.toml", "link.toml"])
def test_a_profile_follows_the_same_rule(place: Path, run: Run, profile: str) -> None:
    (place / "t" / "link.toml").symlink_to("../mine.toml")
    settings = f'[instrument]\nprofile = "{profile}"\n'
    (place / "t" / "tunes.toml").write_text(settings)
    code, _, errors = run("check", "t")
    assert code == 2
    assert "lies outside the folder; " in errors and "may_leave_folder" in errors
    (place / "t" / "tunes.toml").write_text(settings + "[reading]\nmay_leave_folder = true\n")
    assert prepare(place / "t").instrument.name == "my-instrument"


def test_settings_behind_a_link_out_of_the_folder_are_refused_unless_named(
    place: Path, run: Run
) -> None:
    settings = place / "t" / "tunes.toml"
    settings.rename(place / "own.toml")
    settings.symlink_to("../own.toml")
    code, _, errors = run("check", "t")
    assert code == 2
    assert errors.startswith("t/tunes.toml: the link leads out of the folder; ")
    shutil.copy(place / "t" / "my.toml", place / "my.toml")
    assert run("check", "t", "--settings", "own.toml")[0] == 0


@pytest.mark.parametrize("folder", ["t", "t/a.abc"])
@pytest.mark.parametrize(
    ("make", "words"),
    [
        (Path.mkdir, "a folder"),
        (os.mkfifo, "a pipe"),
        (lambda path: path.symlink_to("nowhere"), "a link that leads nowhere"),
        (lambda path: path.symlink_to("/dev/zero"), "a device"),
    ],
)
def test_settings_that_are_no_file_are_said(
    place: Path, make: Callable[[Path], None], words: str, folder: str
) -> None:
    (place / "t" / "tunes.toml").unlink()
    make(place / "t" / "tunes.toml")
    (message,) = prepare(Path(folder)).messages
    assert message.place.path == "t/tunes.toml"
    assert message.what == f"it is {words}, so there are no settings"


@pytest.mark.parametrize(
    "make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero")], ids=["pipe", "device"]
)
def test_nothing_that_could_wait_for_ever_is_opened(
    place: Path, run: Run, make: Callable[[Path], None]
) -> None:
    for name in ("pipe.abc", "pipe.toml"):
        make(place / name)
    with pytest.raises(InputError, match=r"pipe\.abc is a (pipe|device); give a folder"):
        look_through(place / "pipe.abc")
    assert run("check", "t", "--settings", "pipe.toml")[0] == 2
    code, _, errors = run("check", "t", "--instrument", "pipe.toml")
    assert code == 2 and "there is no instrument" in errors
    make(place / "t" / "pipe.abc")
    code, _, errors = run("check", "t")
    assert code == 0
    assert "t/pipe.abc: it is a" in errors


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A folder that every user may look into."""
    with tempfile.TemporaryDirectory(prefix="folders-") as name:
        os.chmod(name, 0o755)
        yield Path(name)


def test_what_may_not_be_read_is_said(open_place: Path, place: Path) -> None:
    """Run as an ordinary user: root may read everything."""
    folder = open_place / "t"
    shutil.copytree(place / "t", folder)
    (folder / "shut").mkdir()
    shutil.copy(folder / "a.abc", folder / "shut" / "d.abc")
    (folder / "shut").chmod(0)
    (folder / "b.abc").chmod(0)

    # Everything is imported by reading once, since nobody else may read root's packages.
    code = (
        "import json, os, sys\nfrom pathlib import Path\n"
        "from tunebook.read.folder import read_folder\n"
        "folder = Path(sys.argv[1])\nread_folder(folder / 'a.abc')\n"
        f"if os.geteuid() == 0:\n    os.setgroups([])\n    os.setgid({NOBODY})\n"
        f"    os.setuid({NOBODY})\n"
        "found = read_folder(folder)\n"
        "print(json.dumps([len(found.tunes), sorted(map(str, found.messages))]))"
    )
    command = [sys.executable, "-c", code, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    (folder / "shut").chmod(0o755)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [
        1,
        [
            "b.abc: the file cannot be read (Permission denied); check its rights",
            "shut: the folder cannot be read (Permission denied); left out; check its rights",
        ],
    ]
