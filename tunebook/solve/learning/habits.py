"""What was learnt, as habits of a player with the bars of her own tunes where each shows.

A habit is a group of weights that price one thing, or the spans, or the direction of crossed stops.
It shows at a note when the learnt hand fingers as marked, and the same hand with the usual weights
of that habit does not. A habit that shows nowhere is not told, however far its weights went.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from tunebook.model.arrangement import Stop
from tunebook.model.hand import Hand
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import stops_by_place
from tunebook.solve.learning.parameters import NAMES, parameters_for
from tunebook.solve.learning.study import World, answer
from tunebook.solve.weights import weights_for

HABITS: dict[str, tuple[str, ...]] = {
    "open": ("stop",),
    "stopped": ("open_string",),
    "little_finger": ("little_finger",),
    "stretch": ("stretch",),
    "squeeze": ("squeeze",),
    "index": ("lean", "level"),
    "crossed": ("crossed",),
    "against": ("crossed_wrong_way",),
    "together": ("crossed_posture", "reversed_posture", "barre"),
    "first_position": ("above_home", "below_home"),
    "high": ("high_key", "past_next"),
    "trill": ("trill_bound", "trill_little_finger"),
    "shift": ("shift", "shift_speed", "shift_turning"),
    "passing": ("passing", "passing_in_place"),
    "slide": ("slide", "slide_speed"),
    "jump": ("jump", "jump_speed", "jump_slurred"),
    "reach": ("sequence_reach",),
    "weak": ("weak_neighbours", "weak_neighbours_speed"),
    "substitution": ("substitution", "substitution_restruck", "substitution_speed"),
    "strings": ("string_change", "string_skip", "string_change_slurred"),
}
"""Weights by the habit that they make."""
SPANS, DIRECTION = "spans", "direction"
EVERY_HABIT = (*HABITS, SPANS, DIRECTION)
FEWEST_NOTES, LEAST_SHARE = 2, 0.01
"""A habit that shows at fewer notes, or at a smaller share of those marked, is not told."""
MOST_BARS = 2


Stops = Mapping[NoteRef, tuple[Stop, ...]]


class Place(NamedTuple):
    """A note of a tune: its name, its place, and the stops with the habit and without it."""

    name: str
    ref: NoteRef
    stops: tuple[Stop, ...]
    usual: tuple[Stop, ...]


@dataclass(frozen=True)
class Habit:
    """A habit that was learnt. ``changes`` are (weight, before, after); ``is_more`` where it costs
    more than usual (spans: where they are wider; direction: to the higher string); ``notes`` is how
    many notes show it, ``places`` the first notes of some bars that do."""

    name: str
    is_more: bool
    changes: tuple[tuple[str, float, float], ...]
    notes: int
    places: tuple[Place, ...]


def changed_habits(world: World, learnt: Hand) -> list[str]:
    """The habits in which the learnt hand differs from the usual one."""
    found = [name for name in HABITS if changes_of(name, world, learnt)]
    if learnt.spans != world.hand.spans:
        found.append(SPANS)
    if _direction(learnt) != _direction(world.hand):
        # Then the addition for the wrong direction tells the same.
        found = [one for one in found if one != "against"] + [DIRECTION]
    return found


def changes_of(habit: str, world: World, learnt: Hand) -> list[tuple[str, float, float]]:
    """(weight, before, after) of the weights of a habit that changed."""
    kind = world.instrument.kind
    before, after = weights_for(kind), weights_for(kind, learnt)
    return [
        (name, getattr(before, name), getattr(after, name))
        for name in HABITS.get(habit, ())
        if getattr(before, name) != getattr(after, name)
    ]


def without_habit(habit: str, world: World, learnt: Hand) -> Hand:
    """The learnt hand as it would be without one habit."""
    if habit == SPANS:
        return replace(learnt, spans=world.hand.spans)
    if habit == DIRECTION:
        return replace(
            learnt, higher_finger_on_higher_string=world.hand.higher_finger_on_higher_string
        )
    names = HABITS[habit]
    return replace(learnt, weights=tuple(one for one in learnt.weights if one.name not in names))


def habits_of(
    names: Sequence[str], world: World, learnt: Hand, sheets: Sequence[Sheet]
) -> list[Habit]:
    """The habits of these names with the places where they show; those that show too seldom to be
    told are left out."""
    ours = [stops_by_place(answer(world, learnt, sheet)) for sheet in sheets]
    found = (_habit(name, world, learnt, list(zip(sheets, ours, strict=True))) for name in names)
    marked = sum(len(sheet.marks) for sheet in sheets)
    least = max(FEWEST_NOTES, LEAST_SHARE * marked)
    return [one for one in found if one.notes >= least]


def _habit(name: str, world: World, learnt: Hand, sheets: Sequence[tuple[Sheet, Stops]]) -> Habit:
    lacking = without_habit(name, world, learnt)
    places: list[Place] = []
    notes = 0
    bars: set[tuple[str, int]] = set()
    for sheet, ours in sheets:
        others = stops_by_place(answer(world, lacking, sheet))
        for mark in sheet.marks:
            stops, usual = ours.get(mark.ref, ()), others.get(mark.ref, ())
            if not (mark.agrees(stops) and usual and not mark.agrees(usual)):
                continue
            notes += 1
            bar = sheet.name, mark.ref.bar
            if bar not in bars:
                bars.add(bar)
                places.append(Place(sheet.name, mark.ref, stops, usual))
    return Habit(
        name=name,
        is_more=_is_more(name, world, learnt),
        changes=tuple(changes_of(name, world, learnt)),
        notes=notes,
        places=tuple(_two_tunes(places)),
    )


def _two_tunes(places: Sequence[Place]) -> list[Place]:
    """Some places, of different tunes where there are."""
    others = [place for place in places if place.name != places[0].name]
    return [*places[:1], *(others or places[1:])[: MOST_BARS - 1]]


def _is_more(name: str, world: World, learnt: Hand) -> bool:
    if name == SPANS:
        pairs = zip(learnt.spans, world.hand.spans, strict=True)
        return sum(a.max_comfortable_mm - b.max_comfortable_mm for a, b in pairs) >= 0
    if name == DIRECTION:
        return learnt.higher_finger_on_higher_string
    parameters = parameters_for(world.instrument.kind)
    scale = dict(zip(NAMES, parameters.scale.tolist(), strict=True))
    changes = changes_of(name, world, learnt)
    return bool(sum((after - before) / scale[what] for what, before, after in changes) > 0)


def _direction(hand: Hand) -> bool:
    return hand.higher_finger_on_higher_string
