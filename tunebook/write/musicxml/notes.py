"""Notes, chords, grace notes and rests as MusicXML <note> elements, with their fingers and strings,
and what joins them: numbers of slurs, ends of tuplets, beams.

What joins notes is found before they are written, since it needs notes on both sides; it is found
by place, (index of the bar in the tune, index of the note in the bar).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import FingeredNote, Stop
from tunebook.model.names import trill_words
from tunebook.model.tune import Bar, Note, Pitch, Syllable
from tunebook.write.musicxml.lengths import (
    Head,
    in_divisions,
    pieces_of,
    ratio_elements,
    type_elements,
)
from tunebook.write.musicxml.marks import mark_notations, technical_marks
from tunebook.write.note_values import flag_count
from tunebook.write.safe_text import plain_text

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

Place = tuple[int, int]
MOST_SLURS = 16  # MusicXML numbers slurs that overlap from 1 to 16


@dataclass(slots=True)
class SlurEnds:
    """Numbers of the slurs that begin and that end at a note."""

    starts: list[int] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)


def slur_ends(bars: Sequence[Bar]) -> dict[Place, SlurEnds]:
    """Return the slurs by note. The innermost open slur ends first; one that never ends, or that
    would end on the note it began on, is left out."""
    ends: dict[Place, SlurEnds] = {}
    open_slurs: list[tuple[int, Place]] = []
    for place, note in _places(bars):
        for _ in range(note.slurs_opened):
            free = set(range(1, MOST_SLURS + 1)) - {number for number, _ in open_slurs}
            if free:
                open_slurs.append((min(free), place))
        for _ in range(min(note.slurs_closed, len(open_slurs))):
            number, start = open_slurs.pop()
            if start != place:
                ends.setdefault(start, SlurEnds()).starts.append(number)
                ends.setdefault(place, SlurEnds()).stops.append(number)
    return ends


def tuplet_ends(bars: Sequence[Bar]) -> tuple[frozenset[Place], frozenset[Place]]:
    """Return the places where tuplets begin, and where they end (a short one at its last note)."""
    first: dict[int, Place] = {}
    last: dict[int, Place] = {}
    for place, note in _places(bars):
        if note.tuplet is not None and not note.is_grace:
            first.setdefault(note.tuplet.serial, place)
            last[note.tuplet.serial] = place
    return frozenset(first.values()), frozenset(last.values())


def beams(bars: Sequence[Bar]) -> dict[Place, tuple[str, ...]]:
    """Return, for each beamed note, the value of its beams from the first level on."""
    found: dict[Place, tuple[str, ...]] = {}
    for bar in bars:
        for is_grace in (False, True):
            for group in _beam_groups(bar, is_grace):
                flags = [flag_count(bar.notes[index].written) for index in group]
                for number, index in enumerate(group):
                    found[bar.index, index] = _beam_values(flags, number)
    return found


def _beam_groups(bar: Bar, is_grace: bool) -> list[list[int]]:
    """Runs of two or more notes with flags that the source joins."""
    groups: list[list[int]] = [[]]
    for index, note in enumerate(bar.notes):
        if note.is_grace != is_grace:
            if is_grace:
                groups.append([])  # grace notes on both sides of a note are not joined
            continue
        if not _takes_beam(note):
            groups.append([])
            continue
        groups[-1].append(index)
        if not note.is_joined:
            groups.append([])
    return [group for group in groups if len(group) > 1]


def _takes_beam(note: Note) -> bool:
    if note.is_rest or flag_count(note.written) == 0:
        return False
    pieces = pieces_of(note.written, note.tuplet)
    return len(pieces) == 1 and pieces[0].type_name is not None


def _beam_values(flags: Sequence[int], number: int) -> tuple[str, ...]:
    values = []
    for level in range(1, min(flags[number], 8) + 1):
        before = number > 0 and flags[number - 1] >= level
        after = number + 1 < len(flags) and flags[number + 1] >= level
        if before and after:
            values.append("continue")
        elif before or after:
            values.append("end" if before else "begin")
        else:
            values.append("backward hook" if number > 0 else "forward hook")
    return tuple(values)


def _places(bars: Sequence[Bar]) -> list[tuple[Place, Note]]:
    return [((bar.index, index), note) for bar in bars for index, note in enumerate(bar.notes)]


_ACCIDENTALS = {
    -2.0: "flat-flat", -1.5: "three-quarters-flat", -1.0: "flat", -0.5: "quarter-flat",
    0.0: "natural", 0.5: "quarter-sharp", 1.0: "sharp", 1.5: "three-quarters-sharp",
    2.0: "double-sharp",
}  # fmt: skip


def pitch_element(pitch: Pitch) -> Element:
    """Return <pitch>."""
    element = ElementTree.Element("pitch")
    ElementTree.SubElement(element, "step").text = "CDEFGAB"[pitch.step]
    if pitch.alteration:
        ElementTree.SubElement(element, "alter").text = f"{pitch.alteration:g}"
    ElementTree.SubElement(element, "octave").text = str(max(0, min(9, pitch.octave)))
    return element


def stop_elements(stop: Stop, string_count: int, after: Stop | None = None) -> list[Element]:
    """Return <fingering> and <string>; 0 is the open string. ``after`` is the stop to which the
    hand changes silently while the note lasts."""
    finger = ElementTree.Element("fingering")
    finger.text = str(stop.finger)
    elements = [finger]
    if after is not None and after.finger != stop.finger:
        exchanged = ElementTree.Element("fingering", substitution="yes")
        exchanged.text = str(after.finger)
        elements.append(exchanged)
    string = ElementTree.Element("string")
    string.text = str(string_count + 1 - stop.string_index)
    return [*elements, string]


def tie_elements(starts: bool, stops: bool, name: str) -> list[Element]:
    """Return <tie> or <tied> elements: the stop first, as the tie before ends here."""
    kinds = [kind for kind, is_there in (("stop", stops), ("start", starts)) if is_there]
    return [ElementTree.Element(name, type=kind) for kind in kinds]


class NoteWriter:
    """Writes the notes of one part. ``fingered`` gives the stops by place."""

    def __init__(
        self,
        bars: Sequence[Bar],
        divisions: int,
        string_count: int,
        fingered: Mapping[Place, FingeredNote],
    ) -> None:
        self._divisions = divisions
        self._string_count = string_count
        self._fingered = fingered
        self._slurs = slur_ends(bars)
        self._tuplet_starts, self._tuplet_stops = tuplet_ends(bars)
        self._beams = beams(bars)
        self._is_in_word: dict[int, bool] = {}

    def elements(self, bar: Bar, index: int) -> list[Element]:
        """Return the <note>s of one note of ``bar``: one a tone, times one a tied piece."""
        note = bar.notes[index]
        pieces = pieces_of(note.written, note.tuplet)
        if note.is_grace:
            pieces = pieces[:1]
        if note.is_rest:
            return self._rests(bar, index, pieces)
        written = []
        for number in range(len(pieces)):
            for tone in range(len(note.pitches)):
                written.append(self._tone(bar, index, tone, pieces, number))
        return written

    def _rests(self, bar: Bar, index: int, pieces: Sequence[Head]) -> list[Element]:
        note = bar.notes[index]
        is_whole_bar = not bar.meter.is_free and note.duration == bar.meter.length == bar.duration
        if is_whole_bar:
            pieces = (Head(note.duration, None),)
        written = []
        for number, piece in enumerate(pieces):
            attributes = {"print-object": "no"} if note.is_invisible else {}
            element = ElementTree.Element("note", attributes)
            ElementTree.SubElement(element, "rest", {"measure": "yes"} if is_whole_bar else {})
            _add_duration(element, piece, self._divisions)
            element.extend([*_voice(), *type_elements(piece), *ratio_elements(piece)])
            notations: list[Element] = []
            if number == 0:
                notations += mark_notations(note.decorations)
            notations += self._tuplet_marks((bar.index, index), number, len(pieces))
            _add_notations(element, notations)
            written.append(element)
        return written

    def _tone(
        self, bar: Bar, index: int, tone: int, pieces: Sequence[Head], number: int
    ) -> Element:
        note, place, piece = bar.notes[index], (bar.index, index), pieces[number]
        starts = number + 1 < len(pieces) or _flag(note.ties, tone)
        stops = number > 0 or _flag(note.is_tied_from_before, tone)
        element = ElementTree.Element("note")
        if note.is_grace:
            slash = {"slash": "yes"} if note.is_slashed_grace else {}
            ElementTree.SubElement(element, "grace", slash)
        if tone:
            ElementTree.SubElement(element, "chord")
        element.append(pitch_element(note.pitches[tone]))
        if not note.is_grace:
            _add_duration(element, piece, self._divisions)
        element.extend(tie_elements(starts, stops, "tie"))
        element.extend([*_voice(), *type_elements(piece)])
        if number == 0:
            element.extend(_accidental(note, tone))
        element.extend(ratio_elements(piece))
        if tone == 0:
            element.extend(self._beam_elements(place))
        notations = tie_elements(starts, stops, "tied")
        if tone == 0:
            notations += self._joining_marks(place, number, len(pieces))
        if number == 0:
            notations += self._marks_of_tone(note, place, tone)
        _add_notations(element, notations)
        if tone == 0 and number == 0:
            element.extend(self._lyrics(note))
        return element

    def _joining_marks(self, place: Place, number: int, count: int) -> list[Element]:
        """Slurs and tuplet brackets: begun at the first piece of a note, ended at the last."""
        slurs = self._slurs.get(place, SlurEnds())
        marks: list[Element] = []
        if number == count - 1:
            marks += [_slur("stop", slur) for slur in slurs.stops]
        if number == 0:
            marks += [_slur("start", slur) for slur in slurs.starts]
        return marks + self._tuplet_marks(place, number, count)

    def _tuplet_marks(self, place: Place, number: int, count: int) -> list[Element]:
        marks = []
        if number == 0 and place in self._tuplet_starts:
            marks.append(ElementTree.Element("tuplet", type="start"))
        if number == count - 1 and place in self._tuplet_stops:
            marks.append(ElementTree.Element("tuplet", type="stop"))
        return marks

    def _marks_of_tone(self, note: Note, place: Place, tone: int) -> list[Element]:
        technical = ElementTree.Element("technical")
        if tone == 0:
            technical.extend(technical_marks(note.decorations))
        fingered = self._fingered.get(place)
        if fingered and tone < len(fingered.stops) and not _flag(note.is_tied_from_before, tone):
            after = fingered.stops_after[tone] if tone < len(fingered.stops_after) else None
            technical.extend(stop_elements(fingered.stops[tone], self._string_count, after))
            if tone == 0 and fingered.trill_finger:
                trill = ElementTree.SubElement(technical, "other-technical")
                trill.text = trill_words(fingered.trill_finger)
        marks = mark_notations(note.decorations) if tone == 0 else []
        return marks + ([technical] if len(technical) else [])

    def _beam_elements(self, place: Place) -> list[Element]:
        elements = []
        for level, value in enumerate(self._beams.get(place, ()), start=1):
            beam = ElementTree.Element("beam", number=str(level))
            beam.text = value
            elements.append(beam)
        return elements

    def _lyrics(self, note: Note) -> list[Element]:
        lyrics = []
        for verse, syllable in enumerate(note.syllables, start=1):
            if syllable is not None:
                lyrics.append(self._lyric(verse, syllable))
        return lyrics

    def _lyric(self, verse: int, syllable: Syllable) -> Element:
        lyric = ElementTree.Element("lyric", number=str(verse))
        text = plain_text(syllable.text).strip()
        was_in_word = self._is_in_word.get(verse, False)
        self._is_in_word[verse] = syllable.is_joined
        if text:
            kind = {(False, False): "single", (False, True): "begin", (True, True): "middle"}
            kind_of = kind.get((was_in_word, syllable.is_joined), "end")
            ElementTree.SubElement(lyric, "syllabic").text = kind_of
            ElementTree.SubElement(lyric, "text").text = text
        if syllable.is_extended or not text:
            ElementTree.SubElement(lyric, "extend")
        return lyric


def _flag(flags: Sequence[bool], index: int) -> bool:
    return index < len(flags) and flags[index]


def _voice() -> list[Element]:
    voice = ElementTree.Element("voice")
    voice.text = "1"
    return [voice]


def _add_duration(element: Element, piece: Head, divisions: int) -> None:
    ElementTree.SubElement(element, "duration").text = in_divisions(piece.duration, divisions)


def _add_notations(element: Element, notations: Sequence[Element]) -> None:
    if notations:
        ElementTree.SubElement(element, "notations").extend(notations)


def _slur(kind: str, number: int) -> Element:
    return ElementTree.Element("slur", type=kind, number=str(number))


def _accidental(note: Note, tone: int) -> list[Element]:
    shown = note.shown_accidentals[tone] if tone < len(note.shown_accidentals) else None
    sign = _ACCIDENTALS.get(note.pitches[tone].alteration)
    if shown is None or sign is None:
        return []
    attributes = {"cautionary": "yes"} if shown == "courtesy" else {}
    accidental = ElementTree.Element("accidental", attributes)
    accidental.text = sign
    return [accidental]
