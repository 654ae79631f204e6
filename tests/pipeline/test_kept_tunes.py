"""Tunes that are fetched instead of read are those that reading gives."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.model.tune import Tune
from tunebook.pipeline import load
from tunebook.pipeline.kept_tunes import reader_with
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_tune
from tunebook.read.limits import ReadingLimits
from tunebook.store import NO_STORE, Store

SAMPLES = Path(__file__).parents[2] / "sample_tunes"
# Messages, one of them with numbers of lines; a file header; voices, words, chords.
TUNES = """%abc-2.1
M:3/4
O:Harsvik

X:1
T:Linkölyckans vals
L:1/4
K:D
"D"D F A|"A7"c2 e f|{g}f>e d|d2 z|]
w:one two three four
W:A verse

X:2
T:Slurs that stay open
L:1/4
K:G
(G A B|(A2 G|(B A G|
(G3|]

X:3
T:Two voices
L:1/4
K:Am
V:1
A B c|e3|]
V:2
A3|E3|]

X:4
T:A tuplet and an unknown sign
L:1/8
K:Em
(3EFG !nosuch!A2 B2|e4 z2|]
"""


def _texts(text: str, name: str = "a.abc") -> list[TuneText]:
    return [one for one in cut_into_tunes(text, name) if isinstance(one, TuneText)]


@pytest.fixture
def no_reading(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The titles of the tunes that are read from now on."""
    read: list[str] = []

    def noted(text: TuneText, **wishes: object) -> Tune:
        read.append(text.number)
        return read_tune(text, **wishes)  # type: ignore[arg-type]

    monkeypatch.setattr(load, "read_tune", noted)
    return read


def test_unchanged_tunes_are_fetched_and_equal(tmp_path: Path, no_reading: list[str]) -> None:
    reader = reader_with(Store(tmp_path))
    for path in (None, *sorted(SAMPLES.glob("*.abc"))):
        texts = _texts(TUNES) if path is None else _texts(path.read_text("utf-8"), path.name)
        first = [reader(text) for text in texts]
        no_reading.clear()
        again = [reader(text) for text in texts]
        assert no_reading == []
        assert repr(again) == repr(first) == repr([read_tune(text) for text in texts])


def test_tunes_that_moved_in_their_file_are_as_if_read_there(
    tmp_path: Path, no_reading: list[str]
) -> None:
    reader = reader_with(Store(tmp_path))
    for text in _texts(TUNES):
        reader(text)
    for above in ("X:9\nT:New\nK:D\nDEF|]\n\n", "\n\n% a remark\n\n"):
        no_reading.clear()
        cut = TUNES.index("X:1")
        moved = _texts(TUNES[:cut] + above + TUNES[cut:])
        assert repr([reader(text) for text in moved]) == repr([read_tune(text) for text in moved])
        # The one whose message tells numbers of lines is read again.
        assert "2" in no_reading
        assert not {"1", "3", "4"} & set(no_reading)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("D F A", "D G A"),
        lambda text: text.replace("O:Harsvik", "O:Linköl"),
        lambda text: text.replace("M:3/4", "M:2/4"),
    ],
)
def test_a_changed_tune_or_file_header_is_read(tmp_path: Path, change) -> None:  # type: ignore[no-untyped-def]
    reader = reader_with(Store(tmp_path))
    assert [reader(text).number for text in _texts(TUNES)] == ["1", "2", "3", "4"]
    changed = _texts(change(TUNES))
    assert repr([reader(text) for text in changed]) == repr([read_tune(text) for text in changed])


def test_another_voice_limit_or_file_name_is_another_tune(tmp_path: Path) -> None:
    reader = reader_with(Store(tmp_path))
    for voice, limits in ((None, ReadingLimits()), ("2", ReadingLimits()),
                          (None, ReadingLimits(voices=1))):  # fmt: skip
        for name in ("a.abc", "b.abc"):
            text = _texts(TUNES, name)[2]
            found = reader(text, voice=voice, limits=limits)
            assert repr(found) == repr(read_tune(text, voice=voice, limits=limits))


def test_a_damaged_tune_is_read_again(tmp_path: Path, no_reading: list[str]) -> None:
    reader = reader_with(Store(tmp_path))
    text = _texts(TUNES)[0]
    reader(text)
    (path,) = (tmp_path / "tunes").glob("*/*")
    for content in (b"", path.read_bytes()[:-9], path.read_bytes()[:60] + b"\0" * 60):
        path.write_bytes(content)
        no_reading.clear()
        assert repr(reader(text)) == repr(read_tune(text))
        assert no_reading == ["1"]


def test_without_a_store_nothing_is_kept() -> None:
    text = _texts(TUNES)[0]
    assert repr(reader_with(NO_STORE)(text)) == repr(read_tune(text))
