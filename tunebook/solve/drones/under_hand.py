"""What lies under the hand: tones that can be added to a note while its finger stays where it is.

An open string beside the note's string always can. A key can where a finger that has nothing else
to do reaches it from the hand's place, without a stretch. The fingers of the notes right before
and after have something to do, unless they lie on that very key.
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tunebook.model.arrangement import FingeredNote, Stop
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.solve.fingering.posture_layers import build_postures
from tunebook.solve.fingering.postures import Demand, PostureSet, Reach, Slot
from tunebook.solve.weights import weights_for


@dataclass(frozen=True, slots=True)
class Grip:
    """A stop beside a note's own, and what it adds to the hand's effort."""

    stop: Stop
    effort: float


class UnderHand:
    """The hand on this instrument within an edition's limits, asked for one note at a time."""

    def __init__(self, instrument: Instrument, hand: Hand, limits: Limits) -> None:
        self._instrument = instrument
        self._limits = limits
        self._reach = Reach(instrument, hand, limits, weights_for(instrument.kind, hand))
        self._known: dict[tuple[Stop, int, int], tuple[Grip, ...]] = {}

    def is_open(self, midi: int) -> bool:
        """Whether some string sounds this tone open."""
        return any(string.open_midi == midi for string in self._instrument.strings)

    def grips(
        self, own: Stop, hand_key: float, midi: int, busy: Sequence[Stop] = ()
    ) -> tuple[Grip, ...]:
        """Every way to add ``midi`` to a note at ``own`` while the hand is at ``hand_key`` and the
        fingers of ``busy`` belong where they are; the least effort first."""
        key = (own, int(hand_key), midi)
        if key not in self._known:
            found = sorted(self._all(*key), key=lambda one: (one.effort, one.stop.finger))
            self._known[key] = tuple(found)
        return tuple(one for one in self._known[key] if not _is_busy(one.stop, busy))

    def _all(self, own: Stop, hand_key: int, midi: int) -> Iterator[Grip]:
        for string in self._instrument.strings:
            key = midi - string.open_midi
            if abs(string.index - own.string_index) != 1 or not 0 <= key <= string.key_count:
                continue
            if key == 0:
                yield Grip(Stop(midi, string.index, 0, 0), 0.0)
            elif self._limits.allows_held_drone:
                yield from self._pressed(own, hand_key, Stop(midi, string.index, key, 0))

    def _pressed(self, own: Stop, hand_key: int, added: Stop) -> Iterator[Grip]:
        alone = build_postures(Demand((own.midi,), (own.finger,), own.string_index), self._reach)
        both = build_postures(Demand((own.midi, added.midi), (own.finger, None)), self._reach)
        base = _costs(alone, hand_key, (_slot(own),))
        if both is None or not base:
            return
        for finger in self._reach.hand.fingers:
            slot = Slot(added.string_index, added.key, finger)
            if finger == own.finger or self._is_far(own, slot, hand_key):
                continue
            for cost in _costs(both, hand_key, (_slot(own), slot)):
                yield Grip(Stop(added.midi, *slot), cost - base[0])

    def _is_far(self, own: Stop, slot: Slot, hand_key: int) -> bool:
        """True where the finger would stretch beyond its comfortable span."""
        if self._reach.leans(slot)[hand_key][2]:
            return True
        if own.finger == 0:
            return False
        units, _ = self._reach.distance(_slot(own), slot)
        lower, upper = sorted((own.finger, slot.finger))
        return self._reach.is_stretched(lower, upper, units)


@functools.lru_cache(maxsize=4)
def under_hand(instrument: Instrument, hand: Hand, limits: Limits) -> UnderHand:
    """The hand on this instrument, kept between tunes."""
    return UnderHand(instrument, hand, limits)


def _slot(stop: Stop) -> Slot:
    return Slot(stop.string_index, stop.key, stop.finger)


def _costs(found: PostureSet | None, hand_key: int, slots: tuple[Slot, ...]) -> list[float]:
    """The cost of these stops from this place of the hand; nothing where a limit forbids them."""
    if found is None:
        return []
    limit = found.terms.get("limit")
    return [
        float(found.base[row])
        for row, one in enumerate(found.postures)
        if one.slots == slots and one.hand_key == hand_key and (limit is None or not limit[row])
    ]


def _is_busy(stop: Stop, busy: Sequence[Stop]) -> bool:
    """True where the stop's finger belongs on another key."""
    return any(
        stop.finger and stop.finger == one.finger and _slot(stop) != _slot(one) for one in busy
    )


def busy_stops(tune: Tune, notes: Sequence[FingeredNote]) -> dict[tuple[int, int], list[Stop]]:
    """For each struck note (bar and note index) the stops right before and right after it in the
    tune as played, where no rest lies between."""
    by_bar: dict[int, list[FingeredNote]] = defaultdict(list)
    for note in notes:
        by_bar[note.bar_index].append(note)
    found: dict[tuple[int, int], dict[Stop, None]] = defaultdict(dict)
    for before, after in _joined(tune, by_bar):
        found[before.bar_index, before.note_index].update(dict.fromkeys(after.stops))
        found[after.bar_index, after.note_index].update(dict.fromkeys(before.stops))
    return {place: list(stops) for place, stops in found.items()}


def _joined(
    tune: Tune, by_bar: dict[int, list[FingeredNote]]
) -> Iterator[tuple[FingeredNote, FingeredNote]]:
    """Struck notes of which the second begins when the first ends."""
    last: FingeredNote | None = None
    ends = 0.0
    clock = 0.0
    for index in tune.played or range(len(tune.bars)):
        bar = tune.bars[index]
        for note in by_bar.get(index, ()):
            onset = clock + float(note.note.onset - bar.onset)
            if not note.is_continued:
                if last is not None and onset <= ends + 1e-9:
                    yield last, note
                last = note
            if not note.note.is_grace:
                ends = onset + float(note.note.duration)
        clock += float(bar.duration)
