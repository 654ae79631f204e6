"""The folder inside the book, and out of it again; PDFs from anywhere end in one line."""

from __future__ import annotations

import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest

from tunebook.book import attachments
from tunebook.errors import InputError, OutputError, TunebookError
from tunebook.pipeline.build import build_book
from tunebook.pipeline.unpack import unpack_book
from tunebook.read.settings.profile import read_instrument
from tunebook.write.instrument_text import profile_as_toml

TUNE = "X:1\nT:Låt\nM:3/4\nL:1/4\nR:vals\nK:D\nd f a|d2 A|d3|]\n"
SETTINGS = 'title = "Låtar"\nattach = true\n[instrument]\nprofile = "min/harpa.toml"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Tunes in a folder and a subfolder, a profile, and files that are nobody's business."""
    home = tmp_path / "låtar"
    (home / "min").mkdir(parents=True)
    (home / "a.abc").write_text(TUNE, encoding="utf-8")
    (home / "min" / "b.abc").write_text(TUNE.replace("Låt", "Ännu en"), encoding="utf-8")
    (home / "min" / "harpa.toml").write_text(
        profile_as_toml(read_instrument("nyckelharpa-3row")), encoding="utf-8"
    )
    (home / "tunes.toml").write_text(SETTINGS, encoding="utf-8")
    (home / "letter.txt").write_text("private", encoding="utf-8")
    return home


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_a_book_is_made_anew_from_what_it_holds(tmp_path: Path, folder: Path) -> None:
    before = contents(folder)
    book = tmp_path / "book.pdf"
    build_book(folder, book, jobs=1)
    first = book.read_bytes()
    report = unpack_book(book, tmp_path / "out")
    del before["letter.txt"]
    assert contents(tmp_path / "out") == before
    assert (len(report.files), report.passed_over) == (4, ())
    with pikepdf.open(book) as document:
        assert all(one.AFRelationship == "/Source" for one in document.Root.AF)
    os.rename(folder, tmp_path / "old")
    os.rename(tmp_path / "out", folder)
    build_book(folder, book, jobs=1, uses_cache=False)
    again = tmp_path / "again"
    assert unpack_book(book, again).files and contents(again) == before
    build_book(folder, book, jobs=1)
    assert book.read_bytes() == first


@pytest.mark.parametrize("is_by_option", [False, True])
def test_profiles_and_hands_from_outside_are_in_the_book(
    tmp_path: Path, folder: Path, is_by_option: bool
) -> None:
    places = {"instrument": tmp_path / "harpa.toml", "hand": tmp_path / "hem" / "anna.toml"}
    places["hand"].parent.mkdir()
    (folder / "min" / "harpa.toml").rename(places["instrument"])
    places["hand"].write_text('size = "small"\n', encoding="utf-8")
    named = "[instrument]\nprofile = \"../harpa.toml\"\n[hand]\nfile = '../hem/anna.toml'\n"
    text = "attach = true\n" + ("" if is_by_option else named)
    reading = "[reading]\nmay_leave_folder = true\n"
    (folder / "tunes.toml").write_text(text + reading, encoding="utf-8")
    options = {name: str(path) for name, path in places.items()} if is_by_option else {}
    book, out = tmp_path / "book.pdf", tmp_path / "out"
    build_book(folder, book, jobs=1, **options)  # type: ignore[arg-type]
    unpack_book(book, out)
    for name, path in places.items():
        assert (out / "elsewhere" / path.name).read_bytes() == path.read_bytes()
        options = {**options, name: str(out / "elsewhere" / path.name)} if options else {}
        path.unlink()
    settings = (out / "tunes.toml").read_text("utf-8")
    said = "--instrument elsewhere/harpa.toml" in settings, "--hand elsewhere/anna.toml" in settings
    assert said == (is_by_option, is_by_option)
    again = tmp_path / "again.pdf"
    build_book(out, again, jobs=1, **options)  # type: ignore[arg-type]
    assert streams_of(again) == streams_of(book)
    unpack_book(again, tmp_path / "third")
    third = contents(tmp_path / "third")
    assert {name for name in third if name.endswith(".toml")} == {
        "tunes.toml", "elsewhere/harpa.toml", "elsewhere/anna.toml"
    }  # fmt: skip
    if not is_by_option:
        assert third == contents(out)


def test_tunes_behind_links_are_in_the_book_where_the_links_stand(
    tmp_path: Path, folder: Path
) -> None:
    other = tmp_path / "grannens"
    (other / "visor").mkdir(parents=True)
    for name in ("c.abc", "visor/d.abc"):
        (other / name).write_text(TUNE.replace("Låt", name), encoding="utf-8")
    try:
        (folder / "lånad.abc").symlink_to(other / "c.abc")
        (folder / "min" / "visor").symlink_to(other / "visor", target_is_directory=True)
    except OSError:
        pytest.skip("links cannot be made here")
    choices = '[reading]\nmay_leave_folder = true\n[tune."min/visor/d.abc:1"]\nkey = "E"\n'
    (folder / "tunes.toml").write_text(SETTINGS + choices, encoding="utf-8")
    book, out, again = tmp_path / "book.pdf", tmp_path / "out", tmp_path / "again.pdf"
    build_book(folder, book, jobs=1)
    unpack_book(book, out)
    before = contents(folder) | {"min/visor/d.abc": (other / "visor" / "d.abc").read_bytes()}
    del before["letter.txt"]
    assert contents(out) == before and not any(path.is_symlink() for path in out.rglob("*"))
    build_book(out, again, jobs=1)
    assert streams_of(again) == streams_of(book)


def streams_of(book: Path) -> list[bytes]:
    """What is drawn on the pages of a PDF."""
    with pikepdf.open(book) as document:
        for page in document.pages:
            page.contents_coalesce()
        return [page.Contents.read_bytes() for page in document.pages]


def test_a_comment_changed_in_the_settings_is_in_the_next_book(
    tmp_path: Path, folder: Path
) -> None:
    book = tmp_path / "book.pdf"
    build_book(folder, book, jobs=1)
    settings = folder / "tunes.toml"
    settings.write_text(SETTINGS + "# to be sent to Ottil\n", encoding="utf-8")
    build_book(folder, book, jobs=1)
    unpack_book(book, tmp_path / "out")
    assert (tmp_path / "out" / "tunes.toml").read_text("utf-8").endswith("Ottil\n")


def pdf_with(path: Path, *names: str, data: bytes = b"X:1\n") -> Path:
    """A PDF of one page that names these files as its source, whatever they are called."""
    with pikepdf.new() as document:
        document.add_blank_page()
        specs = []
        for name in names:
            stream = document.make_stream(data)
            specs.append(
                document.make_indirect(
                    pikepdf.Dictionary(
                        Type=pikepdf.Name.Filespec,
                        UF=pikepdf.String(name),
                        AFRelationship=pikepdf.Name.Source,
                        EF=pikepdf.Dictionary(F=stream),
                    )
                )
            )
        document.Root.AF = pikepdf.Array(specs)
        document.save(path, compress_streams=True)
    return path


@pytest.mark.parametrize(
    "name",
    [
        "../a.abc", "/a.abc", "b/../../a.abc", "C:/a.abc", "b\\..\\a.abc", "con.abc", "b/nul.abc",
        "b//a.abc", "./a.abc", ".hidden.abc", "a\n.abc", "a\u202e.abc", "b./a.abc", " a.abc",
        "b" * 300 + ".abc", "x/" * 40 + "a.abc", "aux/a.abc", "a:b.abc",
    ],
)  # fmt: skip
def test_a_name_that_leads_elsewhere_unpacks_nothing(tmp_path: Path, name: str) -> None:
    book = pdf_with(tmp_path / "book.pdf", "good.abc", name)
    out = tmp_path / "deep" / "out"
    with pytest.raises(TunebookError) as caught:
        unpack_book(book, out)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 300
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [book]


def test_nothing_is_written_over_and_two_files_are_never_one(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "b.abc").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is there already"):
        unpack_book(pdf_with(tmp_path / "book.pdf", "a.abc", "b.abc"), out)
    assert contents(out) == {"b.abc": b"mine"}
    twice = pdf_with(tmp_path / "twice.pdf", "Å.abc", "å.abc")
    with pytest.raises(OutputError, match="is there already"):
        unpack_book(twice, tmp_path / "new")


def test_a_link_in_the_folder_is_not_followed_out_of_it(tmp_path: Path) -> None:
    outside, out = tmp_path / "outside", tmp_path / "out"
    outside.mkdir()
    out.mkdir()
    (out / "b").symlink_to(outside, target_is_directory=True)
    with pytest.raises(OutputError, match="leads out of the folder"):
        unpack_book(pdf_with(tmp_path / "book.pdf", "b/a.abc"), out)
    (out / "c.abc").symlink_to(outside / "c.abc")
    with pytest.raises(OutputError, match="is there already"):
        unpack_book(pdf_with(tmp_path / "book.pdf", "c.abc"), out)
    assert contents(outside) == {}


def test_files_of_other_kinds_are_passed_over_by_name(tmp_path: Path) -> None:
    report = unpack_book(pdf_with(tmp_path / "book.pdf", "run.exe", "a.abc"), tmp_path / "out")
    assert contents(tmp_path / "out") == {"a.abc": b"X:1\n"}
    assert report.passed_over == ("run.exe",)


def test_what_swells_is_stopped_at_the_limit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = pdf_with(tmp_path / "book.pdf", "a.abc", "b.abc", data=b" " * 5_000_000)
    assert book.stat().st_size < 100_000
    monkeypatch.setattr(attachments, "MOST_BYTES", 8_000_000)
    with pytest.raises(InputError, match="more than 8 MB"):
        unpack_book(book, tmp_path / "out")
    monkeypatch.setattr(attachments, "MOST_FILES", 1)
    with pytest.raises(InputError, match="more than 1 files"):
        unpack_book(book, tmp_path / "out")


def _no_pdf(path: Path) -> None:
    path.write_bytes(b"%PDF-1.7\nnothing of the kind\n")


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _without_files(path: Path) -> None:
    pdf_with(path)


def _locked(path: Path) -> None:
    pdf_with(path, "a.abc")
    with pikepdf.open(path, allow_overwriting_input=True) as document:
        document.save(path, encryption=pikepdf.Encryption(owner="o", user="u"))


def _junk(path: Path) -> None:
    with pikepdf.open(pdf_with(path, "a.abc"), allow_overwriting_input=True) as document:
        document.Root.AF = pikepdf.Array([1, "text", pikepdf.Dictionary(), None])
        document.save(path)


def _circle(path: Path) -> None:
    with pikepdf.open(pdf_with(path, "a.abc"), allow_overwriting_input=True) as document:
        document.Root.AF[0].EF.F = document.Root.AF[0]
        document.save(path)


def _other_filter(path: Path) -> None:
    with pikepdf.open(pdf_with(path, "a.abc"), allow_overwriting_input=True) as document:
        document.Root.AF[0].EF.F.write(b"80000000", filter=pikepdf.Name.RunLengthDecode)
        buffer = BytesIO()
        document.save(buffer, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    path.write_bytes(buffer.getvalue())


@pytest.mark.parametrize(
    "make", [_no_pdf, _empty, _without_files, _locked, _junk, _circle, _other_filter]
)
def test_a_pdf_that_is_no_book_ends_in_one_line(
    tmp_path: Path, make: Callable[[Path], None]
) -> None:
    path = tmp_path / "book.pdf"
    make(path)
    with pytest.raises(InputError) as caught:
        unpack_book(path, tmp_path / "out")
    assert "\n" not in str(caught.value) and "book.pdf" in str(caught.value)
    assert not (tmp_path / "out").exists()
    with pytest.raises(InputError):
        unpack_book(tmp_path / "none.pdf", tmp_path / "out")
