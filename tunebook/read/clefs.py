"""Clefs that a tune asks for in K: or V:.

Source: The ABC Music Standard 2.1, section 4.6: a name, the number of the line where it is not the
usual one, and +8 or -8. Names here are LilyPond's: "treble", "bass", "alto", "tenor" and those of
old practice, with "_8" (sounding an octave lower) or "^8".
"""

from __future__ import annotations

import re

_NAME = r"(treble|bass|alto|tenor|soprano|mezzosoprano|baritone|perc|none|[GCF])([1-5]?)([+_^-]8)?"
_CLEF = re.compile(_NAME)
_ASKED = re.compile(r'\bclef\s*=\s*"?([\w+^-]{1,20})', re.ASCII)
_PROPERTY = re.compile(r'\b[A-Za-z]{1,20}\s?=\s?(?:"[^"]*"|\S+)')
_BY_LINE = {
    ("G", 1): "french",
    ("G", 2): "treble",
    ("C", 1): "soprano",
    ("C", 2): "mezzosoprano",
    ("C", 3): "alto",
    ("C", 4): "tenor",
    ("C", 5): "baritone",
    ("F", 3): "varbaritone",
    ("F", 4): "bass",
    ("F", 5): "subbass",
}
_SHAPES = {
    "treble": ("G", 2),
    "bass": ("F", 4),
    "alto": ("C", 3),
    "tenor": ("C", 4),
    "soprano": ("C", 1),
    "mezzosoprano": ("C", 2),
    "baritone": ("F", 3),
    "G": ("G", 2),
    "C": ("C", 3),
    "F": ("F", 4),
}


def read_clef(text: str) -> str:
    """The clef named in the properties of K: or V:, "" when none is. A clef that cannot be printed
    (perc, none, or one unknown) comes back as it stands, see :func:`is_printed`. A line on which
    a clef is never set counts as its usual one."""
    asked = _ASKED.search(text)
    if asked is not None:
        word = asked[1]
    else:
        words = _PROPERTY.sub(" ", text).split()
        named = [one for one in words if len(one) > 3 and one != "none" and _CLEF.fullmatch(one)]
        word = named[-1] if named else ""
    match = _CLEF.fullmatch(word)
    if match is None or match[1] not in _SHAPES:
        return word
    shape, usual = _SHAPES[match[1]]
    clef = _BY_LINE.get((shape, int(match[2] or usual))) or _BY_LINE[(shape, usual)]
    return clef + (match[3] or "").replace("+", "^").replace("-", "_")


def is_printed(clef: str) -> bool:
    """Whether a clef that :func:`read_clef` gave can be printed."""
    return re.sub(r"[_^]8$", "", clef) in _BY_LINE.values()
