"""Scores whose ABC is fetched instead of made are those that the making gives."""

from __future__ import annotations

import subprocess
import sys
from importlib import metadata
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from score_writing import START, direction, measure, note, packed, score

from tunebook.errors import Message
from tunebook.pipeline import kept_scores
from tunebook.pipeline.kept import book_sum
from tunebook.pipeline.kept_scores import with_kept_scores
from tunebook.pipeline.kept_tunes import reader_with
from tunebook.pipeline.load import BuildOrder, each_file, load, no_progress, prepare, read_files
from tunebook.pipeline.order import unique_identities
from tunebook.pipeline.outcomes import messages_of
from tunebook.pipeline.remembered import remembering
from tunebook.pipeline.sources import write_sources
from tunebook.read.folder import AbcFile, score_as_abc_file, with_scores_as_abc
from tunebook.read.limits import ReadingLimits
from tunebook.read.scores.score import score_as_abc
from tunebook.store import NO_STORE, Store

CHORDLESS = "<harmony><kind>major</kind></harmony>"
LISA = score(
    measure(1, START, CHORDLESS, note("D4"), note("F#4"), note("A4"))
    + measure(2, direction("<words>lento</words>"), note("D5", 12))
)
LOW = score(measure(1, START, note("D2"), note("F#4"), note("A4")))
FILES = {
    "a.abc": b"X:1\nT:Harsvik\nL:1/4\nM:3/4\nK:D\nDFA|]\n",
    "bad.musicxml": b"<score-partwise/>",
    "lisa.musicxml": LISA,
    "sub/packed.mxl": packed(LOW),
}


@pytest.fixture
def home(tmp_path: Path) -> Path:
    for name, data in FILES.items():
        path = tmp_path / "t" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return tmp_path / "t"


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the scores of which ABC is made from now on."""
    names: list[str] = []

    def noted(file: AbcFile, limits: ReadingLimits) -> AbcFile | Message:
        names.append(file.name)
        return score_as_abc_file(file, limits)

    monkeypatch.setattr(kept_scores, "score_as_abc_file", noted)
    return names


def _files(home: Path, store: Store, jobs: int = 1) -> list[AbcFile | Message]:
    setup = prepare(home)
    return list(with_kept_scores(each_file(setup), setup, store, jobs))


def _plain(home: Path) -> list[AbcFile | Message]:
    """The files with nothing kept and nothing spread."""
    return list(with_scores_as_abc(each_file(prepare(home))))


def test_unchanged_scores_are_fetched_and_equal(
    home: Path, tmp_path: Path, made: list[str]
) -> None:
    store = Store(tmp_path / "store")
    first = _files(home, store)
    assert made == ["bad.musicxml", "lisa.musicxml", "sub/packed.mxl"]
    again = _files(home, store)
    assert len(made) == 3
    assert repr(again) == repr(first) == repr(_plain(home))
    said = [one for one in again if isinstance(one, AbcFile) and one.messages]
    assert [one.messages[0].place.spot for one in said] == ["part Harpa bar 1"]


def test_a_score_in_another_folder_or_packed_is_fetched_and_bears_its_name(
    home: Path, tmp_path: Path, made: list[str]
) -> None:
    store = Store(tmp_path / "store")
    _files(home, store)
    (home / "new").mkdir()
    for name in ("lisa.musicxml", "bad.musicxml"):
        (home / name).rename(home / "new" / name.replace(".musicxml", ".xml"))
    made.clear()
    found = _files(home, store)
    assert made == []
    assert repr(found) == repr(_plain(home))
    # The name without its ending may be the title.
    (home / "new" / "lisa.xml").rename(home / "new" / "britta.xml")
    assert repr(_files(home, store)) == repr(_plain(home))
    assert made == ["new/britta.xml"]


@pytest.mark.parametrize("most", ["score_notes", "file_bytes"])
def test_another_limit_of_scores_makes_them_anew(
    home: Path, tmp_path: Path, made: list[str], most: str
) -> None:
    store = Store(tmp_path / "store")
    _files(home, store)
    made.clear()
    (home / "tunes.toml").write_text(f"[reading]\n{most} = 40000\n", "utf-8")
    _files(home, store)
    assert len(made) == 3
    made.clear()
    (home / "tunes.toml").write_text(f"[reading]\n{most} = 40000\nvoices = 2\n", "utf-8")
    _files(home, store)
    assert made == []


def test_no_other_limit_is_asked_for_when_a_score_is_made_abc() -> None:
    limits: Any = SimpleNamespace(file_bytes=100_000, score_notes=100)
    for data in (LISA, packed(LISA)):
        found = score_as_abc(data, "lisa.mxl", limits)
        assert found == score_as_abc(data, "lisa.mxl", ReadingLimits())


def test_another_music21_makes_scores_and_their_book_anew(
    home: Path, tmp_path: Path, made: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    setup, output, store = prepare(home), tmp_path / "book.pdf", Store(tmp_path / "store")
    _files(home, store)
    before = book_sum(setup, None, output, read_files(setup))
    own = metadata.version
    monkeypatch.setattr(metadata, "version", lambda name: own(name) + "x" * (name == "music21"))
    kept_scores._reader_version.cache_clear()
    _files(home, store)
    kept_scores._reader_version.cache_clear()
    assert len(made) == 6
    assert before != book_sum(setup, None, output, read_files(setup))


def test_a_damaged_score_is_made_anew(home: Path, tmp_path: Path, made: list[str]) -> None:
    store = Store(tmp_path / "store")
    first = _files(home, store)
    kept = sorted((tmp_path / "store" / "scores").glob("*/*"))
    assert len(kept) == 3
    for path, damage in zip(kept, (b"", kept[1].read_bytes()[:-9], b"\0" * 90), strict=True):
        path.write_bytes(damage)
    made.clear()
    assert repr(_files(home, store)) == repr(first)
    assert len(made) == 3


def test_without_a_store_scores_are_only_remembered(home: Path, made: list[str]) -> None:
    for _ in range(2):
        _files(home, NO_STORE)
    assert len(made) == 6
    made.clear()
    with remembering():
        first = _files(home, NO_STORE)
        assert repr(_files(home, NO_STORE)) == repr(first)
    assert len(made) == 3


@pytest.mark.parametrize(
    "place", ["tunebook.read.scores.score._read", "music21.musicxml.xmlToM21.MeasureParser"]
)
def test_a_lack_of_memory_is_not_kept(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    store = Store(tmp_path / "store")

    def fail(*_: object, **__: object) -> object:
        raise MemoryError

    with monkeypatch.context() as patch:
        patch.setattr(place, fail)
        assert sum(isinstance(one, Message) for one in _files(home, store)) == 3
    assert repr(_files(home, store)) == repr(_plain(home))


def test_many_new_scores_keep_their_order(home: Path, tmp_path: Path) -> None:
    for number in range(12):
        title = f"<work><work-title>Vals {number}</work-title></work>"
        text = score(measure(1, START, note("D4", 12)), head=title)
        (home / f"v{number:02}.musicxml").write_bytes(text)
    store = Store(tmp_path / "store")
    wanted = repr(_plain(home))
    assert repr(_files(home, store, jobs=2)) == wanted
    assert store.size("scores").files == 15
    assert repr(_files(home, store, jobs=2)) == wanted


def test_files_are_held_a_few_at_a_time(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = repr(_plain(home))
    for name in ("MOST_FILES_AT_ONCE", "MOST_BYTES_AT_ONCE"):
        with monkeypatch.context() as patch:
            patch.setattr(kept_scores, name, 2)
            setup = prepare(home)
            files = iter(list(each_file(setup)))
            found = with_kept_scores(files, setup, Store(tmp_path), 1)
            first = next(found)
            assert len(list(files)) in (2, 3)
            assert repr(first) in wanted


def test_what_is_said_of_a_solved_score_names_the_part_as_it_is_called_now(
    home: Path, tmp_path: Path
) -> None:
    store = Store(tmp_path / "store")
    path = home / "low.musicxml"
    for name in ("Harpa", "Nyckelharpa"):
        path.write_bytes(LOW.replace(b">Harpa<", f">{name}<".encode()))
        setup = prepare(path)
        files = with_kept_scores(each_file(setup), setup, store, 1)
        tunes = load(setup, files, reader=reader_with(store)).tunes
        names = unique_identities(tunes)
        order = BuildOrder(jobs=1)
        sources = write_sources(tunes, names, setup, order, store, None, no_progress)
        said = messages_of(one.outcome for one in sources)
        assert {one.place.spot for one in said} == {f"part {name} bar 1"}


def test_an_unchanged_folder_of_scores_is_checked_without_music21(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    code = (
        "import sys; from pathlib import Path; from tunebook.pipeline.check import check_folder\n"
        "from tunebook.pipeline.load import prepare\n"
        f"report = check_folder(prepare(Path({str(home)!r})), jobs=1)\n"
        "print('music21' in sys.modules, report)"
    )
    said = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        for _ in range(2)
    ]
    first, again = (one.stdout.split(" ", 1) for one in said)
    assert (first[0], again[0]) == ("True", "False")
    assert first[1] == again[1]
