"""What was learnt, as habits of a player with the bars of her own tunes where each shows.

A habit is a group of weights that price one thing, or the spans, or the direction of crossed stops.
It shows at a note when the learnt hand fingers as marked, and the same hand with the usual weights
of that habit does not; or when the usual hand does not, and does with that habit alone. The second
tells of habits that lead to the same, each of which would do without the other. A habit that shows
nowhere is not told, however far its weights went.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import NamedTuple

from tunebook.model.arrangement import Stop
from tunebook.model.hand import Hand
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Mark, stops_by_place
from tunebook.solve.learning.parameters import NAMES, parameters_for
from tunebook.solve.learning.passages import Form, bars_around
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
MOST_BARS, MOST_KEPT = 2, 8
MANY_NOTES = 14
"""A passage of more notes is less clear."""


Stops = Mapping[NoteRef, tuple[Stop, ...]]


class Place(NamedTuple):
    """A note of a tune that shows a habit: the tune's name, the note's place, the bars to show
    (first and last index), and their fingering with the habit and without it; with it, a note that
    she marked otherwise is left out."""

    name: str
    ref: NoteRef
    bars: tuple[int, int]
    with_habit: Form
    without: Form

    @property
    def stops(self) -> tuple[Stop, ...]:
        """The note's stops with the habit."""
        return dict(self.with_habit)[self.ref]

    @property
    def usual(self) -> tuple[Stop, ...]:
        """The note's stops without it."""
        return dict(self.without)[self.ref]


@dataclass(frozen=True)
class Habit:
    """A habit that was learnt. ``changes`` are (weight, before, after); ``is_more`` where it costs
    more than usual (spans: where they are wider; direction: to the higher string); ``notes`` is how
    many notes show it, ``places`` some of them."""

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


def with_habit_alone(habit: str, world: World, learnt: Hand) -> Hand:
    """The usual hand with one habit of the learnt one."""
    if habit == SPANS:
        return replace(world.hand, spans=learnt.spans)
    if habit == DIRECTION:
        return replace(
            world.hand, higher_finger_on_higher_string=learnt.higher_finger_on_higher_string
        )
    own = tuple(one for one in learnt.weights if one.name in HABITS[habit])
    others = tuple(one for one in world.hand.weights if one.name not in HABITS[habit])
    return replace(world.hand, weights=(*others, *own))


class Answers(NamedTuple):
    """A sheet with the stops of its notes by the learnt hand and by the usual one."""

    sheet: Sheet
    learnt: Stops
    usual: Stops


def habits_of(
    names: Sequence[str], world: World, learnt: Hand, sheets: Sequence[Sheet]
) -> list[Habit]:
    """The habits of these names with the places where they show; those that show too seldom to be
    told are left out."""
    hands = learnt, world.hand
    answers = [
        Answers(sheet, *(stops_by_place(answer(world, hand, sheet)) for hand in hands))
        for sheet in sheets
    ]
    found = (_habit(name, world, learnt, answers) for name in names)
    marked = sum(len(sheet.marks) for sheet in sheets)
    least = max(FEWEST_NOTES, LEAST_SHARE * marked)
    return [one for one in found if one.notes >= least]


def _habit(name: str, world: World, learnt: Hand, answers: Sequence[Answers]) -> Habit:
    lacking, alone = (make(name, world, learnt) for make in (without_habit, with_habit_alone))
    notes = 0
    places: list[tuple[int, Place]] = []
    for sheet, ours, usual in answers:
        shown: set[NoteRef] = set()
        for having, others in (
            (ours, stops_by_place(answer(world, lacking, sheet))),
            (stops_by_place(answer(world, alone, sheet)), usual),
        ):
            refs = [mark.ref for mark in sheet.marks if _shows(mark, having, others)]
            if refs and not shown:
                places += _clearest(sheet, refs, having, others)
            shown.update(refs)
        notes += len(shown)
    return Habit(
        name=name,
        is_more=_is_more(name, world, learnt),
        changes=tuple(changes_of(name, world, learnt)),
        notes=notes,
        places=tuple(_in_turn([place for _, place in sorted(places, key=itemgetter(0))])),
    )


def _shows(mark: Mark, ours: Stops, others: Stops) -> bool:
    """Whether the note is as marked with the habit and otherwise without it."""
    stops, usual = ours.get(mark.ref, ()), others.get(mark.ref, ())
    return bool(usual) and mark.agrees(stops) and not mark.agrees(usual)


def _clearest(
    sheet: Sheet, refs: Sequence[NoteRef], ours: Stops, others: Stops
) -> Iterator[tuple[int, Place]]:
    """Places of a tune in bars apart from each other, each with how many notes of these bars are
    not as she marked them; those with the fewest first. Many notes count as one of these."""
    marks = {mark.ref: mark for mark in sheet.marks}
    found: dict[tuple[int, int], tuple[int, Place]] = {}
    for ref in refs:
        bars = bars_around(sheet.tune, ref.bar)
        if bars in found:
            continue
        form = _form(sheet, bars, ours)
        agreed = tuple(one for one in form if one[0] not in marks or marks[one[0]].agrees(one[1]))
        place = Place(sheet.name, ref, bars, agreed, _form(sheet, bars, others))
        found[bars] = len(form) - len(agreed) + (len(form) > MANY_NOTES), place
    shown: set[int] = set()
    for unlike, place in sorted(found.values(), key=itemgetter(0)):
        own = set(range(place.bars[0], place.bars[1] + 1))
        if not own & shown:
            shown |= own
            yield unlike, place


def _form(sheet: Sheet, bars: tuple[int, int], stops: Stops) -> Form:
    refs = (
        NoteRef(bar.index, at)
        for bar in sheet.tune.bars[bars[0] : bars[1] + 1]
        for at in range(len(bar.notes))
    )
    return tuple((ref, stops[ref]) for ref in refs if stops.get(ref))


def _in_turn(places: Sequence[Place]) -> list[Place]:
    """Some places: the first of each tune, then the others."""
    first = {place.name: place for place in reversed(places)}
    is_first = [first[place.name] is place for place in places]
    others = [place for place, is_one in zip(places, is_first, strict=True) if not is_one]
    firsts = [place for place, is_one in zip(places, is_first, strict=True) if is_one]
    return [*firsts, *others][:MOST_KEPT]


def with_bars_apart(habits: Sequence[Habit]) -> list[Habit]:
    """The habits in their order, each with MOST_BARS of its places: where there are any, those
    whose bars show no habit before it."""
    used: set[tuple[str, tuple[int, int]]] = set()
    made = []
    for habit in habits:
        fresh = sorted(habit.places, key=lambda place: (place.name, place.bars) in used)
        places = fresh[:MOST_BARS]
        used |= {(place.name, place.bars) for place in places}
        made.append(replace(habit, places=tuple(places)))
    return made


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
