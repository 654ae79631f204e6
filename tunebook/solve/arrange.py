"""Everything solved for one tune."""

from __future__ import annotations

import functools
from dataclasses import replace

from tunebook.model.arrangement import Arrangement, ChordSpan, FingeredNote
from tunebook.model.book import TuneChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.accompaniment import accompany
from tunebook.solve.beyond import bars_beyond, with_natural_fingers, with_own_notes
from tunebook.solve.chords import choose_chords
from tunebook.solve.drones import choose_drone
from tunebook.solve.fingering import choose_fingering
from tunebook.solve.own_chords import own_chords
from tunebook.solve.quarter_tones import quarter_tone_messages
from tunebook.solve.shapes import choose_shapes
from tunebook.solve.tempo import tempo_of


def arrange(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    choice: TuneChoice | None = None,
    drones: str = "held",
    chords: str = "all",
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
    holds the book's choices for this tune. Never raises for what a tune contains.
    """
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
    if shapes:
        spans = choose_shapes(spans, instrument, hand, limits, whole_notes_per_second=speed)
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


def _chords(tune: Tune, chords: str) -> tuple[ChordSpan, ...]:
    """The tune's own chords, with solved ones around them where the edition wants all."""
    if chords == "none":
        return ()
    if chords == "all":
        return choose_chords(tune)
    return tuple(span for span in own_chords(tune) if span.source == "tune")
