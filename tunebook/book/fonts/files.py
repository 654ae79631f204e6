"""The files of the fonts that print the book's text, and their kerning.

C059 and Nimbus Sans come with LilyPond, so text and music match. They are OpenType files with
PostScript outlines, which reportlab does not embed; their outlines are turned into TrueType ones
(quadratic curves within one thousandth of the type size), once, and kept in the store. DejaVu,
which comes with matplotlib, fills in what they lack, and stands in where they cannot be found.

Reportlab sets every letter by its width alone. At the size of a title that shows: "Vargavinter",
"To". So titles are kerned by the pairs that the font itself lists (GPOS, OpenType specification).

Licences, as the packages state them: C059 and Nimbus Sans are under the GNU AGPL 3 with a special
exception that lets them be included in a PDF whatever the licence of the document; Emmentaler is
under the GNU GPL 3 with a font exception or the SIL OFL 1.1; DejaVu is free to embed.
"""

from __future__ import annotations

import importlib.util
import json
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from tunebook.book.fonts.symbols import quadratic_outline, saved, set_outlines, symbol_true_type
from tunebook.store import Store, key_of

# Pairs of letters to thousandths of the type size, mostly negative.
Kerning = Mapping[str, int]


def kerning_pairs(source: Path) -> dict[str, int]:
    """Read the kerning pairs of an OpenType font whose em is 1000 units; empty when it has none
    that can be read."""
    from fontTools.ttLib import TTFont

    with TTFont(str(source), lazy=True) as font:
        if "GPOS" not in font:
            return {}
        letters: dict[str, list[str]] = {}
        for code, name in font.getBestCmap().items():
            letters.setdefault(name, []).append(chr(code))
        return {
            left + right: value
            for first, second, value in _pairs(font["GPOS"].table)
            for left in letters.get(first, ())
            for right in letters.get(second, ())
        }


def _pairs(table: Any) -> Iterator[tuple[str, str, int]]:
    """Glyph, glyph, value of all single pairs (format 1 of pair adjustment)."""
    for lookup in table.LookupList.Lookup:
        for part in lookup.SubTable:
            if lookup.LookupType == 2 and part.Format == 1:
                for first, pairs in zip(part.Coverage.glyphs, part.PairSet, strict=True):
                    for record in pairs.PairValueRecord:
                        value = getattr(record.Value1, "XAdvance", 0)
                        if value:
                            yield first, record.SecondGlyph, value


def kerned(text: str, kerning: Kerning) -> list[tuple[str, int]]:
    """Cut ``text`` where letters are kerned: pieces with the shift after each, in thousandths."""
    pieces: list[tuple[str, int]] = []
    start = 0
    for at in range(1, len(text)):
        shift = kerning.get(text[at - 1 : at + 1], 0)
        if shift:
            pieces.append((text[start:at], shift))
            start = at
    return [*pieces, (text[start:], 0)]


_TEXT_FONTS = {
    "serif": "C059-Roman",
    "serif-bold": "C059-Bold",
    "serif-italic": "C059-Italic",
    "serif-bold-italic": "C059-BdIta",
    "sans": "NimbusSans-Regular",
    "sans-bold": "NimbusSans-Bold",
}
_FALLBACK_FONTS = {
    "serif": "DejaVuSerif",
    "serif-bold": "DejaVuSerif-Bold",
    "serif-italic": "DejaVuSerif-Italic",
    "serif-bold-italic": "DejaVuSerif-BoldItalic",
    "sans": "DejaVuSans",
    "sans-bold": "DejaVuSans-Bold",
}
ROLES = tuple(_TEXT_FONTS)
# Bump when the conversion changes, so that those kept before are not used.
_VERSION = 1


def fallback_file(role: str) -> Path | None:
    """The DejaVu file that fills in for ``role``, or None when matplotlib is not installed."""
    found = importlib.util.find_spec("matplotlib")
    if found is None or found.origin is None:
        return None
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    path = folder / (_FALLBACK_FONTS[role] + ".ttf")
    return path if path.is_file() else None


def text_font(role: str, store: Store) -> tuple[str, bytes] | None:
    """Name and TrueType data of the main font of ``role``, or None when it is not at hand."""
    return _converted(_TEXT_FONTS[role], store, _true_type)


def text_kerning(role: str, store: Store) -> dict[str, int]:
    """Kerning pairs of the main font of ``role``; empty when it is not at hand."""
    source = _find(_TEXT_FONTS[role] + ".otf")
    if source is None:
        return {}
    key = key_of("kerning", source.name, source.stat().st_size, _VERSION)
    data = store.fetch("fonts", key)
    if data is not None:
        found: dict[str, int] = json.loads(data)
        return found
    try:
        found = kerning_pairs(source)
    except Exception:  # a font file that fontTools cannot read: no kerning
        return {}
    store.keep("fonts", key, json.dumps(found).encode())
    return found


def symbol_font(store: Store) -> tuple[str, bytes] | None:
    """A small TrueType font of notes and accidentals made from LilyPond's Emmentaler."""
    return _converted("emmentaler-16", store, symbol_true_type)


def _converted(name: str, store: Store, convert: Any) -> tuple[str, bytes] | None:
    source = _find(name + ".otf")
    if source is None:
        return None
    key = key_of(name, source.stat().st_size, _VERSION)
    data = store.fetch("fonts", key)
    if data is None:
        try:
            data = bytes(convert(source))
        except Exception:  # a font file that fontTools cannot read: the fallback prints instead
            return None
        store.keep("fonts", key, data)
    return name, data


def _find(file_name: str) -> Path | None:
    for folder in _font_folders():
        for path in (folder / file_name, folder / "otf" / file_name):
            if path.is_file():
                return path
    return None


def _font_folders() -> Iterator[Path]:
    """Folders of LilyPond's fonts (the wheel's, then that of the program on PATH), then the
    usual one of the machine."""
    roots = []
    wheel = importlib.util.find_spec("lilypond")
    if wheel is not None and wheel.origin is not None:
        roots.append(Path(wheel.origin).parent / "lilypond-binaries")
    program = shutil.which("lilypond")
    if program is not None:
        roots.append(Path(program).resolve().parent.parent)
    for root in roots:
        yield from sorted((root / "share" / "lilypond").glob("*/fonts/otf"))
    yield Path("/usr/share/fonts/opentype/urw-base35")


def _true_type(source: Path) -> bytes:
    """Turn an OpenType font with PostScript outlines into a TrueType font."""
    from fontTools.ttLib import TTFont

    font = TTFont(str(source))
    order = font.getGlyphOrder()
    glyphs = font.getGlyphSet()
    outlines = {name: quadratic_outline(glyphs[name], glyphs) for name in order}
    set_outlines(font, order, outlines)
    return saved(font)
