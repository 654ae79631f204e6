"""Text from strangers never runs as code, and prints as it was typed, from file to PDF."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

HOSTILE = (
    '#(system "touch MARKER")',
    '" #(system "touch MARKER") "',
    "\\\" } #(system \"touch MARKER\")",
    "$(system \"touch MARKER\")",
    "}}}} \\include \"MARKER\" {{{{",
    "% \\bookOutputName \"../MARKER\"",
    "<b>bold</b> &amp; <para>",
    "\\markup \\verbatim-file \"/etc/passwd\"",
    "a\u202eb\u2066c\ufeffd\u2028e",
)  # fmt: skip


def tune(number: int, text: str) -> str:
    quoted = text.replace('"', "''")
    return (
        f"X:{number}\nT:T {text}\nT:Other {text}\nC:{text}\nO:{text}\nR:{text}\nS:{text}\n"
        f'N:{text}\nZ:{text}\nH:{text}\nB:{text}\nP:{text}\nM:2/4\nL:1/8\nQ:"{quoted}" 1/4=100\n'
        f'K:D\n%%text {text}\nP:{text}\n"^{quoted}""{quoted}"d2 !{quoted.replace("!", "")}!e2|'
        f'"_{quoted}"d4|[P:{text.replace("]", "")}]d4|]\nw:{text}\nW:{text}\nW:{text}\n\n'
    )


BOOK = """title = {0}
subtitle = {0}
editor = {0}
[[set]]
title = {0}
note = {0}
tunes = ["a.abc:1", {0}]
[tune.{0}]
drone = {0}
"""


@pytest.fixture
def hostile_folder(tmp_path: Path) -> Path:
    import json

    folder = tmp_path / "tunes"
    folder.mkdir()
    tunes = "".join(tune(number, text) for number, text in enumerate(HOSTILE, start=1))
    (folder / "a.abc").write_text(tunes, encoding="utf-8")
    nasty = '#(system "touch MARKER") </b> \\" {'
    (folder / "tunes.toml").write_text(BOOK.format(json.dumps(nasty)), encoding="utf-8")
    return folder


def test_hostile_text_in_every_field_is_printed_and_never_run(
    hostile_folder: Path, tmp_path: Path, keep_fonts_in: Callable[[Path], None]
) -> None:
    keep_fonts_in(tmp_path / "cache")
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache")}
    done = subprocess.run(
        [sys.executable, "-m", "tunebook", "build", "tunes", "-o", "book.pdf", "--keep-source",
         "ly", "--edition", "teacher"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.rglob("*MARKER*")) == []
    assert not Path("MARKER").exists()
    if shutil.which("pdftotext") is None:
        assert not os.environ.get("CI"), "pdftotext is missing"
        pytest.skip("pdftotext (poppler-utils) is not installed")
    command = ["pdftotext", "-layout", "book.pdf", "-"]
    text = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    squeezed = "".join(text.split())
    for wanted in ('#(system"touchMARKER")', "$(system", "<b>bold</b>", "\\include"):
        assert wanted in squeezed


def test_no_line_of_the_source_is_made_of_tune_text(hostile_folder: Path) -> None:
    from tunebook.model.book import Edition, HandChoice
    from tunebook.read.folder import read_folder
    from tunebook.read.settings.profile import read_hand, read_instrument
    from tunebook.solve.arrange import arrange
    from tunebook.write.lilypond.source import write_source

    harpa, hand = read_instrument("nyckelharpa-3row"), read_hand(HandChoice())
    for one in read_folder(hostile_folder).tunes:
        source = write_source(
            arrange(one, harpa, hand), Edition("player"), line_width_pt=480.0
        ).text
        outside, is_inside, skip = [], False, False
        for letter in source:
            if skip:
                skip = False
            elif letter == "\\" and is_inside:
                skip = True
            elif letter == '"':
                is_inside = not is_inside
            elif not is_inside:
                outside.append(letter)
        assert not is_inside
        assert "MARKER" not in "".join(outside)
        assert "passwd" not in "".join(outside)


@pytest.mark.parametrize("profile", ["../evil.toml", "/etc/passwd", "a/../../evil.toml"])
def test_a_profile_cannot_lie_outside_the_folder(tmp_path: Path, profile: str) -> None:
    from tunebook.errors import SettingError
    from tunebook.pipeline.load import prepare

    folder = tmp_path / "tunes"
    folder.mkdir()
    (folder / "tunes.toml").write_text(f'[instrument]\nprofile = "{profile}"\n', encoding="utf-8")
    with pytest.raises(SettingError, match="lies outside the folder"):
        prepare(folder)


def test_an_include_directive_reads_no_other_file(tmp_path: Path) -> None:
    from tunebook.read.folder import read_folder

    (tmp_path / "secret.abh").write_text("T:secret\n", encoding="utf-8")
    folder = tmp_path / "tunes"
    folder.mkdir()
    (folder / "a.abc").write_text(
        "%%abc-include ../secret.abh\nX:1\nT:T\nK:D\n%%abc-include ../secret.abh\nD4|]\n",
        encoding="utf-8",
    )
    tunes = read_folder(folder).tunes
    assert [one.titles for one in tunes] == [("T",)]
