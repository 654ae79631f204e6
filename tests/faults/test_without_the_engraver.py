"""Without LilyPond all works that engraves nothing; the rest says how it is got."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

TUNE = (
    'X:1\nT:Little one\nR:vals\nM:3/4\nL:1/8\nK:D\n"D"A2 d2 f2|"G"g2 f2 e2|"A7"A2 c2 e2|"D"d6|]\n'
)
# One process for all command lines: what costs time is importing what makes a book.
EACH = """
import json, sys
sys.modules["lilypond"] = None
from tunebook.cli.entry import main
codes = []
for arguments in json.loads(sys.argv[1]):
    sys.argv = ["tunebook", *arguments]
    try:
        main()
    except SystemExit as end:
        codes.append(end.code or 0)
print(codes)
"""


@pytest.fixture
def place(tmp_path: Path, keep_fonts_in: Callable[[Path], None]) -> Path:
    keep_fonts_in(tmp_path / "cache")
    (tmp_path / "tunes").mkdir()
    (tmp_path / "tunes" / "a.abc").write_text(TUNE, encoding="utf-8")
    return tmp_path


def codes_of(place: Path, *lines: str) -> tuple[list[int], str]:
    """The exit codes of some command lines, and what went to standard error."""
    environment = {**os.environ, "PATH": "", "XDG_CACHE_HOME": str(place / "cache")}
    arguments = json.dumps([line.split() for line in lines])
    done = subprocess.run(
        [sys.executable, "-c", EACH, arguments], capture_output=True, text=True, cwd=place,
        check=True, timeout=120, env=environment,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1]), done.stderr


def test_what_engraves_nothing_works(place: Path) -> None:
    made = {
        "check tunes": None,
        "explain tunes/a.abc --bars 1-2": None,
        "explain tunes/a.abc --chords": None,
        "compare tunes --tunings CGDA,CGCA --keys -o how.pdf": "how.pdf",
        "export tunes --to json -o all.json": "all.json",
        "export tunes --to midi -o out": "out/a-1.mid",
        "export tunes --to abc -o out": "out/a.abc",
        "export tunes --to musicxml -o out": "out/a-1.musicxml",
        "export tunes --to ly -o out": "out/a-1.ly",
        "instrument": None,
        "instrument -o harpa.pdf": "harpa.pdf",
        "settings tunes": "tunes/tunes.toml",
        "cache show": None,
    }
    codes, errors = codes_of(place, *made)
    assert dict(zip(made, codes, strict=True)) == dict.fromkeys(made, 0), errors
    for name in filter(None, made.values()):
        assert (place / name).stat().st_size > 20, name


def test_a_book_is_refused_at_once_with_the_way_to_get_it(place: Path) -> None:
    commands = (
        "build tunes -o book.pdf",
        "retune tunes --to CGCA -o book.pdf",
        "learn tunes --ask 3 -o book.pdf",
    )
    codes, errors = codes_of(place, *commands)
    assert codes == [4, 4, 4]
    lines = errors.strip().splitlines()
    assert len(lines) == 3
    for line in lines:
        assert line.startswith("LilyPond, which engraves the music, was not found; install it ")
    assert not (place / "book.pdf").exists()
