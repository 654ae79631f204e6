"""Everything solved for one tune: drones, fingering, chords, shapes and accompaniment.

The melody is fingered first, as if there were no drone; then come chords and drones.

Bars that cannot keep to an edition's limits are fingered as a player would without them. Within the
limits such a bar could only be reached by slides and strained fingers, so the bars that go beyond
take their fingering from the unlimited answer, by pins, and all others keep the limits.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace

from tunebook.model.arrangement import Arrangement, ChordSpan, DroneDemand, FingeredNote
from tunebook.model.book import TuneChoice
from tunebook.model.choices import ACCENTS, CHORDS, DRONES, Accents, Chords, Drones, one_of
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Note, Tune
from tunebook.solve.drones.choose import DroneScene, choose_drones
from tunebook.solve.drones.under_hand import under_hand
from tunebook.solve.fingering.choose import Fingering, choose_fingering
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
    drones: Drones = "open",
    accents: Accents = "none",
    chords: Chords = "all",
    harmony: Tune | None = None,
    shapes: bool = False,
    accompaniment: bool = False,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
) -> Arrangement:
    """Solve ``tune`` for this instrument and hand within ``limits``.

    ``drones`` is none, open, held or substitution; ``accents``, other than none, asks for double
    stops on long and accented notes; ``chords`` is none, tune or all; ``shapes`` asks
    for a shape of each chord, ``accompaniment`` for a second staff in the tune type's rhythm,
    ``alternatives`` for that many next best stops of each note, ``other_ways`` for that many next
    best fingerings, through ``bars`` (first and last bar index) where these are given; ``choice``
    holds the book's choices for this tune. ``harmony`` is the whole tune where ``tune`` is one
    voice of it: chords are those of all voices together. The other voices of ``tune`` itself count
    for its chords and are not fingered. Never raises for what a tune contains; raises
    SettingError for drones, accents or chords that are none of the choices.
    """
    one_of(DRONES, drones, "drones")
    one_of(ACCENTS, accents, "accents")
    one_of(CHORDS, chords, "chords")
    limits = limits or Limits()
    speed, is_default = tempo_of(tune, choice.tempo if choice else None)
    asked = functools.partial(
        choose_fingering, alternatives=alternatives, other_ways=other_ways, bars=bars
    )
    melody = _Melody(tune, instrument, hand, limits, speed, asked)
    bare = melody.bare()
    whole = harmony or tune
    has_drones = drones != "none" and limits.allows_drone
    wants_chords = chords == "all" or accents != "none" or has_drones
    solved = choose_chords(whole) if wants_chords else ()
    under = under_hand(instrument, hand, limits) if accents != "none" else None
    scene = DroneScene(instrument, limits, drones, solved, choice, under=under)
    droned = choose_drones(tune, bare, scene, melody.under)
    fingering = droned.fingering
    has_own_cost = fingering is not bare
    spans = solved if chords == "all" else _own_chords(whole, chords)
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
        drone=droned.spans,
        chords=spans,
        accompaniment=second,
        cost=bare.cost,
        terms=bare.terms,
        whole_notes_per_second=speed,
        tempo_is_default=is_default,
        difficulty=bare.difficulty,
        bar_difficulties=bare.bar_difficulties,
        messages=(*droned.messages, *fingering.messages, *quarter_tone_messages(tune)),
        other_ways=fingering.other_ways,
        drones_asked=droned.asked,
        cost_with_drones=fingering.cost if has_own_cost else None,
        difficulty_with_drones=fingering.difficulty if has_own_cost else None,
        bow_cost=fingering.bow_cost,
        accents=droned.accents,
    )


class _Melody:
    """A tune's melody on one instrument, fingered alone and under drones.

    ``asked`` is ``choose_fingering`` with what is wanted of the answer besides.
    """

    def __init__(
        self,
        tune: Tune,
        instrument: Instrument,
        hand: Hand,
        limits: Limits,
        speed: float,
        asked: Callable[..., Fingering],
    ) -> None:
        self._tune = tune
        self._instrument = instrument
        self._solve = functools.partial(
            asked, instrument=instrument, hand=hand, whole_notes_per_second=speed
        )
        self._limits = limits
        self._posed = tune
        self._bare: Fingering | None = None

    def bare(self) -> Fingering:
        """The fingering without drones."""
        found = self._solve(self._tune, limits=self._limits)
        beyond = bars_beyond(found.notes)
        if beyond:
            natural = self._solve(self._tune, alternatives=0, other_ways=0)
            self._posed = with_natural_fingers(self._tune, natural.notes, beyond, self._instrument)
            found = self._with_own_notes(self._solve(self._posed, limits=self._limits))
        self._bare = found
        return found

    def under(self, drones: Sequence[DroneDemand]) -> Fingering:
        """The fingering over ``drones``: notes keep the strings on which they lie without them,
        unless the drone is strict."""
        bare = self._bare or self.bare()
        strict = [one for one in drones if one.is_strict]
        strings = {
            (one.bar_index, one.note_index): one.stops[0].string_index
            for one in bare.notes
            if one.stops and not any(d.onset <= one.note.onset < d.end for d in strict)
        }
        found = self._solve(self._posed, limits=self._limits, drone=drones, strings=strings)
        return self._with_own_notes(found)

    def _with_own_notes(self, found: Fingering) -> Fingering:
        if self._posed is self._tune:
            return found
        return replace(found, notes=with_own_notes(found.notes, self._tune))


def _own_chords(tune: Tune, chords: Chords) -> tuple[ChordSpan, ...]:
    """The tune's own chords where the edition shows them."""
    if chords == "none":
        return ()
    return tuple(span for span in own_chords(tune) if span.source == "tune")
