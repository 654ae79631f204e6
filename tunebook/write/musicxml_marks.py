"""Decorations of ABC (standard 2.1, section 4.14) as notations and directions of MusicXML."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.tune import Note
from tunebook.write.musicxml_bars import words_direction
from tunebook.write.safe_text import plain_text

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

ORNAMENTS = {
    "trill": "trill-mark", "turn": "turn", "turnx": "turn", "invertedturn": "inverted-turn",
    "invertedturnx": "inverted-turn", "lowermordent": "mordent", "uppermordent": "inverted-mordent",
}  # fmt: skip
ARTICULATIONS = {
    "staccato": "staccato", "accent": "accent", "marcato": "strong-accent", "tenuto": "tenuto",
    "wedge": "staccatissimo", "breath": "breath-mark", "slide": "scoop",
}  # fmt: skip
TECHNICAL = {
    "upbow": "up-bow", "downbow": "down-bow", "open": "open-string", "snap": "snap-pizzicato",
    "thumb": "thumb-position", "plus": "stopped",
}  # fmt: skip
DYNAMICS = (
    "ppppp", "pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "fffff", "fp", "sf",
    "sfp", "sfz", "fz", "rfz", "n",
)  # fmt: skip
OTHER_DYNAMICS = ("sff", "sp", "spp")
LONG_TRILLS = {"trill(": "start", "trill)": "stop"}
WEDGES = {
    "crescendo(": "crescendo", "diminuendo(": "diminuendo",
    "crescendo)": "stop", "diminuendo)": "stop",
}  # fmt: skip
SIGNS = ("segno", "coda")
AT_BAR_END = (
    "D.C.", "D.C.alfine", "D.C.alcoda", "D.S.", "D.S.alfine", "D.S.alcoda", "fine", "dacapo",
    "dacoda", "tocoda",
)  # fmt: skip


def mark_notations(names: Iterable[str]) -> list[Element]:
    """Return children of <notations> for a note's decorations (technical marks apart). One that
    MusicXML does not know becomes an other-notation with its name, so that nothing is lost."""
    ornaments = ElementTree.Element("ornaments")
    articulations = ElementTree.Element("articulations")
    others: list[Element] = []
    for name in dict.fromkeys(names):
        if name in ORNAMENTS:
            slash = {"slash": "yes"} if name.endswith("x") else {}
            ElementTree.SubElement(ornaments, ORNAMENTS[name], slash)
        elif name in LONG_TRILLS:
            if name == "trill(":
                ElementTree.SubElement(ornaments, "trill-mark")
            ElementTree.SubElement(ornaments, "wavy-line", type=LONG_TRILLS[name])
        elif name in ARTICULATIONS:
            ElementTree.SubElement(articulations, ARTICULATIONS[name])
        elif name in ("fermata", "invertedfermata"):
            kind = "inverted" if name.startswith("inverted") else "upright"
            others.append(ElementTree.Element("fermata", type=kind))
        elif name == "arpeggio":
            others.append(ElementTree.Element("arpeggiate"))
        elif not _stands_elsewhere(name):
            other = ElementTree.Element("other-notation", type="single")
            other.text = plain_text(name)
            others.append(other)
    return [element for element in (ornaments, articulations) if len(element)] + others


def technical_marks(names: Iterable[str]) -> list[Element]:
    """Return children of <technical> for bowings and the like."""
    return [ElementTree.Element(TECHNICAL[n]) for n in dict.fromkeys(names) if n in TECHNICAL]


def _stands_elsewhere(name: str) -> bool:
    known = (*TECHNICAL, *DYNAMICS, *OTHER_DYNAMICS, *WEDGES, *SIGNS, *AT_BAR_END)
    return name in known or name.isdigit()


def decoration_directions(note: Note) -> list[Element]:
    """Return the directions that stand before a note: dynamics, wedges, segno, coda, words."""
    words = [words_direction(annotation) for annotation in note.annotations]
    return [*directions_of(note.decorations), *words]


def directions_of(names: Iterable[str]) -> list[Element]:
    """Return dynamics, wedges, segno and coda as directions."""
    directions: list[Element] = []
    for name in dict.fromkeys(names):
        if name in DYNAMICS:
            direction, kind = _direction("below")
            ElementTree.SubElement(ElementTree.SubElement(kind, "dynamics"), name)
        elif name in OTHER_DYNAMICS:
            direction, kind = _direction("below")
            dynamics = ElementTree.SubElement(kind, "dynamics")
            ElementTree.SubElement(dynamics, "other-dynamics").text = name
        elif name in WEDGES:
            direction, kind = _direction("below")
            ElementTree.SubElement(kind, "wedge", type=WEDGES[name])
        elif name in SIGNS:
            direction, kind = _direction("above")
            ElementTree.SubElement(kind, name)
            ElementTree.SubElement(direction, "sound", {name: name})
        else:
            continue
        directions.append(direction)
    return directions


def _direction(placement: str) -> tuple[Element, Element]:
    direction = ElementTree.Element("direction", placement=placement)
    return direction, ElementTree.SubElement(direction, "direction-type")
