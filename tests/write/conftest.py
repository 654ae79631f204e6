"""Tunes and arrangements made by hand, so that the writers are tested without reader or solver.

A bar is text such as "D4/8 F#4/8 A4+D5/4 z/4 (E4)/8 A4/4-": pitches joined by +, a slash, the
length as a fraction of a whole note ("/8", "3/8" after the pitch as "D4*3/8"), a hyphen for a tie,
brackets for a grace note.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import Arrangement, FingeredNote, Stop
from tunebook.model.hand import FINGER_PAIRS, Hand, Limits, Span
from tunebook.model.instrument import Instrument, String, key_place_mm
from tunebook.model.tune import Bar, ChordSymbol, Key, Meter, Note, Pitch, Tempo, Tune

PLACE = SourcePlace("made.abc", 1, 1)
_TOKEN = re.compile(r"(?P<open>\()?(?P<head>[^/*()]+)\)?(?P<length>[/*][0-9/]+)(?P<tie>-)?$")
_PITCH = re.compile(r"([A-G])(b|#)?(-?\d)$")
_FIRST_POSITION = (0, 1, 1, 2, 2, 3, 3, 4, 4)


def _pitch(name: str) -> Pitch:
    letter, sign, octave = _PITCH.match(name).groups()  # type: ignore[union-attr]
    alter = {"b": -1, "#": 1, None: 0}[sign]
    return Pitch(int(octave), "CDEFGAB".index(letter), alter)


def _note(token: str, onset: Fraction) -> Note:
    match = _TOKEN.match(token)
    assert match, token
    length = match["length"]
    duration = Fraction("1" + length) if length[0] == "/" else Fraction(length[1:])
    pitches = () if match["head"] == "z" else tuple(map(_pitch, match["head"].split("+")))
    return Note(
        place=PLACE,
        pitches=pitches,
        onset=onset,
        duration=duration,
        written=duration,
        shown_accidentals=(None,) * len(pitches),
        ties=(bool(match["tie"]),) * len(pitches),
        is_tied_from_before=(False,) * len(pitches),
        is_grace=bool(match["open"]),
        finger_pins=(None,) * len(pitches),
    )


def _with_ties_ended(notes: list[Note]) -> list[Note]:
    ended: list[Note] = []
    tied: set[int] = set()
    for note in notes:
        if note.is_grace:
            ended.append(note)
            continue
        from_before = tuple(pitch.midi in tied for pitch in note.pitches)
        ended.append(replace(note, is_tied_from_before=from_before))
        tied = {p.midi for p, is_tied in zip(note.pitches, note.ties, strict=True) if is_tied}
    return ended


def made_bars(texts: Sequence[str], key: Key, meter: Meter) -> tuple[Bar, ...]:
    """Bars with running onsets; a first bar shorter than the metre is a pickup."""
    bars: list[Bar] = []
    onset = Fraction(0)
    number = 1
    for index, text in enumerate(texts):
        start, notes = onset, []
        for token in text.split():
            note = _note(token, onset)
            notes.append(note)
            onset += 0 if note.is_grace else note.duration
        is_pickup = index == 0 and onset - start < meter.length
        number = 0 if is_pickup else number
        bars.append(
            Bar(PLACE, index, number, tuple(notes), start, onset - start, meter, key,
                is_pickup=is_pickup)
        )  # fmt: skip
        number += 1
    notes = _with_ties_ended([note for bar in bars for note in bar.notes])
    return tuple(replace(bar, notes=tuple(notes.pop(0) for _ in bar.notes)) for bar in bars)


def made_tune(*texts: str, **changes: Any) -> Tune:
    """A tune of the bars in ``texts``, in D and 3/4 unless ``changes`` says otherwise."""
    key = changes.pop("key", Key(1, 0, "ionian", 2, (1, 0, 0, 1, 0, 0, 0)))
    meter = changes.pop("meter", Meter(3, 4, "3/4"))
    bars = made_bars(texts, key, meter)
    tune = Tune(
        place=PLACE,
        number="7",
        titles=("Made by hand",),
        composer="",
        origin="",
        rhythm="polska",
        key=key,
        meter=meter,
        unit_length=Fraction(1, 8),
        tempo=Tempo(Fraction(1, 4), 120.0),
        bars=bars,
        played=tuple(range(len(bars))),
    )
    return replace(tune, **changes)


def chord_symbol(name: str) -> ChordSymbol:
    """D, Dm, Bb7 and the like."""
    match = re.match(r"([A-G])(b|#)?(m|dim|aug)?(.*)$", name)
    assert match
    quality = {"m": "minor", "dim": "diminished", "aug": "augmented"}.get(match[3] or "", "major")
    root = _pitch(f"{match[1]}{match[2] or ''}4")
    return ChordSymbol(PLACE, name, root.step, root.alter, quality, match[4])


@pytest.fixture
def instrument() -> Instrument:
    """A keyed instrument with the strings C3 G3 D4 A4; the lowest has no keys."""
    rows = (("C", 48, 0), ("G", 55, 11), ("D", 62, 14), ("A", 69, 20))
    return Instrument(
        name="made",
        title="Made instrument",
        kind="keyed",
        strings=tuple(
            String(index, name, midi, tuple(key_place_mm(400, k + 1) for k in range(keys)), 13.0)
            for index, (name, midi, keys) in enumerate(rows, start=1)
        ),
        string_length_mm=400,
        row_distance_mm=13,
        tuning_name="CGDA",
    )


def _stops(note: Note, instrument: Instrument) -> tuple[Stop, ...]:
    """Each tone on the highest string that has it, in first position."""
    stops = []
    for pitch in note.pitches:
        string = [s for s in instrument.strings if s.open_midi <= pitch.midi][-1]
        key = pitch.midi - string.open_midi
        stops.append(Stop(pitch.midi, string.index, key, _FIRST_POSITION[min(key, 8)]))
    return tuple(stops)


@pytest.fixture
def arranged(instrument: Instrument) -> Callable[..., Arrangement]:
    """Put every note of a tune on the highest string that has it; ``changes`` replace fields."""

    def arrange(tune: Tune, **changes: Any) -> Arrangement:
        notes = tuple(
            FingeredNote(
                bar_index=bar.index,
                note_index=number,
                note=note,
                stops=_stops(note, instrument),
                is_continued=bool(note.is_tied_from_before) and all(note.is_tied_from_before),
                terms=(("shift", 0.25),),
            )
            for bar in tune.bars
            for number, note in enumerate(bar.notes)
            if not note.is_rest
        )
        spans = (Span(13, 13, 13, 40, 60, 80),) * len(FINGER_PAIRS)
        arrangement = Arrangement(
            tune=tune,
            instrument=instrument,
            hand=Hand("made", spans),
            limits=Limits(),
            notes=notes,
            cost=sum(note.cost for note in notes),
            terms=(("shift", sum(note.cost for note in notes)),),
        )
        return replace(arrangement, **changes)

    return arrange


@pytest.fixture
def make_tune() -> Callable[..., Tune]:
    """The function :func:`made_tune`."""
    return made_tune


@pytest.fixture
def make_chord() -> Callable[[str], ChordSymbol]:
    """The function :func:`chord_symbol`."""
    return chord_symbol
