"""Read a PDF back: its text, outline and links."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pikepdf
import pytest


def text_of(path: Path, page: int | None = None) -> str:
    """Text of the book or of one page (from 1), by pdftotext. Where that program is missing the
    test is skipped, but fails on a machine for continuous integration."""
    if shutil.which("pdftotext") is None:
        if os.environ.get("CI"):
            pytest.fail("pdftotext (poppler-utils) is missing")
        pytest.skip("pdftotext (poppler-utils) is not installed")
    pages = ["-f", str(page), "-l", str(page)] if page else []
    done = subprocess.run(
        ["pdftotext", "-layout", *pages, str(path), "-"], capture_output=True, check=True
    )
    return done.stdout.decode()


def outline_of(document: pikepdf.Pdf) -> list[tuple[int, str]]:
    found = []

    def walk(items: object, level: int) -> None:
        for item in items:  # type: ignore[attr-defined]
            found.append((level, str(item.title)))
            walk(item.children, level + 1)

    with document.open_outline() as outline:
        walk(outline.root, 0)
    return found


def page_of(document: pikepdf.Pdf, title: str) -> int:
    """Page (from 0) to which the outline's entry ``title`` leads."""

    def walk(items: object) -> list[tuple[str, pikepdf.Object]]:
        return [
            pair
            for item in items  # type: ignore[attr-defined]
            for pair in ((str(item.title), item.destination), *walk(item.children))
        ]

    with document.open_outline() as outline:
        found = dict(walk(outline.root))
    return page_number(document, found[title])


def page_number(document: pikepdf.Pdf, place: pikepdf.Object) -> int:
    """Page (from 0) of a destination."""
    return next(i for i, page in enumerate(document.pages) if page.objgen == place[0].objgen)


def links_of(document: pikepdf.Pdf, page: int) -> list[int]:
    """Pages to which the links of a page lead."""
    links = [one.Dest for one in document.pages[page].get("/Annots", []) if "/Dest" in one]
    return [page_number(document, link) for link in links]
