"""Coverage-guided fuzzing of everything that takes text from strangers; run by hand.

Usage: python tests/fuzz/fuzz.py TARGET [libFuzzer options, e.g. -max_total_time=300]

TARGET is ``abc`` (any bytes as a file of tunes), ``book`` (any text as tunes.toml) or ``source``
(any text as a tune, all the way to LilyPond source). Wants the package atheris (PyPI). Anything
but a TunebookError is a finding.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["tunebook"]):
    from tunebook.errors import TunebookError
    from tunebook.model.book import Edition, HandChoice
    from tunebook.read.abc.tune import read_abc
    from tunebook.read.folder import read_folder
    from tunebook.read.settings.profile import read_hand, read_instrument
    from tunebook.read.settings.tunes_file import parse_settings, read_settings
    from tunebook.solve.arrange import arrange
    from tunebook.write.lilypond.source import write_source

WIDTH_PT = 480.0
EDITIONS = read_settings(None)[0].editions
HARPA = read_instrument("nyckelharpa-3row")
HAND = read_hand(HandChoice())
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))


def fuzz_abc(data: bytes) -> None:
    path = FOLDER / "a.abc"
    path.write_bytes(data)
    reading = read_folder(path)
    assert all("\n" not in str(message) for message in reading.messages)


def fuzz_settings(data: bytes) -> None:
    book, _ = parse_settings(data.decode("utf-8", "replace"), "tunes.toml", EDITIONS)
    assert book.paper in ("a4", "letter", "a5")


def fuzz_source(data: bytes) -> None:
    text = "X:1\nT:t\nL:1/8\nM:3/4\nK:D\n" + data.decode("utf-8", "replace")
    for tune in read_abc(text)[:2]:
        arrangement = arrange(tune, HARPA, HAND)
        source = write_source(arrangement, Edition("player"), line_width_pt=WIDTH_PT).text
        assert source.count('"') % 2 == source.count('\\"') % 2


TARGETS: dict[str, Callable[[bytes], None]] = {
    "abc": fuzz_abc,
    "settings": fuzz_settings,
    "source": fuzz_source,
}


def main() -> None:
    target = TARGETS[sys.argv.pop(1)]

    def one_input(data: bytes) -> None:
        try:
            target(data)
        except TunebookError as error:
            assert "\n" not in str(error).strip(), error

    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
