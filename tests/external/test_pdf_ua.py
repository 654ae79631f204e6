"""Books that can be read aloud, by ISO 14289-1 (PDF/UA-1) as the general checker page-validation
reads it, and by the tree of their structure as poppler's pdfinfo, an independent reader, sees it.

The objects are those of ISO 32000-1, 14.7 (logical structure) and 14.8 (tagged PDF).
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pikepdf
import pytest

from tunebook.book.pages.instrument import write_instrument_page
from tunebook.pipeline.build import build_book, retune_book
from tunebook.pipeline.compare import CompareOrder, compare_folder
from tunebook.pipeline.load import BuildOrder, Wishes, prepare
from tunebook.read.settings.profile import read_instrument

TUNES = """X:1
T:Vättens vals
T:The gnome's waltz
R:vals
M:3/4
L:1/8
K:D
d2 f2 a2|g4 e2|f2 d2 A2|d6|]
W:Vätten gick i backen

X:2
T:Steg för steg
R:polska
M:3/4
L:1/8
K:G
"G"G2 B2 d2|"D7"d2 c2 A2|"G"G6|]

X:3
T:Långa låten
R:marsch
M:4/4
L:1/4
K:D
"""
LONG = "|".join(["d f a f"] * 72) + "|]\n"


@pytest.fixture(scope="module")
def books(shared_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A teacher's book with a tune of several pages, in Swedish, and a retuned player's book."""
    folder = tmp_path_factory.mktemp("read aloud")
    tunes = folder / "låtar"
    tunes.mkdir()
    (tunes / "a.abc").write_text(TUNES + LONG, encoding="utf-8")
    (tunes / "tunes.toml").write_text(
        'title = "Låtar"\nlanguage = "sv"\n[[set]]\ntitle = "Kväll"\ntunes = ["a.abc:2"]\n',
        encoding="utf-8",
    )
    teacher, retuned, page = (folder / f"{name}.pdf" for name in ("teacher", "retuned", "page"))
    build_book(tunes, teacher, edition="teacher", jobs=1)
    before, after = prepare(tunes), prepare(tunes, Wishes(tuning="CGCA"))
    retune_book(before, after, BuildOrder(output=retuned, jobs=1))
    write_instrument_page(read_instrument("nyckelharpa-3row"), page)
    compared = folder / "compared.pdf"
    compare_folder(before, CompareOrder("CGDA,CGCA", output=compared, jobs=1))
    return {"teacher": teacher, "retuned": retuned, "page": page, "compared": compared}


def program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{name} (poppler-utils) is missing")
        pytest.skip(f"{name} (poppler-utils) is not installed")
    return found


@pytest.mark.parametrize("name", ["teacher", "retuned", "page", "compared"])
def test_a_checker_of_pdf_ua_finds_no_fault(books: dict[str, Path], name: str) -> None:
    if os.environ.get("CI"):
        import page
    else:
        page = pytest.importorskip("page", reason="page-validation is not installed")
    report = page.validate_pdf(books[name], profile="ua1")
    assert report.is_compliant, [failure.message for failure in report.failures]
    assert report.rules.total > 100


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Object]:
    """An element of the tree and all below it, in the order of reading."""
    yield node
    for kid in node.get("/K", []):
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield from elements(kid)


def contents(node: pikepdf.Object) -> list[tuple[tuple[int, int], int]]:
    """(page, number) of the marked content right below an element."""
    found = []
    for kid in node.get("/K", []):
        if isinstance(kid, int):
            found.append((node.Pg.objgen, kid))
        elif "/MCID" in kid:
            found.append((kid.Pg.objgen, int(kid.MCID)))
    return found


def test_all_that_is_drawn_belongs_to_one_element_or_is_an_artifact(
    books: dict[str, Path],
) -> None:
    with pikepdf.open(books["teacher"]) as document:
        tree = document.Root.StructTreeRoot
        claimed = [place for node in elements(tree.K) for place in contents(node)]
        assert len(claimed) == len(set(claimed))
        marked = []
        for page in document.pages:
            depth = 0
            for operands, operator in pikepdf.parse_content_stream(page):
                name = str(operator)
                depth += (name in ("BDC", "BMC")) - (name == "EMC")
                if name == "BDC":
                    marked.append((page.obj.objgen, int(operands[1].MCID)))
                if name in ("Tj", "TJ", "Do", "S", "f", "B"):
                    assert depth == 1, "drawn outside marked content"
            assert depth == 0
        assert sorted(marked) == sorted(claimed)
        numbers = list(tree.ParentTree.Nums)
        parents = {int(key): value for key, value in zip(numbers[::2], numbers[1::2], strict=True)}
        for index, page in enumerate(document.pages):
            assert page.obj.StructParents == index
            for number, parent in enumerate(parents[index]):
                assert (page.obj.objgen, number) in contents(parent)


def test_music_says_its_title_its_key_its_bars_and_its_abc(books: dict[str, Path]) -> None:
    with pikepdf.open(books["teacher"]) as document:
        assert str(document.Root.Lang) == "sv"
        assert document.Root.ViewerPreferences.DisplayDocTitle
        tree = list(elements(document.Root.StructTreeRoot.K))
        figures = [node for node in tree if node.S == "/Figure"]
        texts = [str(figure.Alt) for figure in figures]
        assert all(texts)
        waltz = next(text for text in texts if text.startswith("Noterna till Vättens vals."))
        assert "D-dur" in waltz and "3/4" in waltz and "Takter: 4" in waltz
        assert "d2 f2 a2|g4 e2|f2 d2 A2|d6|]" in waltz
        long = next(figure for figure in figures if "till Långa låten" in str(figure.Alt))
        pages = {page for page, _ in contents(long)}
        assert len(pages) > 1, "a tune of several pages is one figure"
        headings = [re.sub(r"\d", "", str(node.S)) for node in tree if str(node.S)[1] == "H"]
        assert len(headings) > 10


def test_links_say_where_they_lead(books: dict[str, Path]) -> None:
    with pikepdf.open(books["teacher"]) as document:
        links = [node for node in elements(document.Root.StructTreeRoot.K) if node.S == "/Link"]
        annotations = [one for page in document.pages for one in page.get("/Annots", [])]
        assert len(links) == len(annotations) > 10
        for link in links:
            (place,) = (kid for kid in link.K if not isinstance(kid, int) and "/Obj" in kid)
            assert str(place.Obj.Contents)
            assert contents(link), "the text of a link is part of it"


def test_another_reader_hears_headings_and_paragraphs_in_order(books: dict[str, Path]) -> None:
    command = [program("pdfinfo"), "-struct-text", str(books["teacher"])]
    heard = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    places = [
        heard.index(f'{kind} (block)\n    "{text}')
        for kind, text in (
            ("H1", "Låtar"),
            ("H1", "Innan du spelar"),
            ("P", "Värm upp"),
            ("H1", "Innehåll"),
            ("H1", "Kväll"),
            ("H2", "Steg för steg"),
            ("H1", "Vättens vals"),
            ("P", "Vätten gick i backen"),
            ("H1", "Övningar"),
        )
    ]
    assert places == sorted(places)
    assert 'Link (inline)\n      "Vättens vals D-dur' in heard
    # Running heads and page numbers are not read out.
    assert heard.count('"Låtar"') == 1
    table = [program("pdfinfo"), "-struct-text", str(books["retuned"])]
    heard = subprocess.run(table, capture_output=True, check=True).stdout.decode()
    assert re.search(r"Table \(block\)\s+TR\s+TH:\s+/Scope /Column\s+\"sträng\"", heard)
