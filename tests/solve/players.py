"""Invented players: hands with habits far from the usual ones, and their fingerings of corpus tunes
written at every note as marks."""

from __future__ import annotations

import random
from collections.abc import Sequence

from tunebook.model.arrangement import FingeredNote
from tunebook.model.book import HandChoice
from tunebook.model.hand import Hand, HandWeight
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Mark
from tunebook.solve.times import tempo_of


def weights(**values: float) -> tuple[HandWeight, ...]:
    return tuple(HandWeight("keyed", name, value) for name, value in sorted(values.items()))


PLAYERS: dict[str, Hand] = {
    "as usual": read_hand(),
    "spares the little finger": read_hand(
        HandChoice(weights=weights(little_finger=3.5, weak_neighbours=0.8))
    ),
    "large hand that never shifts": read_hand(
        HandChoice(
            size="large",
            span_factors=(1.2, 1.2, 1.2),
            weights=weights(shift=7.0, shift_speed=2.0),
        )
    ),
    "crosses the other way": read_hand(
        HandChoice(
            higher_finger_on_higher_string=False, weights=weights(crossed=0.1, jump_speed=9.0)
        )
    ),
    "loves open strings": read_hand(
        HandChoice(weights=weights(stop=1.2, string_change=0.05, string_change_slurred=0.0))
    ),
    "rather stops than leaves open": read_hand(HandChoice(weights=weights(open_string=1.5))),
}


def fingered(tune: Tune, instrument: Instrument, hand: Hand) -> tuple[FingeredNote, ...]:
    speed = tempo_of(tune)[0]
    return choose_fingering(tune, instrument, hand, whole_notes_per_second=speed).notes


def marks_from(
    notes: Sequence[FingeredNote], slips: float = 0.0, chance: random.Random | None = None
) -> tuple[Mark, ...]:
    """The stops of all notes as marks; a share ``slips`` of the fingers is another one."""
    found = []
    for one in notes:
        if one.is_continued or not one.stops:
            continue
        fingers = [stop.finger for stop in one.stops]
        if chance is not None and fingers[0] and chance.random() < slips:
            fingers[0] = chance.choice([other for other in (1, 2, 3, 4) if other != fingers[0]])
        ref = NoteRef(one.bar_index, one.note_index)
        found.append(Mark(ref, tuple(fingers), one.stops[0].string_index))
    return tuple(found)


def sheets_by(
    hand: Hand, tunes: Sequence[Tune], instrument: Instrument, slips: float = 0.0
) -> list[Sheet]:
    """The tunes as this player marks them."""
    chance = random.Random(3)
    return [
        Sheet(
            f"{number}:{tune.title}",
            tune,
            tempo_of(tune)[0],
            marks_from(fingered(tune, instrument, hand), slips, chance if slips else None),
        )
        for number, tune in enumerate(tunes)
    ]
