"""What sounds: the notes of a score as music21 reads them.

music21 says which tones sound together, how long and in which tuplets. What is written at a note
(fingers, words, signs) is not asked of it: of a chord's tones it keeps no fingers apart, it knows
no ends of jumps, and much else is lost on the way, so that the elements themselves are looked at
(``timeline`` and what follows it).
"""

from __future__ import annotations

import math
import warnings
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import Element, SubElement

from tunebook.read.scores.archive import ScoreError
from tunebook.read.scores.timeline import Measure, Part, Written, number_of

_TYPES = {
    "1024th": Fraction(1, 1024), "512th": Fraction(1, 512), "256th": Fraction(1, 256),
    "128th": Fraction(1, 128), "64th": Fraction(1, 64), "32nd": Fraction(1, 32),
    "16th": Fraction(1, 16), "eighth": Fraction(1, 8), "quarter": Fraction(1, 4),
    "half": Fraction(1, 2), "whole": Fraction(1), "breve": Fraction(2), "long": Fraction(4),
    "maxima": Fraction(8),
}  # fmt: skip
_STEPS = "CDEFGAB"
_FINEST = 1_000_000


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone as it is written: ``step`` 0 = C, ``alter`` in semitones, ``octave`` 4 from middle C;
    whether a tie begins and ends at it."""

    step: int
    alter: Fraction
    octave: int
    is_tied: bool = False
    is_tied_from: bool = False


@dataclass(slots=True)
class Sound:
    """A note, chord or rest that sounds: its tones in the order of its elements (none for a rest),
    when in its measure and how long (whole notes), and in which tuplet (actual, normal)."""

    written: Written
    tones: tuple[Tone, ...]
    onset: Fraction
    length: Fraction
    ratio: tuple[int, int]


def read_sounds(parts: list[Part]) -> list[list[list[Sound]]]:
    """The sounds of each part, measure by measure, in order of time. Raises ScoreError when music21
    cannot read the score."""
    score = _score_for_music21(parts)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = _read_with_music21(score)
    result = []
    for part in parts:
        stream = found.get(part.identity)
        measures = list(stream.getElementsByClass("Measure")) if stream is not None else []
        if len(measures) != len(part.measures):
            raise ScoreError("its measures cannot be told apart")
        result.append(
            [_sounds_of(own, other) for own, other in zip(part.measures, measures, strict=True)]
        )
    return result


def _score_for_music21(parts: list[Part]) -> Element:
    score = Element("score-partwise", {"version": "4.0"})
    listing = SubElement(score, "part-list")
    for part in parts:
        SubElement(SubElement(listing, "score-part", {"id": part.identity}), "part-name")
        SubElement(score, "part", {"id": part.identity}).extend(part.bare)
    return score


def _read_with_music21(score: Element) -> dict[str, Any]:
    from music21.musicxml import xmlToM21

    reader: Any = xmlToM21
    importer = reader.MusicXMLImporter()
    try:
        importer.xmlRootToScore(score, importer.stream)
    except Exception as error:  # whatever it stumbles over, the file alone is left out
        words = " ".join(str(error).split())[:120]
        raise ScoreError(f"music21 cannot read it ({type(error).__name__}: {words})") from None
    return dict(importer.m21PartObjectsById)


def _sounds_of(measure: Measure, stream: Any) -> list[Sound]:
    waiting: dict[object, deque[Written]] = {}
    for written in measure.notes:
        waiting.setdefault(_key_of_written(written), deque()).append(written)
    sounds = []
    for offset, note in _notes_in(stream):
        queue = waiting.get(_key_of_note(offset, note))
        if queue:
            sounds.append(_sound(queue.popleft(), offset, note))
    if any(waiting.values()):
        raise ScoreError(f"what sounds in bar {measure.number} cannot be told")
    order = {id(one): at for at, one in enumerate(measure.notes)}
    sounds.sort(key=lambda one: (one.onset, order[id(one.written)]))
    return sounds


def _notes_in(stream: Any) -> Iterator[tuple[Fraction, Any]]:
    """Notes, chords and rests of a measure with their onsets in whole notes."""
    for element in stream.elements:
        if "Voice" in element.classSet:
            yield from _notes_in(element)
        elif "GeneralNote" in element.classSet and "ChordSymbol" not in element.classSet:
            yield _whole_notes(element.offset), element


def _whole_notes(quarters: Any) -> Fraction:
    return Fraction(quarters).limit_denominator(_FINEST) / 4


def _key_of_written(written: Written) -> object:
    if written.is_rest:
        return (round(float(written.onset), 4), written.is_grace)
    tones = sorted(
        (one.findtext("pitch/step") or "", (one.findtext("pitch/octave") or "").strip())
        for one in written.elements
    )
    return (round(float(written.onset), 4), written.is_grace, tuple(tones))


def _key_of_note(offset: Fraction, note: Any) -> object:
    if note.isRest:
        return (round(float(offset), 4), note.duration.isGrace)
    tones = sorted((pitch.step, str(pitch.octave)) for pitch in note.pitches)
    return (round(float(offset), 4), note.duration.isGrace, tuple(tones))


def _sound(written: Written, offset: Fraction, note: Any) -> Sound:
    ratio = _ratio(note)
    length = _whole_notes(note.duration.quarterLength)
    if written.is_grace:
        length = _notated(written.elements[0])[0] or Fraction(1, 8)
    else:
        length = _mended(length, written)
    return Sound(written, _tones(written, note), offset, length, ratio)


def _ratio(note: Any) -> tuple[int, int]:
    actual = math.prod(one.numberNotesActual for one in note.duration.tuplets)
    normal = math.prod(one.numberNotesNormal for one in note.duration.tuplets)
    common = math.gcd(actual, normal)
    return (actual // common, normal // common) if actual > 0 and normal > 0 else (1, 1)


def _tones(written: Written, note: Any) -> tuple[Tone, ...]:
    """The tones in the order of the elements; music21 keeps that order in a chord's notes."""
    if note.isRest:
        return ()
    notes = list(note.notes) if note.isChord else [note]
    if any(not 0 <= (one.pitch.octave or 0) <= 9 for one in notes):
        raise ScoreError("a note lies higher or lower than any instrument plays")
    return tuple(
        Tone(
            _STEPS.index(one.pitch.step),
            Fraction(one.pitch.alter).limit_denominator(4),
            one.pitch.octave if one.pitch.octave is not None else 4,
            one.tie is not None and one.tie.type in ("start", "continue"),
            one.tie is not None and one.tie.type in ("stop", "continue"),
        )
        for one in notes
    )


def _notated(element: Element) -> tuple[Fraction, Fraction]:
    """The length that type, dots and tuplet show, and how much a rounded duration may be off by;
    zeros where no type stands."""
    base = _TYPES.get((element.findtext("type") or "").strip())
    if base is None:
        return Fraction(0), Fraction(0)
    dots = min(len(element.findall("dot")), 4)
    length = base * (2 - Fraction(1, 2**dots))
    actual = number_of(element.findtext("time-modification/actual-notes"), Fraction(1))
    normal = number_of(element.findtext("time-modification/normal-notes"), Fraction(1))
    if actual > 0 and normal > 0:
        length = length * normal / actual
    return length, min(length / 20, Fraction(1, 64))


def _mended(length: Fraction, written: Written) -> Fraction:
    """The exact length where <duration> is what is notated, rounded to a whole number."""
    notated, tolerance = _notated(written.elements[0])
    if notated and length != notated and abs(length - notated) <= tolerance:
        return notated
    return length
