"""Plots on a page: drawn by the plot library, placed and told as music is."""

from __future__ import annotations

import functools
import re
import shutil
from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.book.layout.blocks import Music
from tunebook.book.layout.tags import Figure
from tunebook.errors import ProgramError
from tunebook.model.piece import EngravedSystem
from tunebook.programs import answer_of

_FONT_LIST_TIMEOUT_S = 30.0


def as_music(figure: Any, path: Path, told: str) -> Music:
    """The figure as a block, with what is ``told`` of it; its PDF goes to ``path``."""
    import pikepdf

    drawn, mended = BytesIO(), BytesIO()
    figure.savefig(drawn, format="pdf", metadata={"CreationDate": None})
    with pikepdf.open(drawn) as document:
        for font in document.pages[0].resources.get("/Font", {}).values():
            _mend_codes(font)
        document.save(mended, deterministic_id=True)
    path.write_bytes(mended.getvalue())
    width, height = (72.0 * float(inches) for inches in figure.get_size_inches())
    system = EngravedSystem(0, 0.0, 0.0, width, height)
    return Music(path, system, figure=Figure(path.name, told))


_RANGES = re.compile(rb"\d+ beginbfrange.*endbfrange", re.DOTALL)
_RANGE = re.compile(rb"^<(..)> <..> \[(.*)\]$", re.MULTILINE)
_MOST_CODES = 100


def _mend_codes(font: Any) -> None:
    """The plot library's fonts have codes of one byte and say that they have two, and lists of
    letters in place of ranges: said code by code, readers understand it (ISO 32000-1, 9.10.3)."""
    if str(font.get("/Subtype")) != "/Type3" or "/ToUnicode" not in font:
        return
    table = font.ToUnicode.read_bytes().replace(b"<0000> <ffff>", b"<00> <ff>")
    codes = [
        b"<%02x> %s" % (int(match[1], 16) + at, letter)
        for match in _RANGE.finditer(table)
        for at, letter in enumerate(match[2].split())
    ]
    blocks = [codes[at : at + _MOST_CODES] for at in range(0, len(codes), _MOST_CODES)]
    said = [b"\n".join((b"%d beginbfchar" % len(one), *one, b"endbfchar")) for one in blocks]
    font.ToUnicode.write(_RANGES.sub(b"\n".join(said), table))


@functools.cache
def check_font_list() -> None:
    """The plot library lists the machine's fonts with fc-list when it first runs, and would wait
    for it for ever: raise ProgramError when that program does not answer."""
    program = shutil.which("fc-list")
    if program is None:
        return
    try:
        answer_of([program, "--format=%{file}"], _FONT_LIST_TIMEOUT_S)
    except TimeoutError as error:
        what = f"the fonts of this machine cannot be listed ({program}: {error})"
        raise ProgramError(what, "see why fc-list hangs, or leave out -o") from None
    except OSError:
        return


def plain(title: str) -> str:
    """A title that the plot library does not take for a formula."""
    short = title if len(title) <= 32 else title[:31] + "…"
    return short.replace("$", r"\$")
