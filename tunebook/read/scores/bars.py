"""The frame of a score's measures: bar signs, endings, key, metre, clef, lines and pages.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), elements barline, attributes and
print. A repeat without a beginning goes back to the last repeat or the beginning (common practice,
no source); where the page would be read otherwise, the sign is put in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from tunebook.model.spelling import name_at
from tunebook.model.tune import ALTER_SIGNS, STEP_LETTERS
from tunebook.read.abc.tokens import passes_of_ending
from tunebook.read.scores.timeline import Measure, Part, meter_of, number_of, words_of
from tunebook.read.scores.words import Direction, Directions

_STYLES = {"light-light": "||", "light-heavy": "|]", "heavy-heavy": "|]", "heavy-light": "[|",
           "heavy": "||", "dotted": ".|", "dashed": ".|", "none": "[|]"}  # fmt: skip
_DOUBLE = ("||", "|]", "[|")
_MODES = {"major": (0, ""), "ionian": (0, ""), "minor": (-3, "m"), "aeolian": (-3, "m"),
          "dorian": (-2, "dor"), "phrygian": (-4, "phr"), "lydian": (1, "lyd"),
          "mixolydian": (-1, "mix"), "locrian": (-5, "loc")}  # fmt: skip
_CLEFS = {("G", 2): "treble", ("G", 1): "G1", ("F", 4): "bass", ("F", 3): "bass3",
          ("F", 5): "bass5", ("C", 1): "soprano", ("C", 2): "mezzosoprano", ("C", 3): "alto",
          ("C", 4): "tenor", ("C", 5): "C5"}  # fmt: skip


@dataclass(slots=True)
class Frame:
    """What all voices share of one measure. ``sign`` stands after it; ``repeats`` is how often the
    section that ends with it is played, 0 where none ends; ``meter`` is the text of M: where it is
    new. ``directions`` of each part are in order, with their times."""

    index: int
    number: str
    is_implicit: bool
    begins_repeat: bool = False
    repeats: int = 0
    sign: str = "|"
    has_sign: bool = False
    ending: tuple[int, ...] = ()
    ends_ending: bool = False
    meter: str = ""
    breaks_line: bool = False
    breaks_page: bool = False
    at_start: list[str] = field(default_factory=list)
    at_end: list[str] = field(default_factory=list)
    directions: dict[str, list[tuple[Fraction, Direction]]] = field(default_factory=dict)
    length: Fraction = Fraction(0)
    meter_length: Fraction = Fraction(0)
    sign_text: str = "|"


def frames_of(parts: Sequence[Part]) -> list[Frame]:
    """One frame for each measure. Repeats and endings may stand in any part."""
    count = max(len(part.measures) for part in parts)
    frames = []
    meter_length = Fraction(1)
    reader = Directions()
    for index in range(count):
        some = [part.measures[index] for part in parts if index < len(part.measures)]
        first = some[0]
        frame = Frame(index, first.number or str(index + 1), first.is_implicit)
        for measure in some:
            for barline in measure.barlines:
                _barline(barline, frame)
            frame.length = max(frame.length, measure.length)
        _print(first, frame)
        for _, attributes in first.at("attributes"):
            found = meter_of(attributes)
            if found is not None:
                frame.meter, meter_length = found
        frame.meter_length = meter_length
        for part in parts:
            if index < len(part.measures):
                frame.directions[part.identity] = [
                    (onset, reader.read(element))
                    for onset, element in part.measures[index].others
                    if element.tag in ("direction", "sound")
                ]
        frames.append(frame)
    _settle_endings(frames)
    _join_halves(frames)
    _write_starts(frames)
    for frame, after in _with_next(frames):
        frame.sign_text = _sign_text(frame, after)
    return frames


def _sign_text(frame: Frame, after: Frame | None) -> str:
    """The bar sign after a measure, with the beginning of a repeat that follows."""
    begins = after is not None and after.begins_repeat
    if frame.repeats:
        colons = ":" * (frame.repeats - 1)
        return f"{colons}|:" if begins else f"{colons}|"
    return "|:" if begins else frame.sign


def _barline(element: Element, frame: Frame) -> None:
    is_left = element.get("location") == "left"
    style = words_of(element, "bar-style")
    repeat = element.find("repeat")
    if repeat is not None and repeat.get("direction") == "forward":
        frame.begins_repeat = True
    elif repeat is not None:
        times = number_of(repeat.get("times"), Fraction(2))
        frame.repeats = max(frame.repeats, min(max(int(times), 2), 99))
    elif not is_left and style in _STYLES and element.get("location") != "middle":
        frame.sign = _STYLES[style]
    frame.has_sign = frame.has_sign or (not is_left and bool(style))
    ending = element.find("ending")
    if ending is not None and ending.get("type") == "start":
        frame.ending = _passes(ending) or frame.ending
    elif ending is not None:
        frame.ends_ending = True
    for tag in ("segno", "coda"):
        if element.find(tag) is not None:
            places = frame.at_start if is_left else frame.at_end
            if tag not in places:
                places.append(tag)
    if element.find("fermata") is not None and not is_left and "fermata" not in frame.at_end:
        frame.at_end.append("fermata")


def _passes(ending: Element) -> tuple[int, ...]:
    number = ending.get("number", "")
    if re.search(r"\d", number):
        return passes_of_ending(number)
    return passes_of_ending(ending.text or "")


def _print(measure: Measure, frame: Frame) -> None:
    for _, element in measure.at("print"):
        frame.breaks_page = frame.breaks_page or element.get("new-page") == "yes"
        frame.breaks_line = (
            frame.breaks_line or frame.breaks_page or element.get("new-system") == "yes"
        )


def key_of(attributes: Element, fifths_added: int) -> str | None:
    """The text of K: with ``fifths_added`` to it; None where no key stands."""
    key = attributes.find("key")
    if key is None:
        return None
    if key.find("fifths") is None:
        signs = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}
        pairs = zip(key.iterfind("key-step"), key.iterfind("key-alter"), strict=False)
        written = [
            f"{signs.get(round(number_of(alter.text)), '=')}{words_of(step, '.').lower()}"
            for step, alter in pairs
            if words_of(step, ".") in tuple("ABCDEFG")
        ]
        return " ".join(["C exp", *written]) if written else "none"
    fifths = int(number_of(key.findtext("fifths"))) + fifths_added
    fifths -= 12 * ((fifths + 5) // 12) if abs(fifths) > 7 else 0
    shift, mode = _MODES.get(words_of(key, "mode").lower(), (0, ""))
    if words_of(key, "mode") == "none" and not fifths:
        return "none"
    step, alter = name_at(fifths - shift)
    return STEP_LETTERS[step] + ALTER_SIGNS.get(alter, "") + mode


def clef_of(attributes: Element, staff: int) -> str | None:
    """The clef= of K: or V: that begins for a staff; None where none does. A clef with an 8 is
    written with octave=, since pitches are written as they sound."""
    for clef in attributes.iterfind("clef"):
        if int(number_of(clef.get("number"), Fraction(1))) != staff:
            continue
        line = int(number_of(clef.findtext("line")))
        name = _CLEFS.get((words_of(clef, "sign"), line), "treble")
        octaves = int(number_of(clef.findtext("clef-octave-change")))
        if octaves in (-1, 1):
            return f"clef={name}{octaves * 8:+d} octave={-octaves:+d}"
        return f"clef={name} octave=0" if name != "treble" else "clef=treble octave=0"
    return None


def shift_of(attributes: Element) -> tuple[int, int] | None:
    """How far what sounds is from what is written: (steps, semitones); None where none is said."""
    transpose = attributes.find("transpose")
    if transpose is None:
        return None
    octaves = int(number_of(transpose.findtext("octave-change")))
    semitones = int(number_of(transpose.findtext("chromatic")))
    usual = round(semitones * 7 / 12)
    steps = int(number_of(transpose.findtext("diatonic"), Fraction(usual)))
    return steps + 7 * octaves, semitones + 12 * octaves


def _join_halves(frames: Sequence[Frame]) -> None:
    """A bar that goes on in a measure which is not counted ("14a" after "14") has no bar sign in
    its middle, unless the score shows one."""
    for frame, after in _with_next(frames):
        if after is None or frame.has_sign or frame.repeats or after.begins_repeat or after.ending:
            continue
        is_uncounted = after.is_implicit or (
            not after.number.isdecimal() and after.number.startswith(frame.number)
        )
        if is_uncounted and 0 < frame.length < frame.length + after.length == frame.meter_length:
            frame.sign = "[|]"


def _settle_endings(frames: Sequence[Frame]) -> None:
    """An ending ends where the next one begins, and one that ends at a plain bar line ends at a
    double one, which is how an ending is seen to end."""
    is_open = False
    for frame, after in _with_next(frames):
        is_open = is_open or bool(frame.ending)
        if not is_open:
            frame.ends_ending = False
            continue
        if frame.ends_ending or frame.repeats:
            is_open = False
            if frame.sign == "|" and not frame.repeats and after is not None and not after.ending:
                frame.sign = "||"


def _with_next(frames: Sequence[Frame]) -> Iterator[tuple[Frame, Frame | None]]:
    for index, frame in enumerate(frames):
        yield frame, frames[index + 1] if index + 1 < len(frames) else None


def _write_starts(frames: Sequence[Frame]) -> None:
    """Put in the beginning of a repeat where a double bar or a label would be taken for it."""
    start = 0
    is_marked = is_cut = False
    for frame, after in _with_next(frames):
        if frame.begins_repeat:
            start, is_marked, is_cut = frame.index, True, False
        elif frame.index > start and _has_label(frame):
            is_cut = True
        if frame.repeats:
            if not is_marked and is_cut:
                frames[start - frames[0].index].begins_repeat = True
                is_marked = True
            if after is None or not after.ending:
                start, is_marked, is_cut = frame.index + 1, False, False
        elif frame.sign in _DOUBLE:
            if frame.ends_ending:
                start, is_marked, is_cut = frame.index + 1, False, False
            else:
                is_cut = True


def _has_label(frame: Frame) -> bool:
    return any(one.label for found in frame.directions.values() for _, one in found)
