"""Everything solved for one tune: drones, fingering, chords, shapes and accompaniment.

Bars that cannot keep to an edition's limits could only be reached within them by slides and
strained fingers. So they take their fingering from the unlimited answer, by pins, and all others
keep the limits."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import replace

from tunebook.model.arrangement import Arrangement, ChordSpan, FingeredNote
from tunebook.model.book import TuneChoice
from tunebook.model.choices import CHORDS, DRONES, Chords, Drones, one_of
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Note, Tune
from tunebook.solve.drones.choose import choose_drone
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.harmony.chords import choose_chords, own_chords
from tunebook.solve.shapes.accompaniment import accompany
from tunebook.solve.shapes.shapes import choose_shapes
from tunebook.solve.times import tempo_of
from tunebook.solve.unplayable import quarter_tone_messages


def bars_beyond(notes: Sequence[FingeredNote]) -> frozenset[int]:
    """Indices of bars with a note that could not keep to the limits."""
    return frozenset(one.bar_index for one in notes if one.beyond_limits)


def with_natural_fingers(
    tune: Tune, natural: Sequence[FingeredNote], bars: frozenset[int], instrument: Instrument
) -> Tune:
    """Return ``tune`` with the fingers and strings of ``natural`` pinned in ``bars``."""
    by_place = {(one.bar_index, one.note_index): one for one in natural}
    return replace(
        tune,
        bars=tuple(
            _pinned_bar(bar, by_place, instrument) if bar.index in bars else bar
            for bar in tune.bars
        ),
    )


def _pinned_bar(
    bar: Bar, natural: dict[tuple[int, int], FingeredNote], instrument: Instrument
) -> Bar:
    notes = (
        _pinned(note, natural.get((bar.index, at)), instrument) for at, note in enumerate(bar.notes)
    )
    return replace(bar, notes=tuple(notes))


def _pinned(note: Note, one: FingeredNote | None, instrument: Instrument) -> Note:
    if one is None or not one.stops or one.is_continued or any(note.finger_pins):
        return note
    string = instrument.string(one.stops[0].string_index)
    return replace(
        note,
        finger_pins=tuple(stop.finger for stop in one.stops),
        string_pin=str(string.index) if len(one.stops) == 1 else note.string_pin,
    )


def with_own_notes(notes: Sequence[FingeredNote], tune: Tune) -> tuple[FingeredNote, ...]:
    """Return ``notes`` pointing to the notes of ``tune`` again, without the pins."""
    return tuple(replace(one, note=tune.bars[one.bar_index].notes[one.note_index]) for one in notes)


def arrange(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    choice: TuneChoice | None = None,
    drones: Drones = "held",
    chords: Chords = "all",
    shapes: bool = False,
    accompaniment: bool = False,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
) -> Arrangement:
    """Solve ``tune`` for this instrument and hand within ``limits``.

    ``drones`` is none, open, held or substitution; ``chords`` none, tune or all; ``shapes`` asks
    for a shape of each chord, ``accompaniment`` for a second staff in the tune type's rhythm,
    ``alternatives`` for that many next best stops of each note, ``other_ways`` for that many next
    best fingerings, through ``bars`` (first and last bar index) where these are given; ``choice``
    holds the book's choices for this tune. Never raises for what a tune contains; raises
    SettingError for drones or chords that are none of the choices.
    """
    one_of(DRONES, drones, "drones")
    one_of(CHORDS, chords, "chords")
    limits = limits or Limits()
    speed, is_default = tempo_of(tune, choice.tempo if choice else None)
    drone = choose_drone(
        tune,
        instrument,
        hand,
        limits,
        whole_notes_per_second=speed,
        drones=drones,
        choice=choice,
    )
    fingered = functools.partial(
        choose_fingering,
        instrument=instrument,
        hand=hand,
        whole_notes_per_second=speed,
        drone=drone.demands,
    )
    wanted = functools.partial(
        fingered, limits=limits, alternatives=alternatives, other_ways=other_ways, bars=bars
    )
    fingering = wanted(tune)
    beyond = bars_beyond(fingering.notes)
    if beyond:
        natural = fingered(tune)
        pinned = with_natural_fingers(tune, natural.notes, beyond, instrument)
        fingering = wanted(pinned)
        fingering = replace(fingering, notes=with_own_notes(fingering.notes, tune))
    spans = _chords(tune, chords)
    if shapes or accompaniment:
        shaped = choose_shapes(spans, instrument, hand, limits, whole_notes_per_second=speed)
        spans = shaped if shapes else tuple(replace(span, shape=()) for span in shaped)
    second: tuple[FingeredNote, ...] = ()
    if accompaniment and spans:
        second = accompany(tune, spans, instrument, hand, limits, whole_notes_per_second=speed)
    return Arrangement(
        tune=tune,
        instrument=instrument,
        hand=hand,
        limits=limits,
        notes=fingering.notes,
        drone=fingering.drone,
        drone_candidates=drone.candidates,
        chords=spans,
        accompaniment=second,
        cost=fingering.cost,
        terms=fingering.terms,
        whole_notes_per_second=speed,
        tempo_is_default=is_default,
        difficulty=fingering.difficulty,
        bar_difficulties=fingering.bar_difficulties,
        messages=(*drone.messages, *fingering.messages, *quarter_tone_messages(tune)),
        other_ways=fingering.other_ways,
        drones_asked=drone.demands,
    )


def _chords(tune: Tune, chords: Chords) -> tuple[ChordSpan, ...]:
    """The tune's own chords, with solved ones around them where the edition wants all."""
    if chords == "none":
        return ()
    if chords == "all":
        return choose_chords(tune)
    return tuple(span for span in own_chords(tune) if span.source == "tune")
