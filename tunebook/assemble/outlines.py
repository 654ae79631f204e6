"""Outlines of glyphs: from PostScript's cubic curves to TrueType's quadratic ones."""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
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
