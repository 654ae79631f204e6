"""Chord symbols as MusicXML <harmony> elements, and decorations (The ABC Music Standard 2.1,
section 4.14) as notations and directions.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import ChordSpan
from tunebook.model.names import solved_mark
from tunebook.model.tune import ALTER_SIGNS, STEP_LETTERS, ChordSymbol, Note
from tunebook.write.musicxml.bars import words_direction
from tunebook.write.musicxml.lengths import in_divisions
from tunebook.write.safe_text import plain_text

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

# (quality, beginning of the extension) to kind; the longest beginning that fits is taken.
_KINDS = {
    ("major", ""): "major", ("major", "7"): "dominant", ("major", "maj7"): "major-seventh",
    ("major", "6"): "major-sixth", ("major", "9"): "dominant-ninth",
    ("major", "maj9"): "major-ninth", ("major", "11"): "dominant-11th",
    ("major", "maj11"): "major-11th", ("major", "13"): "dominant-13th",
    ("major", "maj13"): "major-13th",
    ("minor", ""): "minor", ("minor", "7"): "minor-seventh", ("minor", "maj7"): "major-minor",
    ("minor", "6"): "minor-sixth", ("minor", "9"): "minor-ninth", ("minor", "11"): "minor-11th",
    ("minor", "13"): "minor-13th",
    ("diminished", ""): "diminished", ("diminished", "7"): "half-diminished",
    ("diminished", "bb7"): "diminished-seventh",
    ("augmented", ""): "augmented", ("augmented", "7"): "augmented-seventh",
    ("other", "sus4"): "suspended-fourth", ("other", "sus"): "suspended-fourth",
    ("other", "sus2"): "suspended-second", ("other", "5"): "power",
}  # fmt: skip
_DEGREE = re.compile(r"(add|no|omit)?([#b+-]?)(13|11|9|7|6|5|4|2)")
_ALTERS = {"": 0, "#": 1, "+": 1, "b": -1, "-": -1}


def harmonies_at(note: Note, chords: Sequence[ChordSpan], divisions: int) -> list[Element]:
    """Return the harmonies whose chords begin while ``note`` sounds; those that begin later than
    the note carry their distance as an offset. A proposed chord bears a mark as its id."""
    end = note.onset + note.duration
    return [
        _harmony(span, span.onset - note.onset, divisions, number)
        for number, span in enumerate(chords, start=1)
        if note.onset <= span.onset < end
    ]


def _harmony(span: ChordSpan, delay: Fraction, divisions: int, number: int) -> Element:
    chord = span.chord
    harmony = ElementTree.Element("harmony")
    if span.source == "solved":
        harmony.set("font-style", "italic")
        harmony.set("id", solved_mark(chord.symbol, span.confidence, number))
    _add_tone(ElementTree.SubElement(harmony, "root"), "root", chord.root_step, chord.root_alter)
    kind, degrees = kind_of(chord)
    element = ElementTree.SubElement(harmony, "kind", text=_printed_kind(chord))
    element.text = kind
    if chord.bass is not None:
        _add_tone(ElementTree.SubElement(harmony, "bass"), "bass", *chord.bass)
    for value, alter, way in degrees:
        degree = ElementTree.SubElement(harmony, "degree")
        ElementTree.SubElement(degree, "degree-value").text = str(value)
        ElementTree.SubElement(degree, "degree-alter").text = str(alter)
        ElementTree.SubElement(degree, "degree-type").text = way
    if delay > 0:
        ElementTree.SubElement(harmony, "offset").text = in_divisions(delay, divisions)
    return harmony


def _add_tone(parent: Element, name: str, step: int, alter: int) -> None:
    ElementTree.SubElement(parent, f"{name}-step").text = STEP_LETTERS[step]
    if alter:
        ElementTree.SubElement(parent, f"{name}-alter").text = str(alter)


def _printed_kind(chord: ChordSymbol) -> str:
    """What is printed after the root: "m7" of "F#m7/E"."""
    root = STEP_LETTERS[chord.root_step] + ALTER_SIGNS.get(chord.root_alter, "")
    printed = chord.symbol.removeprefix(root)
    if chord.bass is not None:
        printed = printed.rpartition("/")[0]
    return plain_text(printed).strip()


def kind_of(chord: ChordSymbol) -> tuple[str, tuple[tuple[int, int, str], ...]]:
    """Return MusicXML's kind, and what it lacks as degrees (value, alteration, add, alter or
    subtract)."""
    extension = chord.extension.replace("/", "")
    for length in range(len(extension), -1, -1):
        kind = _KINDS.get((chord.quality, extension[:length]))
        if kind is not None:
            return kind, _degrees(extension[length:])
    if "sus" in extension:
        is_second = "sus2" in extension
        rest = re.sub(r"sus[24]?", "", extension)
        return ("suspended-second" if is_second else "suspended-fourth"), _degrees(rest)
    return "other", _degrees(extension)


def _degrees(text: str) -> tuple[tuple[int, int, str], ...]:
    found = []
    for word, sign, number in _DEGREE.findall(text):
        if word in ("no", "omit"):
            way = "subtract"
        elif number == "5" and sign:
            way = "alter"
        else:
            way = "add"
        found.append((int(number), _ALTERS[sign], way))
    return tuple(found)


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
