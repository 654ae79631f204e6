"""The held drone as notes of a part of its own, tied over bar lines and changes of finger."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import Arrangement, DroneSpan
from tunebook.model.tune import Bar
from tunebook.write.musicxml_notes import pitch_element, stop_elements, tie_elements
from tunebook.write.musicxml_spans import (
    Piece,
    in_divisions,
    pieces_of,
    ratio_elements,
    type_elements,
)
from tunebook.write.spelling import spelled_pitch

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


def drone_notes(arrangement: Arrangement, bar: Bar, divisions: int) -> list[Element]:
    """Return the drone's <note>s in ``bar``, with rests where nothing is held."""
    elements: list[Element] = []
    now = bar.onset
    end = bar.onset + bar.duration
    spans = arrangement.drone
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


def _add_length(note: Element, piece: Piece, divisions: int, ties: list[Element]) -> None:
    ElementTree.SubElement(note, "duration").text = in_divisions(piece.duration, divisions)
    note.extend(ties)
    ElementTree.SubElement(note, "voice").text = "1"
    note.extend([*type_elements(piece), *ratio_elements(piece)])
