"""Engraved systems on pages, and equal objects kept once."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from books import piece
from reportlab.pdfgen.canvas import Canvas

from tunebook.book.layout.placing import merge_equal, place_systems
from tunebook.book.layout.sheet import PlacedSystem
from tunebook.errors import OutputError


def blank_book(pages: int) -> pikepdf.Pdf:
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(595, 842))
    for _ in range(pages):
        canvas.showPage()
    canvas.save()
    return pikepdf.open(BytesIO(buffer.getvalue()))


def test_a_system_is_placed_by_the_corner_of_its_box(tmp_path: Path) -> None:
    engraved = piece(tmp_path, "a", (80.0,))
    system = engraved.systems[0]
    document = blank_book(1)
    place_systems(document, [PlacedSystem(0, engraved.pdf, system, 50.0, 600.0, 0.5)])
    operators = pikepdf.parse_content_stream(document.pages[0])
    matrix = next(
        [float(value) for value in operands]
        for operands, operator in reversed(list(operators))
        if str(operator) == "cm"
    )
    # The box's corner lands on the place asked for.
    corner = (
        matrix[0] * system.left_pt + matrix[4],
        matrix[3] * system.bottom_pt + matrix[5],
    )
    assert corner == pytest.approx((50.0, 600.0), abs=0.01)
    form = document.pages[0].Resources.XObject["/Music0"]
    assert [float(value) for value in form.BBox] == pytest.approx(
        [6.0, system.bottom_pt, 6.0 + system.width_pt, system.bottom_pt + 80.0]
    )


def test_fonts_of_all_pieces_are_kept_once(tmp_path: Path) -> None:
    pieces = [piece(tmp_path, name, (80.0, 80.0)) for name in "abcd"]
    document = blank_book(1)
    placed = [
        PlacedSystem(0, one.pdf, system, 50.0, 600.0) for one in pieces for system in one.systems
    ]
    place_systems(document, placed)
    forms = document.pages[0].Resources.XObject
    fonts = {
        font.objgen
        for name in forms
        for font in forms[name].Resources.get("/Font", {}).as_dict().values()
    }
    assert len(forms) == 8
    assert len(fonts) == 1


def test_the_same_system_twice_is_stored_once(tmp_path: Path) -> None:
    engraved = piece(tmp_path, "a", (80.0,))
    one = PlacedSystem(0, engraved.pdf, engraved.systems[0], 50.0, 600.0)
    document = blank_book(1)
    place_systems(document, [one, one])
    forms = document.pages[0].Resources.XObject
    assert forms["/Music0"].objgen == forms["/Music1"].objgen


def test_equal_trees_are_merged_and_different_ones_are_not() -> None:
    document = pikepdf.new()

    def tree(letter: str) -> pikepdf.Object:
        leaf = document.make_indirect(pikepdf.Dictionary(Name=pikepdf.String(letter)))
        branch = document.make_indirect(pikepdf.Array([leaf]))
        return document.make_indirect(pikepdf.Dictionary(Branch=branch))

    first, second, third = tree("a"), tree("a"), tree("b")
    merge_equal([first, second, third])
    assert first.Branch.objgen == second.Branch.objgen
    assert first.Branch.objgen != third.Branch.objgen


def test_an_object_that_leads_back_to_itself_is_left_alone() -> None:
    document = pikepdf.new()
    loop = document.make_indirect(pikepdf.Dictionary(Name=pikepdf.String("x")))
    loop.Self = loop
    merge_equal([loop])
    assert loop.Self.objgen == loop.objgen


def test_streams_of_equal_text_but_other_keys_differ() -> None:
    document = pikepdf.new()
    one = pikepdf.Stream(document, b"same")
    two = pikepdf.Stream(document, b"same", Kind=pikepdf.Name.Other)
    root = document.make_indirect(pikepdf.Dictionary(One=one, Two=two))
    merge_equal([root])
    assert root.One.objgen != root.Two.objgen


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7 but no more"])
def test_a_broken_piece_is_one_line(tmp_path: Path, content: bytes) -> None:
    engraved = piece(tmp_path, "a", (80.0,))
    engraved.pdf.write_bytes(content)
    with pytest.raises(OutputError) as caught:
        place_systems(blank_book(1), [PlacedSystem(0, engraved.pdf, engraved.systems[0], 0.0, 0.0)])
    assert "\n" not in str(caught.value)
