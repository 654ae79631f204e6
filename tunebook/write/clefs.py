"""Clefs as LilyPond and MusicXML have them."""

from __future__ import annotations

_SIGNS = {
    "french": ("G", 1),
    "treble": ("G", 2),
    "soprano": ("C", 1),
    "mezzosoprano": ("C", 2),
    "alto": ("C", 3),
    "tenor": ("C", 4),
    "baritone": ("C", 5),
    "varbaritone": ("F", 3),
    "bass": ("F", 4),
    "subbass": ("F", 5),
}
_OCTAVES = {"_8": -1, "^8": 1}


def clef_command(clef: str) -> str:
    """The command for a clef of the tune or the instrument ("bass", "treble_8"); one of no known
    name is a treble clef."""
    name, octave = _parts(clef)
    return f'\\clef "{name}{clef[-2:]}"' if octave else f"\\clef {name}"


def clef_sign(clef: str) -> tuple[str, int, int]:
    """The letter of a clef, the line it stands on (1 is the lowest), and by how many octaves the
    notes sound higher than written."""
    name, octave = _parts(clef)
    return (*_SIGNS[name], octave)


def _parts(clef: str) -> tuple[str, int]:
    octave = _OCTAVES.get(clef[-2:], 0)
    name = clef[:-2] if octave else clef
    return (name if name in _SIGNS else "treble"), octave
