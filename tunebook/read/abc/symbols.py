"""Chord symbols: quoted text such as "Dm", "F#dim7", "Bb/D", in all usual spellings.

ABC 2.1, section 4.18, gives the form ``note accidental type /bass``; the spellings of the types
beyond its list (min, Maj7, -, o, +, ...) are common practice, no source. So is the letter H for B
natural, as Swedish and German players write it; B stays B natural, as the standard has it.
"""

from __future__ import annotations

import functools
import re

from tunebook.errors import SourcePlace
from tunebook.model.choices import Quality
from tunebook.model.tune import STEP_LETTERS, ChordSymbol

_ALTERS = {"": 0, "#": 1, "♯": 1, "##": 2, "b": -1, "♭": -1, "bb": -2}
_ROOT = re.compile(r"([A-H])(##|bb|[#b♯♭]?)")
_BASS = re.compile(r"/\s*([A-Ha-h])([#b♯♭]?)$")
_NUMBER = r"(?:69|6/9|67|11|13|2|4|5|6|7|9)"
_CHANGES = re.compile(
    rf"(?:\s|,|\(|\)|sus24|sus[24]?|alt|no\d|omit\d|add\s?[#b]?\d{{1,2}}"
    rf"|[#b♯♭+-](?:11|13|4|5|6|9)|maj7?|/9|\+|\.$|{_NUMBER})*+"
)
_FAMILIES: tuple[tuple[re.Pattern[str], Quality, str], ...] = (
    (
        re.compile(r"(?:m|min|mi|-)(?:maj|Maj|ma|Ma|M|\^|Δ)7?|(?:m|min|-)\((?:maj|M)7\)"),
        "minor",
        "maj7",
    ),
    (re.compile(r"(?:maj|Maj|MAJ|ma|Ma|M|Δ|\^)(?=7|9|11|13|6|$|\W)"), "major", "maj"),
    (re.compile(r"(?:major|Major)"), "major", "maj"),
    (re.compile(r"(?:dim|Dim|DIM|diminished|o|°|º)"), "diminished", ""),
    (re.compile(r"(?:ø7?|(?:min|mi|m|-)7\(?(?:b5|♭5|-5)\)?)"), "diminished", "half"),
    (re.compile(r"(?:min|mi|m|-)\(?(?:b5|♭5|-5)\)?"), "diminished", "triad"),
    (re.compile(r"(?:aug|Aug|AUG|augmented|\+(?!5|9|11|13))"), "augmented", ""),
    (re.compile(r"(?:minor|Minor|min|Min|MIN|mi|m|-(?!5))"), "minor", ""),
)
_Parts = tuple[int, int, Quality, str, tuple[int, int] | None, bool]


def readable_part(text: str) -> tuple[str, str]:
    """(the symbol, what is not understood) of a symbol whose bass has no known form: of "D/f+"
    "D" and "/f+". ("", "") where it is no such symbol."""
    symbol, slash, bass = text.partition("/")
    if not slash or re.search(r"\s", bass) or len(bass) > 8:
        return "", ""
    if read_chord_symbol(symbol, SourcePlace("")) is None:
        return "", ""
    return symbol, slash + bass


def read_chord_symbol(text: str, place: SourcePlace) -> ChordSymbol | None:
    """Read a chord symbol; None when the text is none (it is then words).

    A symbol in brackets, "(D)", is an optional chord. Quality is that of the triad: a chord
    without a third (D5, Dsus4) is "other", an altered seventh keeps the quality of its third and
    fifth. ``extension`` is what the triad does not say, in one spelling; over a diminished
    triad "7" is the minor seventh (m7b5) and "bb7" the diminished one (dim7).
    """
    if len(text) > 40:
        return None
    parts = _parts_of(text)
    if parts is None:
        return None
    step, alter, quality, extension, bass, is_optional = parts
    return ChordSymbol(
        place=place,
        text=text,
        root_step=step,
        root_alter=alter,
        quality=quality,
        extension=extension,
        bass=bass,
        is_optional=is_optional,
    )


@functools.lru_cache(maxsize=5000)
def _parts_of(text: str) -> _Parts | None:
    text = text.strip()
    is_optional = text.startswith("(") and text.endswith(")")
    if is_optional:
        text = text[1:-1].strip()
    root = _ROOT.match(text)
    if not root:
        return None
    rest = text[root.end() :]
    bass = None
    slash = _BASS.search(rest)
    if slash:
        bass = (_step(slash[1]), _ALTERS[slash[2]])
        rest = rest[: slash.start()]
    kind = _read_kind(rest.strip())
    if kind is None:
        return None
    return _step(root[1]), _ALTERS[root[2]], *kind, bass, is_optional


def _step(letter: str) -> int:
    return STEP_LETTERS.index("B" if letter in "Hh" else letter.upper())


def _read_kind(rest: str) -> tuple[Quality, str] | None:
    """Quality and extension of what follows the root, or None."""
    quality: Quality = "major"
    extension = ""
    is_triangle = rest.startswith(("Δ", "^"))
    for pattern, family, mark in _FAMILIES:
        match = pattern.match(rest)
        if match:
            quality, extension, rest = family, mark, rest[match.end() :]
            break
    if not _CHANGES.fullmatch(rest):
        return None
    tail = re.sub(r"[\s,().]", "", rest).replace("♯", "#").replace("♭", "b")
    return _settle(quality, extension, tail, is_triangle)


def _settle(quality: Quality, mark: str, tail: str, is_triangle: bool) -> tuple[Quality, str]:
    if mark == "half":
        return "diminished", "7" + tail
    if mark == "triad":
        return "diminished", tail
    if quality == "minor" and tail.startswith(("7b5", "7-5")):
        return "diminished", "7" + tail[3:]
    if quality == "diminished" and tail.startswith("7"):
        return "diminished", "bb7" + tail[1:]
    if mark == "maj":
        if tail == "" and is_triangle:
            tail = "7"
        return "major", ("maj" + tail if tail and tail[0].isdigit() and tail[0] != "6" else tail)
    if mark == "maj7":
        return "minor", "maj7" + tail
    if quality == "major":
        if "sus" in tail or tail in ("5", "2", "4"):
            return "other", "sus" + tail if tail in ("2", "4") else tail
        if re.match(r"7?[+#]5|7?\+$", tail):
            return "augmented", re.sub(r"[+#]5|\+$", "", tail)
    return quality, tail
