"""A tune as a MusicXML 4.0 score (score-partwise; W3C Music Notation Community Group, 2021).

The melody is part P1, with finger and string of each note as technical marks and the chords as
harmony elements; drones and double stops, if there are any, are part P2, tied over bar lines and
changes of finger. Each voice beside the melody is a part with its own fingers and strings, and its
drone, if it has one, another after it. Strings are numbered as MusicXML has it: 1 is the highest.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import Arrangement, DroneSpan
from tunebook.model.tune import Bar, Tune, Voice
from tunebook.model.voices import voice_as_tune, voice_label
from tunebook.write.musicxml.bars import BarFrame, bar_frames, jump_directions, words_direction
from tunebook.write.musicxml.lengths import (
    Head,
    divisions_of,
    in_divisions,
    pieces_of,
    ratio_elements,
    type_elements,
)
from tunebook.write.musicxml.marks import decoration_directions, directions_of, harmonies_at
from tunebook.write.musicxml.notes import NoteWriter, pitch_element, stop_elements, tie_elements
from tunebook.write.safe_text import plain_text
from tunebook.write.tones import spelled_pitch

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


def drone_notes(arrangement: Arrangement, bar: Bar, divisions: int) -> list[Element]:
    """Return the drone's <note>s in ``bar``, with rests where nothing is held."""
    elements: list[Element] = []
    now = bar.onset
    end = bar.onset + bar.duration
    spans = arrangement.beside
    for place, span in enumerate(spans):
        start, stop = max(now, span.onset), min(end, span.onset + span.duration)
        if start >= stop:
            continue
        elements += _rests(start - now, divisions)
        following = spans[place + 1] if place + 1 < len(spans) else None
        goes_on = span.onset + span.duration > end or _is_taken_over_by(span, following)
        comes_from = span.onset < start or span.is_taken_over
        elements += _held(arrangement, bar, span, (start, stop), (goes_on, comes_from), divisions)
        now = stop
    return elements + _rests(end - now, divisions)


def _is_taken_over_by(span: DroneSpan, following: DroneSpan | None) -> bool:
    return (
        following is not None
        and following.is_taken_over
        and following.onset == span.onset + span.duration
    )


def _rests(length: Fraction, divisions: int) -> list[Element]:
    elements = []
    for piece in pieces_of(length) if length > 0 else ():
        note = ElementTree.Element("note")
        ElementTree.SubElement(note, "rest")
        _add_length(note, piece, divisions, [])
        elements.append(note)
    return elements


def _held(
    arrangement: Arrangement,
    bar: Bar,
    span: DroneSpan,
    times: tuple[Fraction, Fraction],
    ties: tuple[bool, bool],
    divisions: int,
) -> list[Element]:
    """One span's notes in one bar; finger and string stand where the span begins."""
    elements = []
    start, stop = times
    goes_on, comes_from = ties
    pieces = pieces_of(stop - start)
    for number, piece in enumerate(pieces):
        starts = goes_on or number + 1 < len(pieces)
        stops = comes_from or number > 0
        note = ElementTree.Element("note")
        note.append(pitch_element(spelled_pitch(span.stop.midi, bar.key)))
        _add_length(note, piece, divisions, tie_elements(starts, stops, "tie"))
        notations = tie_elements(starts, stops, "tied")
        if number == 0 and start == span.onset:
            technical = ElementTree.Element("technical")
            string_count = len(arrangement.instrument.strings)
            technical.extend(stop_elements(span.stop, string_count))
            notations.append(technical)
        if notations:
            ElementTree.SubElement(note, "notations").extend(notations)
        elements.append(note)
    return elements


def _add_length(note: Element, piece: Head, divisions: int, ties: list[Element]) -> None:
    ElementTree.SubElement(note, "duration").text = in_divisions(piece.duration, divisions)
    note.extend(ties)
    ElementTree.SubElement(note, "voice").text = "1"
    note.extend([*type_elements(piece), *ratio_elements(piece)])


VERSION = "4.0"
_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_KEPT_FIELDS = {"O": "origin", "R": "rhythm", "S": "source", "B": "book", "Z": "transcription"}


def tune_as_musicxml(arrangement: Arrangement) -> str:
    """Return the whole text of a MusicXML file; it says UTF-8 and must be written so."""
    tune = arrangement.tune
    score = ElementTree.Element("score-partwise", version=VERSION)
    _add_titles(score, tune)
    divisions = divisions_of(arrangement)
    parts = [("Melody", arrangement, _melody_part(arrangement, divisions))]
    if arrangement.beside:
        parts.append(("Drone", arrangement, _drone_part(arrangement, divisions)))
    for number, voice in enumerate(tune.voices):
        one = _arrangement_of(voice, arrangement)
        label = voice_label(voice, number)
        name = plain_text(label[:1].upper() + label[1:])
        parts.append((name, one, _voice_part(one, divisions)))
        if one.drone:
            parts.append((f"{name}, drone", one, _drone_part(one, divisions)))
    listing = ElementTree.SubElement(score, "part-list")
    for number, (name, one, part) in enumerate(parts, start=1):
        _add_part_name(listing, f"P{number}", name, one)
        part.set("id", f"P{number}")
        score.append(part)
    ElementTree.indent(score, " ")
    return _HEAD + ElementTree.tostring(score, encoding="unicode") + "\n"


def _add_titles(score: Element, tune: Tune) -> None:
    if tune.title:
        work = ElementTree.SubElement(score, "work")
        ElementTree.SubElement(work, "work-title").text = plain_text(tune.title)
    if len(tune.titles) > 1:
        other = ElementTree.SubElement(score, "movement-title")
        other.text = plain_text("; ".join(tune.titles[1:]))
    identification = ElementTree.SubElement(score, "identification")
    if tune.composer:
        creator = ElementTree.SubElement(identification, "creator", type="composer")
        creator.text = plain_text(tune.composer)
    encoding = ElementTree.SubElement(identification, "encoding")
    for element in ("accidental", "beam"):
        ElementTree.SubElement(encoding, "supports", element=element, type="yes")
    kept = [(name, text) for letter, name in _KEPT_FIELDS.items() for text in tune.field(letter)]
    if kept:
        miscellaneous = ElementTree.SubElement(identification, "miscellaneous")
        for name, text in kept:
            field = ElementTree.SubElement(miscellaneous, "miscellaneous-field", name=name)
            field.text = plain_text(text)


def _add_part_name(listing: Element, identity: str, name: str, arrangement: Arrangement) -> None:
    part = ElementTree.SubElement(listing, "score-part", id=identity)
    ElementTree.SubElement(part, "part-name").text = name
    instrument = ElementTree.SubElement(part, "score-instrument", id=f"{identity}-I1")
    title = plain_text(arrangement.instrument.title)
    ElementTree.SubElement(instrument, "instrument-name").text = title


def _arrangement_of(voice: Voice, arrangement: Arrangement) -> Arrangement:
    """The voice as it was solved, or, where it was not, without fingers."""
    for one in arrangement.voices:
        if (one.voice.id, one.voice.place) == (voice.id, voice.place):
            return one.arrangement
    tune = voice_as_tune(arrangement.tune, voice)
    return replace(arrangement, tune=tune, notes=(), drone=(), chords=(), voices=())


def _melody_part(arrangement: Arrangement, divisions: int) -> Element:
    tune = arrangement.tune
    fingered = {(note.bar_index, note.note_index): note for note in arrangement.notes}
    writer = NoteWriter(tune.bars, divisions, len(arrangement.instrument.strings), fingered)
    chords = sorted(arrangement.chords, key=lambda span: span.onset)
    part = ElementTree.Element("part")
    for frame in bar_frames(arrangement, tune.bars, divisions, has_directions=True):
        music: list[Element] = []
        for index, note in enumerate(frame.bar.notes):
            if not note.is_grace:
                music += harmonies_at(note, chords, divisions)
            music += decoration_directions(note)
            music += writer.elements(frame.bar, index)
        music += _bar_end_directions(frame.bar)
        part.append(_measure(frame, music))
    return part


def _bar_end_directions(bar: Bar) -> list[Element]:
    """What stands at the end of a bar: jumps wherever they hang in it, signs and words at the bar
    sign."""
    names = [name for note in bar.notes for name in note.decorations] + list(bar.decorations)
    words = [words_direction(annotation) for annotation in bar.annotations]
    return [*directions_of(bar.decorations), *jump_directions(names), *words]


def _voice_part(arrangement: Arrangement, divisions: int) -> Element:
    bars = arrangement.tune.bars
    fingered = {(note.bar_index, note.note_index): note for note in arrangement.notes}
    writer = NoteWriter(bars, divisions, len(arrangement.instrument.strings), fingered)
    part = ElementTree.Element("part")
    for frame in bar_frames(arrangement, bars, divisions):
        elements: list[Element] = []
        for index, note in enumerate(frame.bar.notes):
            elements += decoration_directions(note)
            elements += writer.elements(frame.bar, index)
        part.append(_measure(frame, elements))
    return part


def _drone_part(arrangement: Arrangement, divisions: int) -> Element:
    part = ElementTree.Element("part")
    bars = [replace(bar, clef="") for bar in arrangement.tune.bars]
    for frame in bar_frames(arrangement, bars, divisions):
        part.append(_measure(frame, drone_notes(arrangement, frame.bar, divisions)))
    return part


def _measure(frame: BarFrame, music: Iterable[Element]) -> Element:
    measure = ElementTree.Element("measure", frame.attributes)
    measure.extend([*frame.before, *music, *frame.after])
    return measure
