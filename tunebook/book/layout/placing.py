"""Put engraved systems onto finished pages, and share what they have in common.

Every system becomes a form XObject (ISO 32000-1, 8.10) clipped to its box. The engraver embeds
its fonts in every file; equal objects are found by their contents and kept once.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.book.layout.sheet import PlacedSystem
from tunebook.errors import OutputError, SourcePlace


def place_systems(document: Any, placed: Sequence[PlacedSystem]) -> None:
    """Draw ``placed`` on the pages of the pikepdf document ``document``.

    Raises OutputError when the PDF of a piece cannot be read.
    """
    sources: dict[Path, Any] = {}
    forms: dict[tuple[Path, int], Any] = {}
    try:
        for one in placed:
            _form(document, one, sources, forms)
        merge_equal([form.Resources for form in forms.values()])
        by_page: dict[int, list[PlacedSystem]] = defaultdict(list)
        for one in placed:
            by_page[one.page].append(one)
        for page, on_page in by_page.items():
            _draw(document.pages[page], on_page, forms)
    finally:
        for source in sources.values():
            source.close()


def _form(
    document: Any,
    one: PlacedSystem,
    sources: dict[Path, Any],
    forms: dict[tuple[Path, int], Any],
) -> None:
    import pikepdf

    key = (one.pdf, one.system.page_index)
    if key in forms:
        return
    try:
        if one.pdf not in sources:
            # From memory: a large book has more pieces than a program may hold files open.
            sources[one.pdf] = pikepdf.open(BytesIO(one.pdf.read_bytes()))
        form = _copied(document, sources[one.pdf], one.system.page_index)
    except (pikepdf.PdfError, OSError, IndexError) as error:
        raise OutputError(
            f"engraved music cannot be read ({error})", "build again", SourcePlace(str(one.pdf))
        ) from None
    system = one.system
    form.BBox = pikepdf.Array(
        [
            round(system.left_pt, 3),
            round(system.bottom_pt, 3),
            round(system.left_pt + system.width_pt, 3),
            round(system.bottom_pt + system.height_pt, 3),
        ]
    )
    forms[key] = form


def _copied(document: Any, source: Any, index: int) -> Any:
    """A page of ``source`` as a form of ``document``. Its drawing is taken over as it is, packed:
    unpacking and packing thousands of them takes long and much memory."""
    import pikepdf

    page = source.pages[index]
    contents = page.obj.get("/Contents")
    if not isinstance(contents, pikepdf.Stream):
        return document.copy_foreign(page.as_form_xobject())
    resources = page.resources
    if not resources.is_indirect:
        resources = source.make_indirect(resources)
    form = document.copy_foreign(contents)
    form.Type, form.Subtype = pikepdf.Name.XObject, pikepdf.Name.Form
    form.Resources = document.copy_foreign(resources)
    return form


def _draw(page: Any, placed: Sequence[PlacedSystem], forms: dict[tuple[Path, int], Any]) -> None:
    import pikepdf

    commands = []
    for number, one in enumerate(placed):
        name = pikepdf.Name(f"/Music{number}")
        page.add_resource(forms[one.pdf, one.system.page_index], pikepdf.Name.XObject, name=name)
        right = one.left_pt - one.system.left_pt * one.scale
        up = one.bottom_pt - one.system.bottom_pt * one.scale
        matrix = f"{one.scale:.5f} 0 0 {one.scale:.5f} {right:.3f} {up:.3f}"
        mark = "/Artifact BMC" if one.mark is None else f"/Figure <</MCID {one.mark}>> BDC"
        commands.append(f"{mark} q {matrix} cm {name} Do Q EMC")
    page.contents_add("\n".join(commands).encode("ascii"))


def merge_equal(roots: Sequence[Any]) -> None:
    """Make everything that ``roots`` (indirect objects) refer to share equal indirect objects.

    Depth first: an object's signature is made of those of its parts, so equal trees meet in one
    pass. An object that leads back to itself is left alone.
    """
    merger = _Merger()
    for root in roots:
        merger.visit(root)


class _Merger:
    """Signatures of objects seen, and the first object with each signature."""

    def __init__(self) -> None:
        self.signatures: dict[tuple[int, int], bytes] = {}
        self.first: dict[bytes, Any] = {}
        self.open: set[tuple[int, int]] = set()

    def visit(self, thing: Any) -> bytes:
        """Return the signature of ``thing`` after its parts have been merged."""
        import pikepdf

        if not isinstance(thing, pikepdf.Object):
            return repr(thing).encode()
        place = thing.objgen if thing.is_indirect else (0, 0)
        if place in self.signatures:
            return self.signatures[place]
        if place in self.open:
            return repr(place).encode()
        if place != (0, 0):
            self.open.add(place)
        signature = self._signature(thing)
        if place != (0, 0):
            self.open.discard(place)
            self.signatures[place] = signature
            self.first.setdefault(signature, thing)
        return signature

    def _signature(self, thing: Any) -> bytes:
        import pikepdf

        digest = hashlib.sha256()
        if isinstance(thing, pikepdf.Array):
            digest.update(b"[")
            for index in range(len(thing)):
                digest.update(self._part(thing, index))
        elif isinstance(thing, (pikepdf.Dictionary, pikepdf.Stream)):
            digest.update(b"<")
            for name in sorted(thing.keys()):
                if name != "/Length":
                    digest.update(name.encode() + self._part(thing, name))
            if isinstance(thing, pikepdf.Stream):
                digest.update(b"stream" + thing.read_raw_bytes())
        else:
            digest.update(thing.unparse())
        return digest.digest()

    def _part(self, whole: Any, key: Any) -> bytes:
        """Signature of a part; a part that equals one seen before is replaced by that one."""
        import pikepdf

        part = whole[key]
        signature = self.visit(part)
        if isinstance(part, pikepdf.Object) and part.is_indirect:
            first = self.first.get(signature)
            if first is not None and first.objgen != part.objgen:
                whole[key] = first
        return signature
