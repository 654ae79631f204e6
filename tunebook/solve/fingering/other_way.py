"""The next best way through a bar, and how a player would tell it from the one that is printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tunebook.model.arrangement import Arrangement, DroneSpan, FingeredNote
from tunebook.model.choices import WAYS
from tunebook.solve.fingering.choose import choose_fingering

LITTLE_FINGER, STRING_CHANGE = "little_finger", "string_change"
DRONE_PAUSE = "drone_pause"
NOTICED = 0.3
"""A difference of a cost term over the passage from which on a player would feel it; our
judgement."""
FELT = ("stretch", "squeeze", "home")
"""Terms of a posture that are felt rather than counted."""


@dataclass(frozen=True)
class OtherPassage:
    """Another way through a passage. ``notes`` are those that are played otherwise, in the other
    way; ``counted`` gives for each thing that hand and bow do (DRONE_PAUSE, WAYS, LITTLE_FINGER,
    STRING_CHANGE) how often they do it in the way that is printed and in the other one, for
    DRONE_PAUSE (0 or 1) whether a drone is left that the other way keeps; ``felt`` gives for each
    of FELT how much more it costs, ``cost_more`` what the whole tune does."""

    notes: tuple[FingeredNote, ...]
    counted: tuple[tuple[str, int, int], ...]
    felt: tuple[tuple[str, float], ...]
    cost_more: float = 0.0


def other_way_through(arrangement: Arrangement, bar_index: int) -> OtherPassage | None:
    """The next best way through a bar that a player would tell from the one that is printed, over
    the same drones; None when there is none."""
    held = [one for one in arrangement.drones_asked if one.key or one.is_strict]
    found = choose_fingering(
        arrangement.tune,
        arrangement.instrument,
        arrangement.hand,
        arrangement.limits,
        whole_notes_per_second=arrangement.whole_notes_per_second,
        drone=held,
        other_ways=1,
        bars=(bar_index, bar_index),
    )
    if not found.other_ways or any(one.beyond_limits for one in found.other_ways[0].notes):
        return None
    other = found.other_ways[0].notes
    differing = [
        at
        for at, (one, new) in enumerate(zip(arrangement.notes, other, strict=True))
        if one.stops != new.stops and not new.is_continued and not new.note.is_grace
    ]
    passage = _around(differing, arrangement.notes, bar_index)
    if not passage:
        return None
    # What leads out of the passage belongs to it.
    range_ = range(passage[0], min(len(other), passage[-1] + 2))
    before = [arrangement.notes[at] for at in range_]
    after = [other[at] for at in range_]
    return OtherPassage(
        tuple(other[at] for at in passage),
        (
            (DRONE_PAUSE, *_pauses(before, found.drone, found.other_ways[0].drone)),
            *((name, _count(before, name), _count(after, name)) for name in _COUNTED),
        ),
        tuple((name, _cost(after, name) - _cost(before, name)) for name in FELT),
        found.other_ways[0].cost_more,
    )


def sounds_under(note: FingeredNote, drone: Sequence[DroneSpan]) -> bool:
    """Whether one of the drones sounds when the note begins."""
    onset = note.note.onset
    return any(span.onset <= onset < span.onset + span.duration for span in drone)


def _pauses(
    notes: Sequence[FingeredNote], drone: Sequence[DroneSpan], other: Sequence[DroneSpan]
) -> tuple[int, int]:
    """Whether the first way, and whether the other one, leaves a drone that the other keeps."""
    pairs = [(sounds_under(one, drone), sounds_under(one, other)) for one in notes]
    return int((False, True) in pairs), int((True, False) in pairs)


_COUNTED = (*WAYS, LITTLE_FINGER, STRING_CHANGE)


def _around(differing: Sequence[int], notes: Sequence[FingeredNote], bar: int) -> list[int]:
    """Of the notes that differ those in the bar, and those that lead to them without a gap."""
    inside = [at for at in differing if notes[at].bar_index == bar]
    if not inside:
        return []
    first, last = inside[0], inside[-1]
    known = set(differing)
    while first - 1 in known:
        first -= 1
    while last + 1 in known:
        last += 1
    return [at for at in differing if first <= at <= last]


def _count(notes: Sequence[FingeredNote], name: str) -> int:
    if name == LITTLE_FINGER:
        return sum(any(stop.finger == 4 for stop in one.stops) for one in notes)
    if name == STRING_CHANGE:
        strings = [one.stops[0].string_index for one in notes if one.stops]
        return sum(a != b for a, b in pairwise(strings))
    return sum(name in one.ways for one in notes)


def _cost(notes: Sequence[FingeredNote], name: str) -> float:
    return sum(dict(one.terms).get(name, 0.0) for one in notes)
