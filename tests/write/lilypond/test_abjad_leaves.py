"""abjad makes the text of leaves, and nothing beside it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tunebook.write.lilypond.abjad_leaves import text_of_leaf


def test_nothing_is_written_into_a_fresh_home_and_nothing_printed(tmp_path: Path) -> None:
    home, temporary = tmp_path / "home", tmp_path / "tmp"
    home.mkdir()
    temporary.mkdir()
    code = (
        "import os; from tunebook.write.lilypond.leaves import leaf_lines\n"
        "assert leaf_lines(\"fs''!\", '4.') == (\"fs''!4.\",)\n"
        "assert os.environ['HOME'].endswith('home')"
    )
    places = {"HOME": str(home), "TMPDIR": str(temporary)}
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, **places}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert list(home.iterdir()) == [] and list(temporary.iterdir()) == []


def test_signs_go_to_the_heads_that_have_them_in_the_order_of_pitch() -> None:
    assert text_of_leaf("<g' c'! e'?>", "\\breve") == "<c'! e'? g'>\\breve"
    assert text_of_leaf("<c' c'!>", "8..") == "<c' c'!>8.."


@pytest.mark.parametrize("head, value", [("x'", "4"), ("c'4", "4"), ("c'", "3"), ("c'", "four")])
def test_what_cannot_be_written_is_refused(head: str, value: str) -> None:
    with pytest.raises(Exception, match=r"."):
        text_of_leaf(head, value)
