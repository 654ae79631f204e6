"""Whether a tune keeps to the limits of a level, and the key in which it does.

Keys are tried by their distance from the one that is written, within ``NEAR`` semitones, and beyond
that, to an octave, only where none of those keeps to the limits. Of all that do, the easiest is
taken by its effort per second; keys with up to ``AS_EASY`` times its effort count as easy too (our
judgement), and of those one with few signs is taken, of these the nearest, of two the higher.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.fingering.choose import Fingering, choose_fingering
from tunebook.solve.fingering.postures import tone_places
from tunebook.solve.transpose import transpose_tune, without_pins

NEAR = 7
FAR = 12
AS_EASY = 1.15
FEW_SIGNS = 3


@dataclass(frozen=True, slots=True)
class Level:
    """What a tune must keep to: an instrument, a hand, the limits; and how fast it is played, in
    whole notes a second."""

    instrument: Instrument
    hand: Hand
    limits: Limits
    whole_notes_per_second: float


@dataclass(frozen=True, slots=True)
class FittingKey:
    """A key within the limits: the ``tune`` moved by so many ``semitones`` (up when positive) and
    its effort per second. Pins of fingers and strings go
    along if they can (``has_pins``), else they are taken out."""

    tune: Tune
    semitones: int
    difficulty: float
    has_pins: bool = True


def bars_out_of_reach(tune: Tune, level: Level) -> frozenset[int]:
    """Indices of the bars with a note that goes beyond the limits or cannot be played at all."""
    return frozenset(
        one.bar_index for one in _fingered(tune, level).notes if one.beyond_limits or not one.stops
    )


def fitting_key(tune: Tune, level: Level) -> FittingKey | None:
    """The easiest of the other keys in which ``tune`` keeps to the limits, the nearest of those
    that are as easy; None when there is none within an octave. Pins go with it where one key can
    hold them, else without."""
    near = [one for distance in range(1, NEAR + 1) for one in (distance, -distance)]
    far = [one for distance in range(NEAR + 1, FAR + 1) for one in (distance, -distance)]
    free = without_pins(tune, keeps_drones=True)
    ways = [(tune, True)] if free == tune else [(tune, True), (free, False)]
    for tried, has_pins in ways:
        for keys in (near, far):
            found = _best(tried, keys, level)
            if found is not None:
                return FittingKey(*found, has_pins=has_pins)
    return None


def _best(tune: Tune, keys: Iterable[int], level: Level) -> tuple[Tune, int, float] | None:
    found: list[tuple[Tune, int, float]] = []
    for semitones in keys:
        if not is_in_compass(tune, semitones, level.instrument):
            continue
        moved = transpose_tune(tune, semitones)
        fingering = _fingered(moved, level)
        if not any(one.beyond_limits or not one.stops for one in fingering.notes):
            found.append((moved, semitones, fingering.difficulty))
    if not found:
        return None
    least = min(difficulty for _, _, difficulty in found)
    easy = [one for one in found if one[2] <= least * AS_EASY]
    return next((one for one in easy if abs(one[0].key.fifths) <= FEW_SIGNS), easy[0])


def _fingered(tune: Tune, level: Level) -> Fingering:
    return choose_fingering(
        tune,
        level.instrument,
        level.hand,
        level.limits,
        whole_notes_per_second=level.whole_notes_per_second,
    )


def is_in_compass(tune: Tune, semitones: int, instrument: Instrument) -> bool:
    """Whether the instrument has every tone of the moved tune at all, which is quickly seen; of a
    tune over which its frame is printed, of both."""
    whole = [voice.bars for voice in tune.voices] if tune.line == "frame and full" else []
    bars = [bar for line in (tune.bars, *whole) for bar in line]
    tones = {pitch.midi for bar in bars for note in bar.notes for pitch in note.pitches}
    return all(tone_places(instrument, midi + semitones) for midi in tones)
