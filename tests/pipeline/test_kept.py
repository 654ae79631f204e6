from __future__ import annotations

import subprocess
import sys
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
from score_writing import START, measure, note, score

from tunebook.errors import Message, SourcePlace
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.kept import Whereabouts, book_sum, fetch, keep, moved, setup_sum
from tunebook.pipeline.load import (
    BuildOrder,
    Setup,
    Wishes,
    load,
    no_progress,
    prepare,
    read_files,
)
from tunebook.pipeline.order import unique_identities
from tunebook.pipeline.outcomes import messages_of
from tunebook.pipeline.sources import kept_leaves, write_sources
from tunebook.store import NO_STORE, Kind, Store
from tunebook.write.lilypond import abjad_leaves, leaves
from tunebook.write.lilypond.abjad_leaves import leaf_text


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    store = Store(tmp_path)
    keep(store, "solved", "ab12", ("value", 3))
    assert fetch(store, "solved", "ab12") == ("value", 3)
    assert fetch(store, "solved", "ab13") is None
    assert fetch(store, "books", "ab12") is None


def test_what_other_versions_of_the_packages_made_is_as_good_as_none(tmp_path: Path) -> None:
    store = Store(tmp_path)
    # A module that is not there (pickle's protocol 0, Python's documentation of pickletools).
    store.keep("solved", "ab12", b"cno_such_module\nName\n.")
    assert store.fetch("solved", "ab12") is not None
    assert fetch(store, "solved", "ab12") is None


def test_messages_move_with_their_tune_and_its_choices() -> None:
    places = [SourcePlace("a.abc", 4, 2), SourcePlace("a.abc"), SourcePlace("other.abc", 4)]
    places += [SourcePlace("old/tunes.toml", 3), SourcePlace("old/tunes.toml", 9)]
    before = Whereabouts(SourcePlace("a.abc", 1), SourcePlace("old/tunes.toml", 3))
    now = Whereabouts(SourcePlace("b.abc", 11), SourcePlace("new/tunes.toml", 5))
    found = moved([Message(place, "x", "what") for place in places], before, now)
    assert [str(one.place) for one in found] == [
        "b.abc:14:2", "b.abc", "other.abc:4", "new/tunes.toml:5", "old/tunes.toml:9"
    ]  # fmt: skip


LOW = 'X:7\nT:Low\nM:3/4\nL:1/4\nK:D\n"D"D,, F A|d3|]\n'
NO_SUCH_DRONE = '[tune."\u00e5.abc:7"]\ndrone = "F9"\n'


@pytest.mark.parametrize("transpose", ["", "transpose = 12\n"])
def test_kept_messages_point_to_where_tune_and_choices_stand_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, transpose: str
) -> None:
    """In another folder, at other lines, and in a file whose name has its letters decomposed, as
    some systems keep them (Unicode Standard Annex 15)."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    store = Store(tmp_path / "store")
    settings = NO_SUCH_DRONE + transpose
    for folder, form, above in [("t", "NFC", ""), ("u", "NFC", ""), ("u", "NFD", "\n\n")]:
        home = tmp_path / folder
        home.mkdir(exist_ok=True)
        for old in home.glob("*.abc"):
            old.unlink()
        name = unicodedata.normalize(form, "\u00e5.abc")
        (home / name).write_text(above + LOW, "utf-8")
        title = 'title = "Low"\n\n' * bool(above)
        (home / "tunes.toml").write_text(title + settings, "utf-8")
        setup = prepare(home)
        wanted = _messages(setup, NO_STORE)
        assert {one.place.path for one in wanted} >= {name, str(home / "tunes.toml")}
        assert _messages(setup, store) == wanted
        assert store.size("solved").files == 1, "it was solved again"
        checked = check_folder(setup, jobs=1).messages
        assert {(one.place.line, one.what) for one in checked} == {
            (one.place.line, one.what) for one in wanted
        }
        assert all(Path(one.place.path).parent == home for one in checked)


def _messages(setup: Setup, store: Store) -> tuple[Message, ...]:
    """What is said of the one tune, which stands where it was read."""
    tunes = load(setup).tunes
    names = unique_identities(tunes)
    (made,) = write_sources(tunes, names, setup, BuildOrder(jobs=1), store, None, no_progress)
    arrangement = made.outcome.arrangement
    assert made.outcome.tune == tunes[0] and arrangement is not None
    assert arrangement.tune.place == tunes[0].place
    return messages_of([made.outcome])


def test_another_tuning_or_edition_is_another_sum(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text("X:1\nT:T\nK:D\nDEF|]\n")
    sums = {
        setup_sum(prepare(tmp_path, wishes))
        for wishes in (Wishes(), Wishes(tuning="CGCA"), Wishes(edition="teacher"), Wishes())
    }
    assert len(sums) == 3


def test_a_changed_file_is_another_book(tmp_path: Path) -> None:
    path = tmp_path / "a.abc"
    path.write_text("X:1\nT:T\nK:D\nDEF|]\n")
    setup, output = prepare(tmp_path), tmp_path / "book.pdf"
    before = book_sum(setup, None, output, read_files(setup))
    assert before == book_sum(setup, None, output, read_files(setup))
    path.write_text("X:1\nT:T\nK:D\nDEG|]\n")
    assert before != book_sum(setup, None, output, read_files(setup))


def test_an_unchanged_book_is_fetched_without_what_makes_one() -> None:
    code = "import sys, tunebook.pipeline.build; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    makers = ("abjad", "numpy", "pikepdf", "reportlab", "tunebook.book.", "tunebook.engrave.")
    assert [name for name in done.stdout.split() if name.startswith(makers)] == []


def test_all_that_is_kept_is_counted_and_cleared(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    from tunebook.pipeline.build import build
    from tunebook.pipeline.cache import clear_cache, describe_cache, fault_folder
    from tunebook.pipeline.load import BuildOrder

    keep_fonts_in(tmp_path / "cache")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    # Else another test may have made all of these leaves.
    monkeypatch.setattr(abjad_leaves, "_texts", {})
    leaves.leaf_lines.cache_clear()
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "t.musicxml").write_bytes(score(measure(1, START, note("D4", 12))))
    build(prepare(tmp_path / "t"), BuildOrder(tmp_path / "book.pdf"))
    home = tmp_path / "cache" / "tunebook" / "engraved"
    kept = [path for path in home.rglob("*") if path.is_file()]
    assert {path.relative_to(home).parts[0] for path in kept} == set(get_args(Kind))
    size = sum(path.stat().st_size for path in kept)
    assert f": {len(kept)} files" in describe_cache() and f"{size / 1e6:.1f} MB" in describe_cache()
    fault_folder().mkdir()
    (fault_folder() / "tunebook-fault-1.txt").touch()
    assert "reports of faults: 1" in describe_cache()
    assert f": {len(kept)} files" in clear_cache()
    assert [path for path in home.parent.rglob("*") if path.is_file()] == []
    assert ": 0 files" in describe_cache()


def test_leaves_are_made_by_abjad_once_and_then_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts: dict[object, str] = {}
    new: dict[object, str] = {}
    monkeypatch.setattr(abjad_leaves, "_texts", texts)
    monkeypatch.setattr(abjad_leaves, "_new_texts", new)
    store = Store(tmp_path)
    with kept_leaves(store):
        assert leaf_text("fs''!", "4.") == "fs''!4."
    texts.clear()

    def refuse(*_: object) -> str:
        raise AssertionError("made again")

    monkeypatch.setattr(abjad_leaves, "text_of_leaf", refuse)
    size = store.size("leaves")
    with kept_leaves(store):
        assert leaf_text("fs''!", "4.") == "fs''!4."
    assert size == store.size("leaves") and size.files == 1
