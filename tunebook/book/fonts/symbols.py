"""A small font of notes and accidentals for running text, from LilyPond's music font.

Text fonts have no notes, and few have a flat. As glyphs with the characters' own code points
they can be searched for and copied: "♩ = 104", "B♭". Outlines are turned from PostScript's cubic
curves to TrueType's quadratic ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

# Largest distance between the old and the new outline, in thousandths of the type size.
_OUTLINE_TOLERANCE = 1.0


def quadratic_outline(glyph: Any, glyphs: Mapping[str, Any]) -> Any:
    """The glyph's outline with quadratic curves, running the TrueType way round."""
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    pen = TTGlyphPen(glyphs)
    glyph.draw(Cu2QuPen(pen, _OUTLINE_TOLERANCE, reverse_direction=True))
    return pen.glyph()


def set_outlines(font: Any, order: list[str], outlines: dict[str, Any]) -> None:
    """Replace the PostScript outlines of ``font`` and drop tables that a PDF has no use for."""
    from fontTools.ttLib import newTable

    font["loca"] = newTable("loca")
    font["glyf"] = table = newTable("glyf")
    table.glyphOrder = order
    table.glyphs = outlines
    for tag in ("CFF ", "VORG", "GPOS", "GSUB", "GDEF", "FFTM"):
        if tag in font:
            del font[tag]
    table.compile(font)
    limits = font["maxp"]
    limits.tableVersion = 0x00010000
    limits.maxZones = 1
    limits.maxTwilightPoints = limits.maxStorage = limits.maxFunctionDefs = 0
    limits.maxInstructionDefs = limits.maxStackElements = limits.maxSizeOfInstructions = 0
    limits.maxComponentElements = 0
    limits.compile(font)
    font["post"].formatType = 3.0
    font.sfntVersion = "\0\1\0\0"


def saved(font: Any) -> bytes:
    """The bytes of a font, the same each time."""
    font.recalcTimestamp = False
    data = BytesIO()
    font.save(data)
    return data.getvalue()


# Thousandths of the type size: a stem, how far up a note of text size reaches, and how much
# smaller than on the staff a note stands beside letters.
_STEM_WIDTH = 42
_STEM_TOP = 780
_NOTE_SCALE = 1.0
_SIDE = 40
# Code points of what the font holds: Unicode, Miscellaneous Symbols, where it has them, else the
# private ones of SMuFL 1.4, "Individual notes" (Unicode's Musical Symbols fall apart when
# normalised).
WHOLE, HALF, QUARTER, EIGHTH, SIXTEENTH = "\ue1d2", "\ue1d3", "♩", "♪", "\ue1d9"
DOT = "\ue1e7"
_ACCIDENTALS = {"♭": "accidentals.flat", "♮": "accidentals.natural", "♯": "accidentals.sharp"}
_NOTES = {
    WHOLE: ("noteheads.s0", False, None),
    HALF: ("noteheads.s1", True, None),
    QUARTER: ("noteheads.s2", True, None),
    EIGHTH: ("noteheads.s2", True, "flags.u3"),
    SIXTEENTH: ("noteheads.s2", True, "flags.u4"),
}


def symbol_true_type(source: Path) -> bytes:
    """Make the symbol font (TrueType data) from an Emmentaler file."""
    from fontTools.ttLib import TTFont

    font = TTFont(str(source))
    glyphs = font.getGlyphSet()
    outlines: dict[str, Any] = {}
    widths: dict[str, int] = {}
    names: dict[int, str] = {}
    outlines[".notdef"] = _drawn([], glyphs)
    widths[".notdef"] = 500
    for code, (name, parts, width) in _recipes(glyphs).items():
        outlines[name] = _drawn(parts, glyphs)
        widths[name] = round(width)
        names[ord(code)] = name
    _replace_all(font, outlines, widths, names)
    return saved(font)


def _recipes(glyphs: Any) -> dict[str, tuple[str, list[Any], float]]:
    """Character to (glyph name, parts with their shifts, width)."""
    recipes: dict[str, tuple[str, list[Any], float]] = {}
    for code, name in _ACCIDENTALS.items():
        scale = 1.3
        lift = 165 if code == "♭" else 330
        parts = [(name, scale, _SIDE, lift)]
        recipes[code] = (name, parts, glyphs[name].width * scale + 1.6 * _SIDE)
    for code, (head, has_stem, flag) in _NOTES.items():
        wide = glyphs[head].width * _NOTE_SCALE
        parts = [(head, _NOTE_SCALE, _SIDE, 138)]
        if has_stem:
            parts.append(("stem", 1.0, _SIDE + wide - _STEM_WIDTH, 170))
        if flag is not None:
            parts.append((flag, 0.85, _SIDE + wide - _STEM_WIDTH / 2, _STEM_TOP))
        extra = 150 if flag is not None else 0
        recipes[code] = (f"u{ord(code):x}", parts, wide + 2 * _SIDE + extra)
    recipes[DOT] = ("dots.dot", [("dots.dot", 1.0, 30, 150)], 180)
    return recipes


def _drawn(parts: list[Any], glyphs: Any) -> Any:
    return quadratic_outline(_Assembled(parts, glyphs), glyphs)


class _Assembled:
    """Several glyphs drawn as one."""

    def __init__(self, parts: list[Any], glyphs: Any) -> None:
        self.parts = parts
        self.glyphs = glyphs

    def draw(self, pen: Any) -> None:
        from fontTools.pens.transformPen import TransformPen

        for name, scale, right, up in self.parts:
            if name == "stem":
                _draw_stem(pen, right, up)
            else:
                self.glyphs[name].draw(TransformPen(pen, (scale, 0, 0, scale, right, up)))


def _draw_stem(pen: Any, left: float, bottom: float) -> None:
    # The same way round as PostScript outlines (anticlockwise), so that overlaps stay filled.
    pen.moveTo((left, bottom))
    pen.lineTo((left + _STEM_WIDTH, bottom))
    pen.lineTo((left + _STEM_WIDTH, _STEM_TOP))
    pen.lineTo((left, _STEM_TOP))
    pen.closePath()


def _replace_all(
    font: Any, outlines: dict[str, Any], widths: dict[str, int], names: dict[int, str]
) -> None:
    """Leave nothing in ``font`` but the glyphs given."""
    from fontTools.ttLib.tables._c_m_a_p import CmapSubtable

    order = list(outlines)
    font.setGlyphOrder(order)
    font["hmtx"].metrics = {name: (widths[name], 0) for name in order}
    subtable = CmapSubtable.newSubtable(12)
    subtable.platformID, subtable.platEncID, subtable.language = 3, 10, 0
    subtable.cmap = dict(names)
    basic = CmapSubtable.newSubtable(4)
    basic.platformID, basic.platEncID, basic.language = 3, 1, 0
    basic.cmap = {code: name for code, name in names.items() if code < 0x10000}
    font["cmap"].tables = [basic, subtable]
    kept = {"head", "hhea", "maxp", "OS/2", "hmtx", "cmap", "name", "post", "CFF ", "GlyphOrder"}
    for tag in [tag for tag in font.keys() if tag not in kept]:  # noqa: SIM118
        del font[tag]
    set_outlines(font, order, outlines)
    for name in order:
        outline = font["glyf"][name]
        font["hmtx"].metrics[name] = (widths[name], getattr(outline, "xMin", 0))
