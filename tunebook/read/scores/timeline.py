"""The elements of a score in the order of time: what is written when, part by part.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), elements measure, note, backup,
forward, attributes, barline. Times are Fractions of a whole note.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from tunebook.read.scores.archive import ScoreError

_DECIMAL = re.compile(r"[+-]?\d{1,9}(?:\.\d{0,9})?", re.ASCII)

Remark = tuple[str, str]
"""What is wrong, and what to do about it."""


@dataclass(slots=True)
class Written:
    """A note, a chord or a rest as it is written: its <note> elements, the (staff, voice) in which
    it stands, and when in its measure. ``duration`` is what <duration> says."""

    elements: list[Element]
    voice: tuple[int, str]
    onset: Fraction
    duration: Fraction

    @property
    def is_grace(self) -> bool:
        return self.elements[0].find("grace") is not None

    @property
    def is_rest(self) -> bool:
        return self.elements[0].find("rest") is not None


@dataclass(slots=True)
class Measure:
    """A <measure>. ``others`` are its directions, harmonies, sounds and changes of attributes, each
    with its time; ``length`` is where the last of its notes ends."""

    element: Element
    index: int
    notes: list[Written] = field(default_factory=list)
    others: list[tuple[Fraction, Element]] = field(default_factory=list)
    barlines: list[Element] = field(default_factory=list)
    length: Fraction = Fraction(0)

    @property
    def number(self) -> str:
        return (self.element.get("number") or "").strip()[:12]

    @property
    def is_implicit(self) -> bool:
        return self.element.get("implicit") == "yes"

    def at(self, tag: str) -> Iterator[tuple[Fraction, Element]]:
        """All of one kind with their times."""
        return ((onset, element) for onset, element in self.others if element.tag == tag)


@dataclass(slots=True)
class Part:
    """A part: its name, its measures, and for each measure the <measure> that music21 is to read:
    the same without all that is looked up here."""

    identity: str
    name: str
    short_name: str
    measures: list[Measure] = field(default_factory=list)
    bare: list[Element] = field(default_factory=list)
    voices: dict[tuple[int, str], int] = field(default_factory=dict)
    remarks: dict[Remark, Measure] = field(default_factory=dict)


def parts_of(root: Element) -> list[Part]:
    """The parts of a <score-partwise>."""
    names = {one.get("id", ""): one for one in root.iterfind("part-list/score-part")}
    parts = []
    for number, element in enumerate(root.iterfind("part"), start=1):
        identity = element.get("id") or f"P{number}"
        named = names.get(identity)
        name = words_of(named, "part-name") or words_of(named, "part-abbreviation")
        part = Part(identity, name, words_of(named, "part-abbreviation"))
        _Walk(part).read(element)
        parts.append(part)
    return parts


def words_of(element: Element | None, path: str) -> str:
    """The text of a child, as one line; "" where there is none."""
    return " ".join((element.findtext(path) or "").split()) if element is not None else ""


@functools.lru_cache(maxsize=5000)
def number_of(text: str | None, usual: Fraction = Fraction(0)) -> Fraction:
    """A decimal number as an exact fraction; ``usual`` where there is none."""
    found = _DECIMAL.fullmatch((text or "").strip())
    return Fraction(found[0]) if found else usual


def meter_of(attributes: Element) -> tuple[str, Fraction] | None:
    """The text of M: and the length of a bar; None where no metre stands. A free one has 0."""
    time = attributes.find("time")
    if time is None:
        return None
    pairs = []
    for beats, unit in zip(time.iterfind("beats"), time.iterfind("beat-type"), strict=False):
        tops = [int(one) for one in re.findall(r"\d{1,3}", beats.text or "")]
        bottom = re.search(r"\d{1,3}", unit.text or "")
        if sum(tops) and bottom and int(bottom[0]):
            pairs.append((tops, int(bottom[0])))
    if time.find("senza-misura") is not None or not pairs:
        return "none", Fraction(0)
    length = sum((Fraction(sum(tops), unit) for tops, unit in pairs), Fraction(0))
    sign = {("common", Fraction(1)): "C", ("cut", Fraction(1)): "C|"}
    text = sign.get((time.get("symbol", ""), length))
    return text or "+".join(f"{'+'.join(map(str, tops))}/{unit}" for tops, unit in pairs), length


def is_number(text: str) -> bool:
    """Whether a text is a plain decimal number."""
    return _DECIMAL.fullmatch(text.strip()) is not None


_LEFT_OUT = {
    "cue": ("cue notes are left out", "they are another part's"),
    "unpitched": ("notes without a pitch are left out", "no fingers can be found for them"),
}
_KEPT_OF_NOTE = frozenset(("grace", "chord", "pitch", "rest", "duration"))


class _Walk:
    """Walks through the measures of one part."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.divisions = Fraction(1)
        self.now = Fraction(0)
        self.measure = Measure(Element("measure"), 0)
        self.bare = Element("measure")
        self.last: Written | None = None
        self.bar_length = Fraction(0)

    def read(self, element: Element) -> None:
        for index, one in enumerate(element.iterfind("measure")):
            self.measure = Measure(one, index)
            self.bare = Element("measure", {"number": str(index + 1)})
            self.now = Fraction(0)
            self.last = None
            for child in one:
                self._child(child)
            self.part.measures.append(self.measure)
            self.part.bare.append(self.bare)

    def _child(self, child: Element) -> None:
        tag = child.tag
        if tag == "note":
            self._note(child)
        elif tag in ("backup", "forward"):
            length = self._time(child.findtext("duration"))
            self.now = max(Fraction(0), self.now + (length if tag == "forward" else -length))
            self._bare_move(tag, child.findtext("duration"))
        elif tag == "attributes":
            self.divisions = max(
                number_of(child.findtext("divisions"), self.divisions), Fraction(1, 1000)
            )
            self.measure.others.append((self.now, child))
            meter = meter_of(child)
            self.bar_length = meter[1] if meter is not None else self.bar_length
            self._bare_attributes(child)
        elif tag == "barline":
            self.measure.barlines.append(child)
        elif tag in ("direction", "harmony", "sound", "print"):
            offset = self._time(child.findtext("offset"), may_be_negative=True)
            self.measure.others.append((max(Fraction(0), self.now + offset), child))

    def _time(self, text: str | None, *, may_be_negative: bool = False) -> Fraction:
        if text is None:
            return Fraction(0)
        if not is_number(text) or (not may_be_negative and text.strip().startswith("-")):
            where = f"bar {self.measure.number}"
            raise ScoreError(f"the length {text.strip()[:20]!r} in {where} is none")
        return number_of(text) / self.divisions / 4

    def _note(self, child: Element) -> None:
        is_grace = child.find("grace") is not None
        duration = (
            Fraction(0) if is_grace else max(self._time(child.findtext("duration")), Fraction(0))
        )
        left_out = next((tag for tag in _LEFT_OUT if child.find(tag) is not None), None)
        if left_out is not None:
            self.part.remarks.setdefault(_LEFT_OUT[left_out], self.measure)
            if child.find("chord") is None and not is_grace:
                self.now += duration
                self._bare_move("forward", child.findtext("duration"))
            return
        if child.find("chord") is not None and self.last is not None:
            self.last.elements.append(child)
        else:
            key = (int(number_of(child.findtext("staff"), Fraction(1))), words_of(child, "voice"))
            self.part.voices.setdefault(key, len(self.part.voices) + 1)
            duration = self._whole_rest(child, duration)
            self.last = Written([child], key, self.now, duration)
            self.measure.notes.append(self.last)
            self.now += duration
            self.measure.length = max(self.measure.length, self.now)
        self._bare_note(child, self.last)

    def _whole_rest(self, child: Element, duration: Fraction) -> Fraction:
        """A rest for a whole bar lasts as long as the bar, whatever a program writes of it."""
        rest = child.find("rest")
        full = self.bar_length
        if rest is None or self.now or not 0 < full < duration:
            return duration
        is_whole = rest.get("measure") == "yes" or words_of(child, "type") in ("whole", "breve")
        return full if is_whole else duration

    # What music21 is to read

    def _bare_note(self, child: Element, written: Written) -> None:
        note = Element("note")
        note.extend([one for one in child if one.tag in _KEPT_OF_NOTE])
        voice = Element("voice")
        voice.text = str(self.part.voices[written.voice])
        note.append(voice)
        self.bare.append(note)

    def _bare_move(self, tag: str, duration: str | None) -> None:
        if duration:
            move = Element(tag)
            length = Element("duration")
            length.text = duration
            move.append(length)
            self.bare.append(move)

    def _bare_attributes(self, child: Element) -> None:
        kept = [one for one in child if one.tag == "divisions"]
        if kept:
            attributes = Element("attributes")
            attributes.extend(kept)
            self.bare.append(attributes)
