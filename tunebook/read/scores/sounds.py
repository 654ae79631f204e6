"""What sounds: the notes of a score as music21 reads them.

music21 says which tones sound, when and how long. What is written at a note (type and tuplet, ties,
fingers, words, signs) is not asked of it: of a chord's tones it keeps no fingers apart, it knows no
ends of jumps, and much else is lost on the way, so that the elements themselves are looked at
(``timeline`` and what follows it).
"""

from __future__ import annotations

import functools
import math
import warnings
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any
from xml.etree.ElementTree import Element

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
    return [_sounds_of_part(part) for part in parts]


def _sounds_of_part(part: Part) -> list[list[Sound]]:
    """The measures of a part one by one: how music21 would join them to a part and a score is not
    asked, which saves a third of its time."""
    from music21.musicxml import xmlToM21

    reader: Any = xmlToM21
    # It tells its user on standard error of what it reads in its own way.
    warnings.simplefilter("ignore", reader.MusicXMLWarning)
    parent = reader.PartParser()
    result = []
    for measure, bare in zip(part.measures, part.bare, strict=True):
        try:
            parser = reader.MeasureParser(bare, parent=parent)
            parser.parse()
        except MemoryError:
            raise
        except Exception as error:  # whatever it stumbles over, the file alone is left out
            words = f"{type(error).__name__}: {' '.join(str(error).split())[:120]}"
            raise ScoreError(f"music21 cannot read bar {measure.number} ({words})") from None
        result.append(_sounds_of(measure, parser.stream))
    return result


def _sounds_of(measure: Measure, stream: Any) -> list[Sound]:
    waiting: dict[object, deque[Written]] = {}
    for written in measure.notes:
        waiting.setdefault(_key_of_written(written), deque()).append(written)
    sounds = []
    strangers = []
    for offset, note in _notes_in(stream):
        queue = waiting.get(_key_of_note(offset, note))
        if queue:
            sounds.append(_sound(queue.popleft(), offset, note))
        else:
            strangers.append((offset, note))
    sounds += _paired([one for queue in waiting.values() for one in queue], strangers, measure)
    order = {id(one): at for at, one in enumerate(measure.notes)}
    sounds.sort(key=lambda one: (one.onset, order[id(one.written)]))
    return sounds


def _paired(
    left: list[Written], strangers: list[tuple[Fraction, Any]], measure: Measure
) -> list[Sound]:
    """What is left on both sides where times differ by rounding: one after the other."""
    left.sort(key=lambda one: one.onset)
    strangers.sort(key=lambda one: one[0])
    keys = [_key_of_written(one)[1:] for one in left]
    if keys != [_key_of_note(*one)[1:] for one in strangers]:
        raise ScoreError(f"what sounds in bar {measure.number} cannot be told")
    pairs = zip(left, strangers, strict=True)
    return [_sound(written, written.onset, note) for written, (_, note) in pairs]


def _notes_in(stream: Any) -> Iterator[tuple[Fraction, Any]]:
    """Notes, chords and rests of a measure with their onsets in whole notes."""
    for element in stream.elements:
        if "Voice" in element.classSet:
            yield from _notes_in(element)
        elif "GeneralNote" in element.classSet and "ChordSymbol" not in element.classSet:
            yield _whole_notes(element.offset), element


@functools.lru_cache(maxsize=5000)
def _whole_notes(quarters: Any) -> Fraction:
    return Fraction(quarters).limit_denominator(_FINEST) / 4


def _key_of_written(written: Written) -> tuple[object, ...]:
    if written.is_rest:
        return (round(float(written.onset), 4), written.is_grace)
    tones = sorted(
        (one.findtext("pitch/step") or "", (one.findtext("pitch/octave") or "").strip())
        for one in written.elements
    )
    return (round(float(written.onset), 4), written.is_grace, tuple(tones))


def _key_of_note(offset: Fraction, note: Any) -> tuple[object, ...]:
    if note.isRest:
        return (round(float(offset), 4), note.duration.isGrace)
    tones = sorted((pitch.step, str(pitch.octave)) for pitch in note.pitches)
    return (round(float(offset), 4), note.duration.isGrace, tuple(tones))


def _sound(written: Written, offset: Fraction, note: Any) -> Sound:
    notated, tolerance, ratio = _notated_of(written.elements[0])
    if written.is_grace:
        return Sound(written, _tones(written, note), offset, notated or Fraction(1, 8), (1, 1))
    length = written.duration if note.isRest else _whole_notes(note.duration.quarterLength)
    # The exact length, where <duration> is what is notated, rounded to a whole number.
    if notated and length != notated and abs(length - notated) <= tolerance:
        length = notated
    return Sound(written, _tones(written, note), offset, length, ratio)


def _tones(written: Written, note: Any) -> tuple[Tone, ...]:
    """The tones in the order of the elements; music21 keeps that order in a chord's notes."""
    if note.isRest:
        return ()
    notes = list(note.notes) if note.isChord else [note]
    tones = []
    for one, element in zip(notes, written.elements, strict=True):
        pitch = one.pitch
        octave = 4 if pitch.octave is None else pitch.octave
        if not 0 <= octave <= 9:
            raise ScoreError("a note lies higher or lower than any instrument plays")
        is_tied, is_tied_from = _ties(element)
        tones.append(
            Tone(_STEPS.index(pitch.step), _alter(pitch.alter), octave, is_tied, is_tied_from)
        )
    return tuple(tones)


@functools.lru_cache(maxsize=100)
def _alter(semitones: Any) -> Fraction:
    return Fraction(semitones).limit_denominator(4)


def _ties(element: Element) -> tuple[bool, bool]:
    """Whether a tie begins and ends at a tone; some programs write only what is seen of one."""
    kinds = [one.get("type") for one in element.iterfind("tie")]
    if not kinds:
        kinds = [one.get("type") for one in element.iterfind("notations/tied")]
    return "start" in kinds, "stop" in kinds


def _notated_of(element: Element) -> tuple[Fraction, Fraction, tuple[int, int]]:
    modification = element.find("time-modification")
    numbers = ("1", "1")
    if modification is not None:
        numbers = (
            (modification.findtext("actual-notes") or "1").strip(),
            (modification.findtext("normal-notes") or "1").strip(),
        )
    dots = len(element.findall("dot"))
    return _notated((element.findtext("type") or "").strip(), min(dots, 4), *numbers)


@functools.lru_cache(maxsize=5000)
def _notated(
    kind: str, dots: int, actual: str, normal: str
) -> tuple[Fraction, Fraction, tuple[int, int]]:
    """The length that type, dots and tuplet show (0 where no type stands), how much a rounded
    duration may be off by, and the tuplet, which of nested ones MusicXML has as one."""
    numbers = [int(number_of(text, Fraction(1))) for text in (actual, normal)]
    p, q = numbers if min(numbers) > 0 else (1, 1)
    common = math.gcd(p, q)
    ratio = (p // common, q // common)
    base = _TYPES.get(kind, Fraction(0))
    length = base * (2 - Fraction(1, 2**dots)) * Fraction(q, p)
    return length, min(length / 20, Fraction(1, 64)), ratio
