"""Kerning: which pairs of letters a font sets closer, or wider, than their widths say.

Reportlab sets every letter by its width alone. At the size of a title that shows: "Vargavinter",
"To". So titles are kerned by the pairs that the font itself lists (GPOS, OpenType specification).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

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
