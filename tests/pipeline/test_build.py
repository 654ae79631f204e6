"""Books from end to end, with the real engraver, read back with pikepdf and pdftotext."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest

from tunebook.engrave.program import clean_environment, find_lilypond
from tunebook.errors import InputError, SettingError
from tunebook.model.book import BuildReport
from tunebook.pipeline.build import build, build_book, retune_book
from tunebook.pipeline.load import BuildOrder, Setup, Wishes, load, prepare
from tunebook.pipeline.sources import source_of_tune

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
BOOK = """title = "Två låtar & <mer>"
editor = "Lina"
paper = "{paper}"
language = "{language}"
booklet = {booklet}
[[set]]
title = "Kväll"
tunes = ["polskor.abc:3", "polskor.abc:1"]
"""


def folder_with(tmp_path: Path, paper: str = "a4", language: str = "en", more: str = "") -> Path:
    folder = tmp_path / "tunes"
    folder.mkdir(exist_ok=True)
    for name in ("polskor.abc", "danser.abc"):
        shutil.copy(SAMPLES / name, folder / name)
    booklet = "true" if paper == "a5" else "false"
    text = BOOK.format(paper=paper, language=language, booklet=booklet) + more
    (folder / "tunes.toml").write_text(text, encoding="utf-8")
    return folder


def made(setup: Setup, tmp_path: Path, name: str = "book.pdf", **order: object) -> BuildReport:
    return build(setup, BuildOrder(output=tmp_path / name, jobs=1, **order))  # type: ignore


def text_of(pdf: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    command = ["pdftotext", "-layout", str(pdf), "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


@pytest.fixture(autouse=True)
def own_cache(
    shared_folder: Path, keep_fonts_in: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    # One cache for all tests of this file: what several books have in common is engraved once.
    home = shared_folder / "book-cache"
    if not home.exists():
        keep_fonts_in(home)
    monkeypatch.setenv("XDG_CACHE_HOME", str(home))


def outline_titles(pdf: pikepdf.Pdf) -> list[str]:
    with pdf.open_outline() as outline:
        titles = []
        for item in outline.root:
            titles.append(item.title)
            titles += [child.title for child in item.children]
    return titles


@pytest.mark.parametrize(
    "edition", ["player", "teacher", "student-1", "student-2", "student-3", "accompanist"]
)
def test_every_edition_holds_every_tune(tmp_path: Path, edition: str) -> None:
    setup = prepare(folder_with(tmp_path), Wishes(edition=edition))
    report = made(setup, tmp_path)
    assert (report.tune_count, report.left_out) == (8, ())
    with pikepdf.open(report.output) as pdf:
        titles = outline_titles(pdf)
        assert len(pdf.pages) == report.pages
    for title in ("Tjäderspelet", "Trollsländan", "Blåbärspolketten"):
        assert title in titles
    has_practice = setup.edition.shows_practice
    assert ("Practice pages" in text_of(report.output)) is has_practice


def test_a_tight_book_takes_fewer_pages_for_the_same_tunes(tmp_path: Path) -> None:
    own = '[[edition]]\nname = "tight"\nbased_on = "player"\ndensity = "tight"\n'
    folder = folder_with(tmp_path, more=own)
    for name in ("valser.abc", "gang_och_brud.abc"):
        shutil.copy(SAMPLES / name, folder / name)
    roomy = made(prepare(folder), tmp_path, "roomy.pdf")
    tight = made(prepare(folder, Wishes(edition="tight")), tmp_path, "tight.pdf")
    assert (tight.tune_count, tight.messages) == (roomy.tune_count, roomy.messages)
    assert tight.pages < roomy.pages
    with pikepdf.open(tight.output) as pdf:
        assert set(outline_titles(pdf)) >= {"Tjäderspelet", "Trollsländan", "Blåbärspolketten"}


def test_sets_come_first_and_the_contents_link_to_them(tmp_path: Path) -> None:
    report = made(prepare(folder_with(tmp_path)), tmp_path)
    with pikepdf.open(report.output) as pdf:
        titles = outline_titles(pdf)
        assert titles.index("Trollsländan") < titles.index("Tjäderspelet")
        assert titles.index("Tjäderspelet") < titles.index("Hambo vid Slåttergillet")
        links = [
            annotation
            for page in pdf.pages
            for annotation in page.get("/Annots", [])
            if annotation.get("/Subtype") == "/Link"
        ]
        assert len(links) > 30
        assert pdf.Root.Lang == "en"
        assert pdf.docinfo["/Title"] == "Två låtar & <mer>"
        assert pdf.Root.PageLabels.Nums[1].S == "/r"
    assert "Warm up" in text_of(report.output)


@pytest.mark.parametrize(
    ("paper", "width", "height"), [("a4", 595, 842), ("letter", 612, 792), ("a5", 420, 595)]
)
def test_every_page_has_the_paper_s_size(
    tmp_path: Path, paper: str, width: int, height: int
) -> None:
    report = made(prepare(folder_with(tmp_path, paper, "sv")), tmp_path)
    with pikepdf.open(report.output) as pdf:
        sizes = {tuple(round(float(side)) for side in page.mediabox[2:]) for page in pdf.pages}
    assert sizes == {(width, height)}
    assert f"LilyPond {find_lilypond().version_text}" in text_of(report.output)
    assert "Innehåll" in text_of(report.output)
    assert (report.booklet is not None) is (paper == "a5")


def test_a_retuned_book_says_what_changed(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    before, after = prepare(folder), prepare(folder, Wishes(tuning="CGCA"))
    report = retune_book(before, after, BuildOrder(output=tmp_path / "book.pdf", jobs=1))
    assert report.retuning is not None
    assert len(report.retuning.tunes) == 8
    assert any(tune.moved_notes for tune in report.retuning.tunes)
    assert [round(one.cents) for one in report.retuning.strings] == [0, 0, -200, 0]
    # This edition prints no shapes; what the chords lose is reported all the same.
    assert not after.edition.shows_shapes
    assert any(tune.lost_chords for tune in report.retuning.tunes)
    text = text_of(report.output)
    assert "line over bars: fingered otherwise" in text
    assert "From CGDA to CGCA." in text
    assert "Retuning card" in text and "293.7 Hz" in text and "261.6 Hz" in text


def test_notes_on_choices_follow_the_bars(tmp_path: Path) -> None:
    setup = prepare(folder_with(tmp_path), Wishes(edition="teacher"))
    noted = 0
    for tune in load(setup, is_ordered=False).tunes:
        source = source_of_tune(tune, tune.title, setup, None)
        bars = [int(re.findall(r"\d+", line)[0]) for line in source.choice_notes]
        assert bars == sorted(bars) and len(set(bars)) == len(bars)
        noted += len(bars)
    assert noted > 4


def test_retuning_to_the_same_is_refused(tmp_path: Path) -> None:
    setup = prepare(folder_with(tmp_path))
    with pytest.raises(SettingError, match="CGDA is what the book has already"):
        retune_book(setup, setup, BuildOrder(output=tmp_path / "book.pdf"))


def test_a_book_is_one_plain_call(tmp_path: Path) -> None:
    folder, output = folder_with(tmp_path), tmp_path / "book.pdf"
    report = build_book(str(folder), str(output), edition="student-1", tuning="CGCA", jobs=1)
    assert (report.output, report.tune_count, report.left_out) == (output, 8, ())
    assert "tuned C G C A" in text_of(output)
    with pytest.raises(SettingError, match="no edition 'master'; known are player, teacher"):
        build_book(folder, output, edition="master")


def test_one_bad_tune_is_left_out_and_named(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    (folder / "bad.abc").write_text("X:9\nT:Bad\nM:3/4\nDEF|\n", encoding="utf-8")
    report = made(prepare(folder), tmp_path)
    assert report.tune_count == 8
    assert [message.place.path.endswith("bad.abc") for message in report.left_out] == [True]


def test_a_folder_without_a_usable_tune_makes_no_file(tmp_path: Path) -> None:
    folder = tmp_path / "tunes"
    folder.mkdir()
    (folder / "bad.abc").write_text("X:9\nT:Bad\nDEF|\n", encoding="utf-8")
    with pytest.raises(InputError, match="no tune could be used"):
        made(prepare(folder), tmp_path)
    assert not (tmp_path / "book.pdf").exists()


def test_nothing_changed_is_not_made_twice_and_is_the_same_book(tmp_path: Path) -> None:
    folder = folder_with(tmp_path)
    first = made(prepare(folder), tmp_path)
    data = first.output.read_bytes()
    first.output.unlink()
    again = made(prepare(folder), tmp_path)
    assert [name for name, _ in again.seconds] == ["kept"]
    assert first.output.read_bytes() == data
    assert (again.pages, again.messages) == (first.pages, first.messages)


def test_every_engraved_piece_can_be_kept_under_a_name_that_says_what_it_is(
    tmp_path: Path,
) -> None:
    folder = folder_with(tmp_path)
    more = 'X:1\nT:Opening\nM:4/4\nK:Dm\n"Dm"A2d2 "A7"^c2e2|"Dm"f2e2 d4|]\n'
    (folder / "sign.abc").write_text(more.replace("X:1", "X:finger"), encoding="utf-8")
    kept = tmp_path / "ly"
    report = made(prepare(folder, Wishes(edition="teacher")), tmp_path, keep_source=kept)
    names = {path.name for path in kept.iterdir()}
    tunes = {f"danser-{at}.ly" for at in range(1, 5)} | {f"polskor-{at}.ly" for at in range(1, 5)}
    tunes |= {"sign-finger.ly"}
    assert len(tunes) == report.tune_count and tunes <= names
    assert {name.replace(".ly", "-opening.ly") for name in tunes} <= names
    assert {"warm-up-open-drone-A.ly", "warm-up-held-drone-A.ly", "sign-drone.ly"} <= names
    # The example of a finger, whose name a tune has taken.
    assert {"danser-1-chord-changes.ly", "sign-finger-2.ly"} <= names
    assert any(re.fullmatch(r"danser-1-bars-\d+-\d+\.ly", name) for name in names)
    for name in names:
        text = (kept / name).read_text(encoding="utf-8")
        assert text.count("\\score {") == 1
        assert ("\\book {" in text) == name.endswith("-opening.ly")
    command = [str(find_lilypond().path), "-s", "-dbackend=cairo", "--svg"]
    files = [str(kept / "danser-1-opening.ly"), str(kept / "sign-drone.ly")]
    subprocess.run([*command, *files], cwd=tmp_path, env=clean_environment(), check=True)
    assert {"danser-1-opening.svg", "sign-drone.svg"} <= {one.name for one in tmp_path.iterdir()}


def test_an_accompaniment_is_a_second_staff(tmp_path: Path) -> None:
    more = '[[edition]]\nname = "two"\naccompaniment = true\ntunes = ["danser.abc:1"]\n'
    setup = prepare(folder_with(tmp_path, more=more), Wishes(edition="two"))
    report = made(setup, tmp_path, keep_source=tmp_path / "ly")
    assert report.tune_count == 1
    source = (tmp_path / "ly" / "danser-1.ly").read_text(encoding="utf-8")
    assert "\\context SecondStaff" in source


def test_a_file_that_changes_meanwhile_is_in_the_next_book(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tunebook.book.book as building

    folder = folder_with(tmp_path)
    plain = building.assemble_book

    def assemble_late(*given):  # type: ignore[no-untyped-def]
        report = plain(*given)
        with (folder / "polskor.abc").open("a", encoding="utf-8") as file:
            file.write("\nX:77\nT:Late\nM:2/4\nK:D\nD4|]\n")
        return report

    monkeypatch.setattr(building, "assemble_book", assemble_late)
    first = made(prepare(folder), tmp_path)
    monkeypatch.setattr(building, "assemble_book", plain)
    again = made(prepare(folder), tmp_path)
    assert (first.tune_count, again.tune_count) == (8, 9)


FOR_TWO = """language = "en"
[voices]
"2" = { instrument = "fiddle" }
[[set]]
title = "Kväll"
tunes = ["tvastammigt.abc:2", "tvastammigt.abc:3"]
[[edition]]
name = "two"
based_on = "duo"
parts = ["contents", "signs", "instrument", "titles"]
[[edition]]
name = "part"
based_on = "two"
voices = "second"
"""


def folder_for_two(tmp_path: Path) -> Path:
    folder = tmp_path / "tunes"
    folder.mkdir()
    text = (SAMPLES / "tvastammigt.abc").read_text("utf-8")
    single = "\n\nX:4\nT:En ensam\nR:polska\nM:3/4\nL:1/8\nK:D\nd2 e2 f2 | d6 |]\n"
    (folder / "tvastammigt.abc").write_text(text + single, "utf-8")
    (folder / "tunes.toml").write_text(FOR_TWO, "utf-8")
    return folder


def test_a_book_for_two_says_who_plays_what_and_which_tunes_have_a_second_voice(
    tmp_path: Path,
) -> None:
    folder = folder_for_two(tmp_path)
    report = made(prepare(folder, Wishes(edition="two")), tmp_path)
    assert (report.tune_count, report.messages) == (4, ())
    text = text_of(report.output)
    assert text.count("second voice: fiddle (GDAE)") == 3
    assert "Fiddle, GDAE" in text and "Nyckelharpa, three rows" in text
    # In the contents, in the list by title, and on the page of the set.
    for title in ("Hackspettens polska", "Eko över Skvaltbäcken"):
        lines = [line for line in text.splitlines() if title in line and "second voice" in line]
        assert len(lines) >= 3, lines
    assert "En ensam" in text and not re.search(r"En ensam[\s.·]*second voice", text)
    assert "Staves held together by a bracket" in text


def test_a_book_of_parts_shows_the_melody_where_a_section_begins(tmp_path: Path) -> None:
    report = made(prepare(folder_for_two(tmp_path), Wishes(edition="part")), tmp_path)
    assert (report.tune_count, report.messages) == (4, ())
    text = text_of(report.output)
    assert "This book is for the player of the second voice" in text
    assert "small staff above: the melody" in text
    # Six sections of three tunes, and the tune that has its melody alone.
    assert len(re.findall(r"\bmelody$|^\s*melody\b|\s{3,}melody\s", text, re.M)) >= 6
    assert "Fiddle, tuned G D A E" in text and "Nyckelharpa" not in text
