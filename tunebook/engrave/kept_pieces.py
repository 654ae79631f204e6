"""Engraved pieces that are kept: their boxes, and the PDFs that they share, each of them once."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

from tunebook.model.piece import EngravedFiles
from tunebook.store import Store


class KeptPieces:
    """The pieces of ``store``, whose PDFs are wanted in ``folder`` during a run."""

    def __init__(self, store: Store, folder: Path) -> None:
        self._store = store
        self._folder = folder
        self._names: dict[Path, str] = {}

    def fetch(self, key: str) -> EngravedFiles | None:
        """Put the PDFs of a piece into the folder and return it; None when it is not kept whole."""
        data = self._store.fetch("pieces", key)
        if data is None:
            return None
        name, boxes, opening_name, opening_boxes = json.loads(data)
        pdf = self._taken(name)
        opening_pdf = self._taken(opening_name) if opening_name else None
        if pdf is None or (opening_name and opening_pdf is None):
            return None
        return EngravedFiles(pdf, boxes, opening_pdf, opening_boxes)

    def keep(self, key: str, files: EngravedFiles) -> None:
        """Keep a piece as ``key``."""
        if self._store.folder is None:
            return
        with contextlib.suppress(OSError):
            name = self._put(files.pdf)
            opening_name = self._put(files.opening_pdf) if files.opening_pdf else ""
            found = [name, files.boxes, opening_name, files.opening_boxes]
            self._store.keep("pieces", key, json.dumps(found).encode())

    def _put(self, pdf: Path) -> str:
        if pdf not in self._names:
            self._names[pdf] = self._store.keep_file("sheets", pdf.read_bytes())
        return self._names[pdf]

    def _taken(self, name: str) -> Path | None:
        pdf = self._folder / f"{name}.pdf"
        if self._names.get(pdf) != name:
            if not self._store.link("sheets", name, pdf):
                return None
            self._names[pdf] = name
        return pdf
