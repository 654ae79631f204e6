"""The tree of a book's structure as objects of its PDF (ISO 32000-1, 14.7 and 14.8), as PDF/UA-1
(ISO 14289-1) asks."""

from __future__ import annotations

from typing import Any

from tunebook.book.layout.tags import Content, Element, LinkPlace

_PDF_UA = "http://www.aiim.org/pdfua/ns/id/"


def add_structure(document: Any, root: Element) -> None:
    """Give the pikepdf document ``document`` the tree under ``root``, recorded while its pages
    were drawn, and say that it has one."""
    import pikepdf

    tree = document.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.StructTreeRoot))
    writer = _Writer(document)
    tree.K = writer.element(root, tree)
    for index, page in enumerate(document.pages):
        page.obj.StructParents = index
        if "/Annots" in page.obj:
            page.obj.Tabs = pikepdf.Name.S
    tree.ParentTree = document.make_indirect(pikepdf.Dictionary(Nums=writer.parents()))
    tree.ParentTreeNextKey = len(document.pages) + len(writer.links)
    document.Root.StructTreeRoot = tree
    _mend_unicode(document)
    document.Root.MarkInfo = pikepdf.Dictionary(Marked=True)
    with document.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as metadata:
        metadata.register_xml_namespace(_PDF_UA, "pdfuaid")
        metadata[f"{{{_PDF_UA}}}part"] = "1"


def _mend_unicode(document: Any) -> None:
    """What no letter stands for must not be said to be the letter U+0000 (ISO 14289-1, 7.21.7)."""
    fonts = document.pages[0].resources.get("/Font", {})
    for font in fonts.values():
        if "/ToUnicode" in font:
            table = font.ToUnicode.read_bytes().replace(b"> <0000>", b"> <FFFD>")
            font.ToUnicode.write(table)


class _Writer:
    """Writes elements and notes to which of them marked content and links belong."""

    def __init__(self, document: Any) -> None:
        self.document = document
        self.pages = [page.obj for page in document.pages]
        self.contents: list[dict[int, Any]] = [{} for _ in self.pages]
        self.links: list[Any] = []

    def element(self, element: Element, parent: Any) -> Any:
        """The element and all below it; ``parent`` is the object above it."""
        import pikepdf

        made = self.document.make_indirect(
            pikepdf.Dictionary(
                Type=pikepdf.Name.StructElem, S=pikepdf.Name(f"/{element.kind}"), P=parent
            )
        )
        if element.text:
            made.Alt = pikepdf.String(element.text)
        attributes = self._attributes(element)
        if attributes is not None:
            made.A = attributes
        pages = {kid.page for kid in element.kids if isinstance(kid, Content)}
        if pages:
            made.Pg = self.pages[min(pages)]
        made.K = pikepdf.Array(
            [self._kid(kid, made, min(pages, default=0)) for kid in element.kids]
        )
        return made

    def _kid(self, kid: Element | Content | LinkPlace, made: Any, page: int) -> Any:
        import pikepdf

        if isinstance(kid, Element):
            return self.element(kid, made)
        if isinstance(kid, LinkPlace):
            return self._link(kid, made)
        self.contents[kid.page][kid.number] = made
        if kid.page == page:
            return kid.number
        return pikepdf.Dictionary(Type=pikepdf.Name.MCR, Pg=self.pages[kid.page], MCID=kid.number)

    def _link(self, link: LinkPlace, made: Any) -> Any:
        """The link's annotation knows its element by a number, and says where it leads."""
        import pikepdf

        annotation = self.pages[link.page].Annots[link.index]
        annotation.StructParent = len(self.pages) + len(self.links)
        annotation.Contents = pikepdf.String(link.text)
        self.links.append(made)
        return pikepdf.Dictionary(Type=pikepdf.Name.OBJR, Obj=annotation, Pg=self.pages[link.page])

    def _attributes(self, element: Element) -> Any | None:
        import pikepdf

        if element.kind == "TH":
            return pikepdf.Dictionary(O=pikepdf.Name.Table, Scope=pikepdf.Name.Column)
        if len(element.boxes) != 1:
            return None
        (box,) = element.boxes.values()
        place = pikepdf.Array([round(value, 2) for value in box])
        return pikepdf.Dictionary(O=pikepdf.Name.Layout, BBox=place, Placement=pikepdf.Name.Block)

    def parents(self) -> Any:
        """Which element each run of marked content and each link belongs to, by the numbers that
        pages and links bear."""
        import pikepdf

        numbers: list[Any] = []
        for index, found in enumerate(self.contents):
            kids = [found.get(number) for number in range(max(found, default=-1) + 1)]
            numbers += [index, self.document.make_indirect(pikepdf.Array(kids))]
        for index, made in enumerate(self.links, len(self.pages)):
            numbers += [index, made]
        return pikepdf.Array(numbers)
