"""A book of which only a part is made anew is the same book, whatever was kept of it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from small_pieces import ENDLESS, NO_SUCH_COMMAND, piece

from tunebook.model.arrangement import TuneOutcome
from tunebook.model.piece import Piece
from tunebook.model.tune import Tune
from tunebook.pipeline import check
from tunebook.pipeline.build import build
from tunebook.pipeline.engraving import Engraving
from tunebook.pipeline.load import BuildOrder, Setup, prepare
from tunebook.store import Store, cache_folder

TUNES = """X:1
T:Linköl
M:3/4
L:1/4
K:D
"D"D F A|"A7"c2 e|d3|]

X:2
T:Harsvik
M:2/4
L:1/8
K:G
G2 B2|"Am"A2 c2|B4|]

X:3
T:Norrbro
M:3/4
L:1/4
K:Am
A B c|e2 d|A3|]
"""
SETTINGS = 'title = "Kept"\n[[edition]]\nname = "player"\nparts = ["contents", "ladder", "signs"]\n'


@pytest.fixture(scope="module")
def home(home_with_fonts: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A book of which the second tune was changed after the first build, so that the third stands
    one line further down, and the cache as it was then."""
    home = tmp_path_factory.mktemp("kept")
    shutil.copytree(home_with_fonts, home / "cache", dirs_exist_ok=True)
    (home / "t").mkdir()
    (home / "t" / "tunes.toml").write_text(SETTINGS, "utf-8")
    path = home / "t" / "a.abc"
    path.write_text(TUNES, "utf-8")
    begun: list[tuple[str, ...]] = []
    before = Engraving.begin

    def begin(self: Engraving, pieces: Mapping[str, Piece]) -> None:
        begun.append(tuple(pieces))
        before(self, pieces)

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(home / "cache"))
        patch.setattr(Engraving, "begin", begin)
        made(home)
        assert begun == []
        path.write_text(TUNES.replace("G2 B2|", "G2 B2|\nd2 B2|"), "utf-8")
        made(home)
        assert begun == [("a.abc:2",)]
        (home / "book.pdf").rename(home / "changed.pdf")
        yield home


def made(home: Path) -> bytes:
    build(prepare(home / "t"), BuildOrder(home / "book.pdf", jobs=1))
    return (home / "book.pdf").read_bytes()


def _kept(*kinds: str) -> list[Path]:
    folder = cache_folder() / "engraved"
    return [path for kind in kinds for path in folder.glob(f"{kind}/*/*")]


def test_a_changed_tune_is_engraved_at_once_and_the_book_is_the_same(home: Path) -> None:
    for path in _kept("tunes", "solved", "books", "leaves"):
        path.unlink()
    assert made(home) == (home / "changed.pdf").read_bytes()


def test_damaged_tunes_and_answers_are_made_again(home: Path) -> None:
    changed = _kept("tunes", "solved")
    assert len(changed) >= 6
    for number, path in enumerate(changed):
        data = path.read_bytes()
        path.write_bytes((data[: len(data) // 2], b"", data[:-4] + b"abcd")[number % 3])
    for path in _kept("books"):
        path.unlink()
    assert made(home) == (home / "changed.pdf").read_bytes()


def test_with_nothing_kept_the_pages_look_the_same(home: Path) -> None:
    """Only the numbers of the engraver's glyphs depend on what was engraved together."""
    for path in _kept("tunes", "solved", "books", "leaves", "pieces", "sheets"):
        path.unlink()
    made(home)
    with pikepdf.open(home / "book.pdf") as new, pikepdf.open(home / "changed.pdf") as old:
        assert [_text_operators(page) for page in new.pages] == [
            _text_operators(page) for page in old.pages
        ]
    if shutil.which("pdftoppm") is not None:
        assert _picture(home / "book.pdf") == _picture(home / "changed.pdf")


def _text_operators(page: Any) -> bytes:
    return bytes(pikepdf.unparse_content_stream(pikepdf.parse_content_stream(page)))


def _picture(path: Path) -> bytes:
    command = ["pdftoppm", "-r", "50", "-gray", str(path)]
    return subprocess.run(command, capture_output=True, check=True).stdout


def test_what_is_begun_and_what_is_not_come_together(tmp_path: Path) -> None:
    pieces = {name: piece(name + "'4") for name in ("c", "d", "e")}
    pieces["bad"] = piece(NO_SUCH_COMMAND)
    said: list[tuple[int, int]] = []
    with Engraving(Store(tmp_path), 1) as engraving:
        engraving.begin({name: pieces[name] for name in ("bad", "d")})
        done, failures = engraving.finish(
            pieces, lambda _, name, done, all: said.append((done, all))
        )
        assert set(done) == {"c", "d", "e"}
        assert all(one.pdf.is_file() for one in done.values())
        assert [one.identity for one in failures] == ["bad"]
        assert said[-1] == (4, 4)
        folder = done["d"].pdf.parent
    assert not folder.exists()


def test_leaving_ends_what_is_being_engraved(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), Engraving(Store(tmp_path), 1) as engraving:
        engraving.begin({"endless": piece(ENDLESS)})
        raise KeyboardInterrupt
    assert engraving._future is not None and engraving._future.done()


def test_a_second_check_solves_only_what_changed_and_says_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = tmp_path / "a.abc"
    solved: list[str] = []
    before = check.arrange_tune

    def noted(tune: Tune, setup: Setup) -> TuneOutcome:
        solved.append(tune.number)
        return before(tune, setup)

    monkeypatch.setattr(check, "arrange_tune", noted)
    # A remark on a bow that has no string, so that solving has something to say.
    text = TUNES.replace("A B c|e2 d|A3|]", "A B c|[A2e2c'2] d|A3|]")
    for changed, expected in (
        (text, ["1", "2", "3"]),
        (text, []),
        (text.replace("G2 B2|", "G2 B2|\nd2 B2|"), ["2"]),
        (text.replace("G2 B2|", "G2 B2|\nd2 B2|") + "\nX:4\nT:Ny\nK:D\nD4|]\n", ["4"]),
    ):
        path.write_text(changed, "utf-8")
        solved.clear()
        found = check.check_folder(prepare(tmp_path), jobs=1)
        assert solved == expected and found.messages
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "empty"))
        shutil.rmtree(tmp_path / "empty", ignore_errors=True)
        assert repr(found) == repr(check.check_folder(prepare(tmp_path), jobs=1))
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    solved.clear()
    check.check_folder(prepare(tmp_path), jobs=1, verify=True)
    assert solved == ["1", "2", "3", "4"]
