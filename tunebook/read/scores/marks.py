"""What is written at a note: signs, fingers and strings, slurs, words under it.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), element notations; the names of
decorations are those of The ABC Music Standard 2.1, section 4.14.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from tunebook.model.names import finger_of_trill
from tunebook.model.tune import STEP_LETTERS, STEP_SEMITONES, Syllable
from tunebook.read.abc.decorations import canonical_decoration
from tunebook.read.scores.timeline import Remark, Written, number_of, words_of

_SIGNS = {
    "trill-mark": "trill", "turn": "turn", "delayed-turn": "turn", "inverted-turn": "invertedturn",
    "delayed-inverted-turn": "invertedturn", "vertical-turn": "turn", "mordent": "lowermordent",
    "inverted-mordent": "uppermordent", "shake": "trill", "schleifer": "slide",
    "accent": "accent", "strong-accent": "marcato", "staccato": "staccato", "tenuto": "tenuto",
    "staccatissimo": "wedge", "spiccato": "wedge", "scoop": "slide", "plop": "slide",
    "doit": "doit", "falloff": "fall", "breath-mark": "breath", "caesura": "longphrase",
    "stress": "accent", "soft-accent": "accent", "up-bow": "upbow", "down-bow": "downbow",
    "open-string": "open", "thumb-position": "thumb", "snap-pizzicato": "snap", "stopped": "plus",
    "arpeggiate": "arpeggio",
}  # fmt: skip
_TWO_SIGNS = {"detached-legato": ("tenuto", "staccato")}
_GROUPS = ("ornaments", "articulations", "technical")
_QUIET = frozenset(
    ("tied", "slur", "tuplet", "fermata", "wavy-line", "fingering", "string", "accidental-mark",
     "fret", "other-notation", "dynamics", "tremolo", "non-arpeggiate")
)  # fmt: skip
_JOINED = ("begin", "middle")
_MOST_VERSES = 40


@dataclass(slots=True)
class Marks:
    """``fingers`` are parallel to the tones; ``string`` counts from the highest; ``trill_finger``
    is the one that trills; ``slur_starts`` and ``slur_stops`` are the slurs' numbers; ``syllables``
    by verse; ``beam`` is the value of the first beam, "" where there is none."""

    decorations: list[str] = field(default_factory=list)
    fingers: list[int | None] = field(default_factory=list)
    string: int | None = None
    trill_finger: int | None = None
    slur_starts: list[str] = field(default_factory=list)
    slur_stops: list[str] = field(default_factory=list)
    syllables: dict[int, Syllable] = field(default_factory=dict)
    beam: str = ""
    shows_sign: list[bool] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)


def marks_of(written: Written) -> Marks:
    """Look through the elements of a note or chord."""
    marks = Marks()
    for element in written.elements:
        marks.fingers.append(None)
        marks.shows_sign.append(element.find("accidental") is not None)
        marks.beam = marks.beam or words_of(element, "beam")
        for notations in element.iterfind("notations"):
            if notations.get("print-object") == "no":
                continue
            for one in notations:
                _notation(one, marks)
        for lyric in element.iterfind("lyric"):
            _lyric(lyric, marks)
    marks.decorations = list(dict.fromkeys(marks.decorations))
    if len(written.elements) > 1:
        _share_fingers(written, marks)
    return marks


def _share_fingers(written: Written, marks: Marks) -> None:
    """Programs that hang all fingers of a chord on its first note mean them from the lowest tone
    up (music21's writer does; common practice, no source)."""
    first = [_text_of_finger(one) for one in written.elements[0].iterfind(_FINGERINGS)]
    others = [one for element in written.elements[1:] for one in element.iterfind(_FINGERINGS)]
    if others or len(first) != len(written.elements) or not set(first) <= set("01234"):
        return
    heights = [_height(element) for element in written.elements]
    for at, finger in zip(sorted(range(len(heights)), key=heights.__getitem__), first, strict=True):
        marks.fingers[at] = int(finger)


_FINGERINGS = "notations/technical/fingering"


def _text_of_finger(element: Element) -> str:
    is_other = element.get("substitution") == "yes" or element.get("alternate") == "yes"
    return "" if is_other else words_of(element, ".")


def _height(element: Element) -> Fraction:
    step = words_of(element, "pitch/step")
    semitones = STEP_SEMITONES[STEP_LETTERS.index(step)] if step else 0
    octave = number_of(element.findtext("pitch/octave"))
    return 12 * octave + semitones + number_of(element.findtext("pitch/alter"))


def _notation(element: Element, marks: Marks) -> None:
    if element.tag in _GROUPS:
        for one in element:
            _sign(one, marks)
    else:
        _sign(element, marks)


def _sign(element: Element, marks: Marks) -> None:
    tag = element.tag
    if tag in _SIGNS:
        marks.decorations.append(_SIGNS[tag])
    elif tag in _TWO_SIGNS:
        marks.decorations += _TWO_SIGNS[tag]
    elif tag == "slur":
        if element.get("type") in ("start", "stop"):
            ends = marks.slur_starts if element.get("type") == "start" else marks.slur_stops
            ends.append(element.get("number", "1"))
    elif tag == "fermata":
        kind = "invertedfermata" if element.get("type") == "inverted" else "fermata"
        marks.decorations.append(kind)
    elif tag == "wavy-line":
        ends_of_trill = {"start": "trill(", "stop": "trill)"}
        if element.get("type") in ends_of_trill:
            marks.decorations.append(ends_of_trill[element.get("type", "")])
    elif tag == "fingering":
        _finger(element, marks)
    elif tag == "string":
        number = words_of(element, ".")
        if number in tuple("123456789"):
            marks.string = int(number)
    elif tag == "tremolo":
        marks.decorations.append(f"trem{words_of(element, '.')[:1] or '3'}")
    else:
        _other_sign(element, marks)


def _other_sign(element: Element, marks: Marks) -> None:
    """A sign known by its text, or one that is passed over and said."""
    if element.tag == "other-notation":
        name, is_known = canonical_decoration(words_of(element, ".")[:40])
        if is_known:
            marks.decorations.append(name)
            return
    elif element.tag == "dynamics":
        marks.decorations += dynamics_of(element)
        return
    elif element.tag == "other-technical":
        marks.trill_finger = finger_of_trill(words_of(element, ".")) or marks.trill_finger
        if marks.trill_finger:
            return
    if element.tag not in _QUIET:
        name = element.tag.replace("-", " ")
        marks.remarks.append((f"the sign {name!r} is not read", "write it in by hand"))


def _finger(element: Element, marks: Marks) -> None:
    if element.get("substitution") == "yes" or element.get("alternate") == "yes":
        return
    text = words_of(element, ".")
    if text in tuple("01234"):
        marks.fingers[-1] = int(text)
    elif text:
        what = f"the fingering {text[:20]!r} is no finger of a string player and is left out"
        marks.remarks.append((what, "fingers are 0 (open) to 4 (little finger)"))


def dynamics_of(element: Element) -> list[str]:
    """The dynamics in a <dynamics> as decorations."""
    found = []
    for one in element:
        name = words_of(one, ".") if one.tag == "other-dynamics" else one.tag
        canonical, is_known = canonical_decoration(name[:20])
        if is_known:
            found.append(canonical)
    return found


def _lyric(element: Element, marks: Marks) -> None:
    digits = re.findall(r"\d+", element.get("number", "1"))
    verse = int(digits[-1][:3]) if digits else 1
    texts = [one.text or "" for one in element if one.tag in ("text", "elision")]
    text = " ".join("".join(text or " " for text in texts).split())
    is_extended = element.find("extend") is not None
    if not 0 < verse <= _MOST_VERSES or not (text or is_extended):
        return
    is_joined = words_of(element, "syllabic") in _JOINED
    marks.syllables.setdefault(verse, Syllable(text, is_joined, is_extended))
