"""Bars in which nothing is played: no drone is held there, and no chord is proposed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from tunebook.model.arrangement import ChordSpan, DroneSpan
from tunebook.model.tune import Tune

_Span = TypeVar("_Span", ChordSpan, DroneSpan)


def rest_passages(tune: Tune) -> tuple[tuple[Fraction, Fraction], ...]:
    """(begin, end) in whole notes of the runs of bars that are wholly of rests."""
    passages: list[tuple[Fraction, Fraction]] = []
    for bar in tune.bars:
        if not bar.duration or any(not note.is_rest for note in bar.notes):
            continue
        begin, end = bar.onset, bar.onset + bar.duration
        if passages and passages[-1][1] == begin:
            begin = passages.pop()[0]
        passages.append((begin, end))
    return tuple(passages)


def drones_without_rests(spans: Iterable[DroneSpan], tune: Tune) -> tuple[DroneSpan, ...]:
    """The drones as they sound, silent through bars of rest; what is struck anew after them takes
    nothing over."""
    passages = rest_passages(tune)
    if not passages:
        return tuple(spans)
    found = []
    for span in spans:
        for number, (onset, duration) in enumerate(_left(span, passages)):
            is_taken_over = span.is_taken_over and number == 0 and onset == span.onset
            found.append(replace(span, onset=onset, duration=duration, is_taken_over=is_taken_over))
    return tuple(found)


def chords_without_rests(spans: Iterable[ChordSpan], tune: Tune) -> tuple[ChordSpan, ...]:
    """Chords, solved ones cut where the tune rests for whole bars; its own symbols stay."""
    passages = rest_passages(tune)
    if not passages:
        return tuple(spans)
    found = []
    for span in spans:
        if span.source == "tune":
            found.append(span)
            continue
        for onset, duration in _left(span, passages):
            found.append(
                replace(span, bar_index=_bar_at(tune, onset), onset=onset, duration=duration)
            )
    return tuple(found)


def _left(
    span: _Span, passages: Sequence[tuple[Fraction, Fraction]]
) -> list[tuple[Fraction, Fraction]]:
    """(onset, duration) of what is left of a span outside ``passages``."""
    left = []
    onset, end = span.onset, span.onset + span.duration
    for begin, stop in passages:
        if stop <= onset or begin >= end:
            continue
        if begin > onset:
            left.append((onset, begin - onset))
        onset = stop
    if onset < end:
        left.append((onset, end - onset))
    return left


def _bar_at(tune: Tune, onset: Fraction) -> int:
    return next(bar.index for bar in tune.bars if bar.onset <= onset < bar.onset + bar.duration)
