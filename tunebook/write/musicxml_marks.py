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
    "wedge": "staccatissimo", "breath": "breath-mark",
}  # fmt: skip
TECHNICAL = {
    "upbow": "up-bow", "downbow": "down-bow", "open": "open-string", "snap": "snap-pizzicato",
    "thumb": "thumb-position", "plus": "stopped",
}  # fmt: skip
DYNAMICS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "sfz")
WEDGES = {
    "crescendo(": "crescendo", "diminuendo(": "diminuendo",
    "crescendo)": "stop", "diminuendo)": "stop",
}  # fmt: skip
SIGNS = ("segno", "coda")
AT_BAR_END = (
    "D.C.", "D.C.alfine", "D.C.alcoda", "D.S.", "D.S.alfine", "D.S.alcoda", "fine", "dacoda",
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
    known = (*TECHNICAL, *DYNAMICS, *WEDGES, *SIGNS, *AT_BAR_END)
    return name in known or name.isdigit()


def decoration_directions(note: Note) -> list[Element]:
    """Return the directions that stand before a note: dynamics, wedges, segno, coda, words."""
    directions: list[Element] = []
    for name in dict.fromkeys(note.decorations):
        if name in DYNAMICS:
            direction, kind = _direction("below")
            ElementTree.SubElement(ElementTree.SubElement(kind, "dynamics"), name)
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
    return directions + [words_direction(annotation) for annotation in note.annotations]


def _direction(placement: str) -> tuple[Element, Element]:
    direction = ElementTree.Element("direction", placement=placement)
    return direction, ElementTree.SubElement(direction, "direction-type")
