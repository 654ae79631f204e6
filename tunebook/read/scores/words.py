"""What is written over and under a staff: chords, words, tempo, signs of jumps.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), elements harmony, direction, sound,
metronome. How jumps are worded is common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from tunebook.errors import SourcePlace
from tunebook.model.names import likely_of
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.scores.marks import dynamics_of
from tunebook.read.scores.timeline import number_of, words_of

_KINDS = {
    "major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant": "7",
    "major-seventh": "maj7", "minor-seventh": "m7", "diminished-seventh": "dim7",
    "augmented-seventh": "aug7", "half-diminished": "m7b5", "major-minor": "mmaj7",
    "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9",
    "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11",
    "dominant-13th": "13", "major-13th": "maj13", "minor-13th": "m13",
    "suspended-second": "sus2", "suspended-fourth": "sus4", "power": "5",
}  # fmt: skip
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_WAYS = {"add": "add", "alter": "", "subtract": "no"}


@dataclass(frozen=True, slots=True)
class ScoreChord:
    """A chord symbol, "N.C." where no chord is to be played; ``likely`` is how likely it is, as
    text, where this program proposed it."""

    symbol: str
    likely: str = ""


def chord_of(harmony: Element) -> ScoreChord | None:
    """The chord of a <harmony>; None where it cannot be read."""
    symbol = _symbol_of(harmony)
    if symbol is None:
        return None
    return ScoreChord(symbol, likely_of(harmony.get("id", "")[:80], symbol))


def _symbol_of(harmony: Element) -> str | None:
    kind = words_of(harmony, "kind")
    if kind == "none":
        return "N.C."
    root = _tone(harmony, "root")
    if root is None:
        return None
    bass = _tone(harmony, "bass")
    end = f"/{bass}" if bass else ""
    shown = harmony.find("kind")
    text = "" if shown is None else " ".join(shown.get("text", "").split())[:30]
    degrees = "".join(_degree(one) for one in harmony.iterfind("degree"))
    spelled = [root + _KINDS[kind] + degrees + end] if kind in _KINDS else []
    for symbol in (*spelled, root + text + end, root + text, root + end):
        if read_chord_symbol(symbol, SourcePlace("")) is not None:
            return symbol
    return None


def _tone(harmony: Element, name: str) -> str | None:
    step = words_of(harmony, f"{name}/{name}-step")
    if step not in tuple("ABCDEFG"):
        return None
    alter = round(number_of(harmony.findtext(f"{name}/{name}-alter")))
    return step + _SIGNS.get(alter, "")


def _degree(element: Element) -> str:
    way = _WAYS.get(words_of(element, "degree-type"), "add")
    alter = _SIGNS.get(round(number_of(element.findtext("degree-alter"))), "")
    return f"{way}{'' if way == 'no' else alter}{words_of(element, 'degree-value')[:2]}"


_JUMPS = (
    ("D.C.alfine", re.compile(r"(d\.?\s?c\.?|da\s?capo) al fine", re.I)),
    ("D.C.alcoda", re.compile(r"(d\.?\s?c\.?|da\s?capo) al coda", re.I)),
    ("D.S.alfine", re.compile(r"(d\.?\s?s\.?|dal\s?segno) al fine", re.I)),
    ("D.S.alcoda", re.compile(r"(d\.?\s?s\.?|dal\s?segno) al coda", re.I)),
    ("dacapo", re.compile(r"da\s?capo", re.I)),
    ("D.C.", re.compile(r"d\.?\s?c\.?", re.I)),
    ("D.S.", re.compile(r"(d\.?\s?s\.?|dal\s?segno)", re.I)),
    ("fine", re.compile(r"fine", re.I)),
    ("tocoda", re.compile(r"(to|al)\s?coda", re.I)),
    ("dacoda", re.compile(r"da\s?coda", re.I)),
    ("coda", re.compile(r"coda", re.I)),
    ("segno", re.compile(r"segno", re.I)),
)
AT_BAR_END = frozenset(
    ("D.C.", "D.S.", "D.C.alfine", "D.C.alcoda", "D.S.alfine", "D.S.alcoda", "dacapo", "fine",
     "tocoda", "dacoda")
)  # fmt: skip
_SOUNDS = (("dacapo", "D.C."), ("dalsegno", "D.S."), ("fine", "fine"), ("tocoda", "tocoda"),
           ("segno", "segno"), ("coda", "coda"))  # fmt: skip
_WEDGES = {"crescendo": "crescendo", "diminuendo": "diminuendo"}
_BEATS = {"breve": Fraction(2), "whole": Fraction(1), "half": Fraction(1, 2),
          "quarter": Fraction(1, 4), "eighth": Fraction(1, 8), "16th": Fraction(1, 16),
          "32nd": Fraction(1, 32)}  # fmt: skip
_NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,3})?")


@dataclass(slots=True)
class Direction:
    """What one <direction> or <sound> says: names of decorations, words with their place ("^" over
    or "_" under the staff), the text of Q: for a tempo, the label of a part; ``staff`` is the staff
    it stands at; ``is_large`` says that its words are set as a heading is."""

    decorations: list[str] = field(default_factory=list)
    words: list[tuple[str, str]] = field(default_factory=list)
    tempo: str = ""
    label: str = ""
    staff: int = 1
    is_large: bool = False


class Directions:
    """Reads directions in their order; it knows which hairpin is open."""

    def __init__(self) -> None:
        self._wedges: dict[str, str] = {}

    def read(self, element: Element) -> Direction:
        found = Direction(staff=int(number_of(element.findtext("staff"), Fraction(1))))
        sound = element if element.tag == "sound" else element.find("sound")
        sign = "_" if element.get("placement") == "below" else "^"
        texts: list[str] = []
        beat = ""
        for one in element.iterfind("direction-type/*"):
            if one.tag == "words":
                texts.append(" ".join((one.text or "").split()))
                found.is_large = found.is_large or _is_large(one)
            elif one.tag == "metronome":
                beat = beat or _metronome(one)
            else:
                self._sign(one, found)
        text = " ".join(filter(None, texts))[:300]
        self._words(text, sign, beat, sound, found)
        self._sounds(sound, found)
        return found

    def _sign(self, one: Element, found: Direction) -> None:
        if one.tag in ("segno", "coda"):
            found.decorations.append(one.tag)
        elif one.tag == "rehearsal":
            found.label = found.label or words_of(one, ".")[:40]
        elif one.tag == "dynamics":
            found.decorations += dynamics_of(one)
        elif one.tag == "wedge":
            number, kind = one.get("number", "1"), one.get("type", "")
            if kind in _WEDGES:
                self._wedges[number] = _WEDGES[kind]
                found.decorations.append(f"{_WEDGES[kind]}(")
            elif kind == "stop" and number in self._wedges:
                found.decorations.append(f"{self._wedges.pop(number)})")

    def _words(
        self, text: str, sign: str, beat: str, sound: Element | None, found: Direction
    ) -> None:
        jump = next((name for name, pattern in _JUMPS if pattern.fullmatch(text)), None)
        tempo = number_of(sound.get("tempo")) if sound is not None else Fraction(0)
        if jump is not None:
            found.decorations.append(jump)
        elif beat or (text and tempo > 0 and not found.decorations and not found.label):
            quoted = text.replace('"', "'")
            number = beat or f"1/4={float(tempo):g}"
            found.tempo = f'"{quoted}" {number}' if quoted else number
        elif text:
            found.words.append((sign, text))

    def _sounds(self, sound: Element | None, found: Direction) -> None:
        """What a player does and no word of the direction says."""
        if sound is None:
            return
        for name, decoration in _SOUNDS:
            value = sound.get(name)
            if value is None or value == "no" or self._says(found, name):
                continue
            found.decorations.append(decoration)

    def _says(self, found: Direction, name: str) -> bool:
        letters = {
            "dacapo": ("D.C", "dacapo"),
            "dalsegno": ("D.S",),
            "tocoda": ("tocoda", "dacoda"),
        }
        begins = letters.get(name, (name,))
        if any(one.startswith(begins) for one in found.decorations):
            return True
        text = " ".join(words for _, words in found.words).lower()
        spoken = {"dacapo": r"d\.?\s?c\b|da\s?capo", "dalsegno": r"d\.?\s?s\b|dal\s?segno",
                  "tocoda": "coda"}.get(name, name)  # fmt: skip
        return bool(re.search(spoken, text))


def _metronome(element: Element) -> str:
    """ "3/8=60"; "" where two values are set equal, or no number stands."""
    beat = _BEATS.get(words_of(element, "beat-unit"))
    number = _NUMBER.search(words_of(element, "per-minute"))
    if beat is None or number is None or not float(number[0]):
        return ""
    length = beat * (2 - Fraction(1, 2 ** len(element.findall("beat-unit-dot"))))
    return f"{length.numerator}/{length.denominator}={float(number[0]):g}"


_LARGE_PT = 16


def _is_large(words: Element) -> bool:
    """Whether words are set in the size of a heading (our judgement)."""
    return number_of(words.get("font-size")) >= _LARGE_PT
