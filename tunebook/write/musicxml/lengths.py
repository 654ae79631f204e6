"""Lengths in MusicXML: divisions of the quarter note, note types, dots and tuplet ratios."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Bar, Tuplet
from tunebook.write.note_values import is_dyadic, split_value, tuplet_for

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_TYPES = {
    Fraction(4): "long", Fraction(2): "breve", Fraction(1): "whole", Fraction(1, 2): "half",
    Fraction(1, 4): "quarter", Fraction(1, 8): "eighth", Fraction(1, 16): "16th",
    Fraction(1, 32): "32nd", Fraction(1, 64): "64th", Fraction(1, 128): "128th",
    Fraction(1, 256): "256th", Fraction(1, 512): "512th",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Head:
    """One note head: how long it sounds (whole notes), and its type, dots and ratio p:q. The type
    is None where no note head has that length."""

    duration: Fraction
    type_name: str | None
    dots: int = 0
    ratio: tuple[int, int] = (1, 1)


def pieces_of(written: Fraction, tuplet: Tuplet | None = None) -> tuple[Head, ...]:
    """Return the note heads, to be tied, that show a notated length of ``written`` whole notes.

    A length such as 5/8 needs two. One such as 1/12 that stands in no tuplet of the tune is shown
    with a ratio of its own.
    """
    p, q = (tuplet.p, tuplet.q) if tuplet else (1, 1)
    shown = written
    if not is_dyadic(written):
        own_p, own_q = tuplet_for(written)
        shown = written * own_p / own_q
        p, q = p * own_p, q * own_q
    if shown <= 0 or not is_dyadic(shown):
        sounding = written * tuplet.q / tuplet.p if tuplet else written
        return (Head(sounding, None),)
    common = math.gcd(p, q) if not tuplet else 1
    ratio = (p // common, q // common)
    return tuple(_piece(value, ratio) for value in split_value(shown))


def _piece(value: Fraction, ratio: tuple[int, int]) -> Head:
    for dots in range(3):
        base = value / (2 - Fraction(1, 2**dots))
        if base in _TYPES:
            return Head(value * ratio[1] / ratio[0], _TYPES[base], dots, ratio)
    return Head(value * ratio[1] / ratio[0], None)


def type_elements(piece: Head) -> list[Element]:
    """Return <type> and <dot>s; nothing where no note head has that length."""
    if piece.type_name is None:
        return []
    kind = ElementTree.Element("type")
    kind.text = piece.type_name
    return [kind, *(ElementTree.Element("dot") for _ in range(piece.dots))]


def ratio_elements(piece: Head) -> list[Element]:
    """Return <time-modification> where the piece stands in a tuplet."""
    if piece.type_name is None or piece.ratio == (1, 1):
        return []
    element = ElementTree.Element("time-modification")
    ElementTree.SubElement(element, "actual-notes").text = str(piece.ratio[0])
    ElementTree.SubElement(element, "normal-notes").text = str(piece.ratio[1])
    return [element]


def divisions_of(arrangement: Arrangement) -> int:
    """Return the least number of divisions of a quarter note in which all times are whole."""
    tune = arrangement.tune
    denominators: set[int] = set()
    for bars in (tune.bars, *(voice.bars for voice in tune.voices)):
        for bar in bars:
            denominators |= _denominators(bar)
    every = (arrangement, *(one.arrangement for one in arrangement.voices))
    times = [(span.onset, span.duration) for one in every for span in one.beside]
    times += [(span.onset, span.duration) for span in arrangement.chords]
    for onset, duration in times:
        denominators |= {(4 * onset).denominator, (4 * (onset + duration)).denominator}
    return math.lcm(*denominators)


def _denominators(bar: Bar) -> set[int]:
    found = {(4 * bar.onset).denominator, (4 * bar.duration).denominator}
    for note in bar.notes:
        found.add((4 * note.onset).denominator)
        if not note.is_grace:
            for piece in pieces_of(note.written, note.tuplet):
                found.add((4 * piece.duration).denominator)
    return found


def in_divisions(time: Fraction, divisions: int) -> str:
    """Return a time (whole notes) as a number of divisions."""
    return str(round(time * 4 * divisions))
