"""What a library user meets: the names of ``import tunebook``, bad tunes told beside good ones."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import tunebook

MIXED = (
    "X:1\nT:Good\nK:D\nDEF|]\n\nX:2\nT:No key\nDEF|]\n\nX:3\nT:No music\nK:D\n\n"
    "X:4\nT:Good too\nK:G\nGAB|]\n"
)


def test_dir_lists_the_surface_and_nothing_else() -> None:
    assert dir(tunebook) == sorted([*tunebook.__all__, "__version__"])
    for name in dir(tunebook):
        assert getattr(tunebook, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'read_abd'"):
        tunebook.read_abd  # noqa: B018


def test_types_are_told_the_same_homes_as_the_imports() -> None:
    source = Path(tunebook.__file__).read_text(encoding="utf-8")
    told = {
        alias.name: node.module
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("tunebook.")
        for alias in node.names
    }
    homes = {name: home for home, names in tunebook._HOMES.items() for name in names}
    assert told == homes
    assert sorted(homes) == sorted(tunebook.__all__)


def test_importing_the_library_imports_none_of_its_stages() -> None:
    code = (
        "import sys, tunebook\nprint(dir(tunebook), [m for m in sys.modules if 'tunebook.' in m])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("'write_source'] []")


def test_bad_tunes_are_told_beside_the_good_ones() -> None:
    reading = tunebook.read_abc(MIXED, "mixed.abc")
    assert [tune.title for tune in reading] == ["Good", "Good too"]
    assert [str(one) for one in reading.left_out] == [
        "mixed.abc:6: the tune has no K: field; add K: before its music",
        "mixed.abc:10: the tune has no notes; write its music after K:",
    ]
    assert (len(reading), reading[-1].title, len(reading[:1])) == (2, "Good too", 1)


def test_a_folder_and_a_text_are_read_alike(tmp_path: Path) -> None:
    (tmp_path / "mixed.abc").write_text(MIXED, "utf-8")
    assert tunebook.read_folder(str(tmp_path)) == tunebook.read_abc(MIXED, "mixed.abc")


def test_a_text_of_which_nothing_can_be_used_is_an_error_and_an_empty_one_is_empty() -> None:
    with pytest.raises(tunebook.InputError, match="no K: field"):
        tunebook.read_abc("X:2\nT:No key\nDEF|]\n")
    assert len(tunebook.read_abc("")) == 0


def test_editions_are_those_that_the_folder_knows(tmp_path: Path) -> None:
    students = ("student-1", "student-2", "student-3")
    built_in = ("player", "teacher", *students, "duo", "accompanist")
    assert tunebook.editions() == built_in
    (tmp_path / "tunes.toml").write_text('[[edition]]\nname = "large"\nbased_on = "player"\n')
    assert set(tunebook.editions(tmp_path)) == {*built_in, "large"}
    with pytest.raises(tunebook.InputError, match="no such file or folder"):
        tunebook.editions(tmp_path / "nowhere")
