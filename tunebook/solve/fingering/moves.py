"""What it costs to go from one posture to the next: for the bow, the fingers, and the hand.

Every cost is A + B / t, t being the time in seconds from the one event to the next. The functions
work on arrays of any shapes that broadcast: a column of postures against a row of postures gives
a whole table, two equally long rows give the costs along a path.

The way of the hand decides only little of what the bow and the fingers pay: whether one finger
passes another with a shift or without, and whether a span has to be reached from one place. These
parts are kept apart, so that the rest need not be worked out anew for each place of the hand."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from tunebook.model.hand import Limits
from tunebook.solve.fingering.postures import KEY_STEP_SHARE, Array, Bound, PostureSet, Reach
from tunebook.solve.weights import PIANO_SEMITONE_MM

Terms = dict[str, tuple[Array, Array]]
"""Name of the term -> (A, B): it costs A + B / t, t being the time in seconds."""


class Passage(NamedTuple):
    """How one event leads to the next. Booleans or arrays of booleans.

    ``is_slurred``: within one stroke of the bow. ``is_freed``: after a rest, the fingers had time
    to leave. ``is_held``: the same tones sound on without a new stroke. ``kept``: (slot before,
    slot after, where) of single tones that sound on while others are struck anew. ``is_turning``:
    in a figure that goes to another tone and back at once.
    """

    is_slurred: Array | bool = False
    is_freed: Array | bool = False
    is_held: Array | bool = False
    kept: tuple[tuple[int, int, Array | bool], ...] = ()
    is_turning: Array | bool = False


class Slots(NamedTuple):
    """One slot of many postures, an array each: the string, the key, the finger (0 where none
    presses), the place along the string and across the rows."""

    string: Array
    key: Array
    finger: Array
    place_mm: Array
    place_key: Array
    row_mm: Array


SLOT_FIELDS = len(Slots._fields)
"""How many numbers say what is in a slot; ``PostureSet.packed`` has them in this order."""


class Hands(NamedTuple):
    """Many hands at once, a posture each: their slots, the places of hand and bow, and how many of
    the slots are tones."""

    slots: list[Slots]
    hand_mm: Array
    bow: Array
    tones: Array | int

    @property
    def is_open(self) -> Array:
        """Where no finger presses anything."""
        is_open: Array = ~np.logical_or.reduce([slot.finger > 0 for slot in self.slots])
        return is_open


class Chosen(NamedTuple):
    """One posture of each of some sets: the places of hand and bow, whether the drone pauses, each
    of shape (sets,), its costs in the order of POSTURE_TERMS, shape (terms, sets), its slot fields
    in the order of Slots, shape (fields, slots, sets), slots padded, and how many are tones."""

    hand_mm: Array
    bow: Array
    pause: Array
    costs: Array
    slots: Array
    tones: Array


def choose(postures: Sequence[PostureSet], rows: Sequence[int]) -> Chosen:
    """Posture ``rows[i]`` of ``postures[i]``."""
    pairs = list(zip(postures, rows, strict=True))
    facts = np.concatenate([layer.facts[row] for layer, row in pairs])
    widths = {layer.width for layer in postures}
    if len(widths) == 1:
        slots = np.concatenate([layer.packed[row] for layer, row in pairs])
        slots = slots.reshape(len(pairs), SLOT_FIELDS, -1)
    else:
        slots = np.zeros((len(pairs), SLOT_FIELDS, max(widths)))
        for index, (layer, row) in enumerate(pairs):
            slots[index, :, : layer.width] = layer.packed[row]
    hand_mm, bow, pause, *costs = np.ascontiguousarray(facts.reshape(len(pairs), -1).T)
    return Chosen(
        hand_mm=hand_mm,
        bow=bow,
        pause=pause,
        costs=np.array(costs),
        slots=np.ascontiguousarray(slots.transpose(1, 2, 0)),
        tones=np.array([layer.tones for layer in postures]),
    )


def hands_of(chosen: Chosen, index: Array) -> Hands:
    """The entries ``index`` of what was chosen, as a row."""
    slots, tones = chosen.slots.take(index, axis=2), chosen.tones.take(index)
    return _hands(slots, chosen.hand_mm.take(index), chosen.bow.take(index), tones)


def _hands(slots: Array, hand_mm: Array, bow: Array, tones: Array) -> Hands:
    return Hands(
        [Slots(*slots[:, number]) for number in range(slots.shape[1])], hand_mm, bow, tones
    )


class Holds(NamedTuple):
    """What is held in a set of postures, each once whatever the hand's place: slot fields
    (holds, fields, slots) in the order of Slots, and the place of the bow (holds,)."""

    packed: Array
    bow: Array
    tones: int

    @property
    def width(self) -> int:
        """How many slots a hold has."""
        return int(self.packed.shape[2])

    def __len__(self) -> int:
        return len(self.bow)


def holds_of(postures: PostureSet) -> Holds:
    """The holds of ``postures`` in the order of their labels."""
    _, first = np.unique(postures.label, return_index=True)
    return Holds(postures.packed[first], postures.bow[first], postures.tones)


def hands_holding(holds: Sequence[Holds], index: Array) -> Hands:
    """The entries ``index`` of all these holds in a row; they have equally many slots. The hand's
    place is not known of them and left at 0."""
    slots = np.concatenate([one.packed for one in holds]).transpose(1, 2, 0).take(index, axis=2)
    tones = np.repeat([one.tones for one in holds], [len(one) for one in holds])
    bow = np.concatenate([one.bow for one in holds])
    return _hands(slots, np.zeros(len(index)), bow[index], tones[index])


STILL_MM = 1.0
"""A hand that moves less stays where it is."""


class FingerMoves(NamedTuple):
    """``steady`` are the terms that hold wherever the hand goes. ``still`` are costs by term that
    count only where the hand stays within STILL_MM; ``passing`` are (where one finger passes
    another on a string, way of the hand in mm from which on it does so with a shift)."""

    steady: Terms
    still: dict[str, Array]
    passing: list[tuple[Array, Array]]

    def spread(self, index: Array) -> FingerMoves:
        """The entries ``index`` of these."""

        def taken(values: Array) -> Array:
            return values.take(index) if values.ndim else values

        return FingerMoves(
            {name: (taken(a), taken(b)) for name, (a, b) in self.steady.items()},
            {name: taken(costs) for name, costs in self.still.items()},
            [(taken(where), taken(shift_mm)) for where, shift_mm in self.passing],
        )


class _Change(NamedTuple):
    """From one set of postures to another: seen before and after, how the one leads to the other,
    and what there is to play on and with."""

    before: Hands
    after: Hands
    passage: Passage
    reach: Reach


class _Pair(NamedTuple):
    """One slot before against one slot after. ``both`` is where a finger presses in each of them
    and has not been freed between; ``along_mm`` and ``across_mm`` lead from the one to the other.
    """

    before: Slots
    after: Slots
    both: Array
    same_finger: Array
    same_string: Array
    same_key: Array
    along_mm: Array
    across_mm: Array


def finger_moves(a: Hands, b: Hands, passage: Passage, reach: Reach) -> FingerMoves:
    """The costs of the way from ``a`` to ``b``, the hand's own way left out."""
    moves = FingerMoves({}, {}, [])
    change = _Change(a, b, passage, reach)
    _add_bow(moves.steady, change)
    same = _same_presses(change)
    for p, before in enumerate(a.slots):
        for q, after in enumerate(b.slots):
            pair = _pair(before, after, passage)
            if pair.both.any():
                stays = [*same[p], *(row[q] for row in same)]
                _add_fingers(moves, pair, np.logical_or.reduce(stays), p >= a.tones, change)
    _add_held_tones(moves.steady, change)
    return moves


def add_term(terms: Terms, name: str, fixed: Array, by_time: Array | float = 0.0) -> None:
    """Add to what the term costs so far."""
    if name in terms:
        terms[name] = (terms[name][0] + fixed, terms[name][1] + by_time)
    else:
        terms[name] = (np.asarray(fixed), np.asarray(by_time))


def _add_bow(terms: Terms, change: _Change) -> None:
    weights = change.reach.weights
    away = np.abs(change.after.bow - change.before.bow)
    is_slurred = np.asarray(change.passage.is_slurred)
    first = weights.string_change + weights.string_change_slurred * is_slurred
    cost = first * np.minimum(1.0, away) + weights.string_skip * np.maximum(0.0, away - 1.0)
    add_term(terms, "string_change", cost)


def _same_presses(change: _Change) -> list[list[Array]]:
    """same[p][q]: slot p before and slot q after are the same finger on the same key."""
    return [
        [
            (before.finger > 0)
            & (before.finger == after.finger)
            & (before.string == after.string)
            & (before.key == after.key)
            for after in change.after.slots
        ]
        for before in change.before.slots
    ]


def _pair(before: Slots, after: Slots, passage: Passage) -> _Pair:
    return _Pair(
        before,
        after,
        both=(before.finger > 0) & (after.finger > 0) & np.logical_not(passage.is_freed),
        same_finger=before.finger == after.finger,
        same_string=before.string == after.string,
        same_key=before.key == after.key,
        along_mm=after.place_mm - before.place_mm,
        across_mm=after.row_mm - before.row_mm,
    )


def _add_fingers(
    moves: FingerMoves, pair: _Pair, stays: Array, is_holder: Array | bool, change: _Change
) -> None:
    """Terms of a pair of slots; ``stays`` is where one of the two is pressed by the same finger
    before and after, ``is_holder`` where the first is no tone but holds the drone's key."""
    reach, passage, terms = change.reach, change.passage, moves.steady
    weights = reach.weights
    _add_same_finger(terms, pair, passage, reach)
    taken_over = pair.both & ~pair.same_finger & pair.same_string & pair.same_key
    silent = np.asarray(passage.is_held) | is_holder
    fixed = np.where(silent, weights.substitution, weights.substitution_restruck)
    add_term(
        terms, "substitution", np.where(taken_over, fixed, 0.0),
        np.where(taken_over, weights.substitution_speed, 0.0),
    )  # fmt: skip
    if not reach.limits.allows_substitution:
        add_term(terms, "limit", np.where(taken_over & silent, weights.beyond_limits, 0.0))
    follows = pair.both & ~pair.same_finger & ~(pair.same_string & pair.same_key) & ~stays
    if follows.any():
        _add_successive(moves, pair, follows, reach)


def _add_same_finger(terms: Terms, pair: _Pair, passage: Passage, reach: Reach) -> None:
    """The same finger on another key of the string (slide) or in another row (jump)."""
    weights = reach.weights
    alike = pair.both & pair.same_finger
    slide = alike & pair.same_string & ~pair.same_key
    add_term(
        terms, "slide", np.where(slide, weights.slide, 0.0),
        np.where(slide, weights.slide_speed * np.abs(pair.along_mm) / 100.0, 0.0),
    )  # fmt: skip
    jump = alike & ~pair.same_string
    fixed = weights.jump + weights.jump_slurred * np.asarray(passage.is_slurred)
    way_mm = np.hypot(pair.along_mm, pair.across_mm)
    add_term(
        terms, "row_jump", np.where(jump, fixed, 0.0),
        np.where(jump, weights.jump_speed * way_mm / 100.0, 0.0),
    )  # fmt: skip


def _add_successive(moves: FingerMoves, pair: _Pair, follows: Array, reach: Reach) -> None:
    """Two different fingers one after the other, where ``follows``."""
    weights, terms = reach.weights, moves.steady
    rises = pair.after.finger > pair.before.finger
    ordered_mm = np.where(rises, pair.along_mm, -pair.along_mm)
    passes = follows & pair.same_string & (ordered_mm < 0)
    if passes.any():
        moves.passing.append((passes, 0.5 * np.abs(pair.along_mm)))
    crossed = follows & _is_crossed(pair, reach)
    is_upward = (pair.after.string > pair.before.string) == rises
    wrong = is_upward != reach.hand.higher_finger_on_higher_string
    cost = weights.crossed + np.where(wrong, weights.crossed_wrong_way, 0.0)
    add_term(terms, "crossed", np.where(crossed, cost, 0.0))
    if not reach.limits.allows_crossed_stops:
        add_term(terms, "limit", np.where(crossed, weights.beyond_limits, 0.0))
    lower = np.minimum(pair.before.finger, pair.after.finger)
    upper = np.maximum(pair.before.finger, pair.after.finger)
    weak = follows & (lower == 3) & (upper == 4)
    add_term(
        terms, "weak_neighbours", np.where(weak, weights.weak_neighbours, 0.0),
        np.where(weak, weights.weak_neighbours_speed, 0.0),
    )  # fmt: skip
    at_once = follows & ~crossed & (ordered_mm > 0)
    if at_once.any():
        for name, spanned in _spans(at_once, lower, upper, _units(pair), reach):
            moves.still[name] = moves.still[name] + spanned if name in moves.still else spanned


def _is_crossed(pair: _Pair, reach: Reach) -> Array:
    """Two fingers at the same place in two rows, or nearly so."""
    nearer_mm = np.minimum(pair.before.place_mm, pair.after.place_mm)
    step_mm = (reach.instrument.string_length_mm - nearer_mm) * KEY_STEP_SHARE
    is_near = np.abs(pair.along_mm) <= reach.weights.crossed_window * step_mm
    is_crossed: Array = np.logical_not(pair.same_string) & is_near
    return is_crossed


def _units(pair: _Pair) -> Array:
    """How far apart the two fingers are: half in piano semitones, half in the local key step."""
    keys = pair.after.place_key - pair.before.place_key
    units: Array = 0.5 * np.hypot(pair.along_mm, pair.across_mm) / PIANO_SEMITONE_MM
    units = units + 0.5 * np.hypot(keys, pair.across_mm / PIANO_SEMITONE_MM)
    return units


def _spans(
    pair: Array, lower: Array, upper: Array, units: Array, reach: Reach
) -> list[tuple[str, Array]]:
    """Stretch and squeeze between successive fingers, at a share of what they cost at once."""
    weights = reach.weights
    bounds = reach.spans[lower.astype(np.intp), upper.astype(np.intp)]
    extra = weights.uncomfortable - 1.0
    stretch = np.maximum(0.0, units - bounds[..., Bound.MAX_RELAXED]) ** 2 + extra * np.maximum(
        0.0, units - bounds[..., Bound.MAX_COMFORTABLE]
    )
    squeeze = np.maximum(0.0, bounds[..., Bound.MIN_RELAXED] - units) ** 2 + extra * np.maximum(
        0.0, bounds[..., Bound.MIN_COMFORTABLE] - units
    )
    share = np.where(lower == 1, weights.sequence_span_index, weights.sequence_span)
    too_far = pair & (units > bounds[..., Bound.MAX_PRACTICAL])
    return [
        ("stretch", np.where(too_far, weights.sequence_reach, 0.0)),
        ("stretch", np.where(pair, share * weights.stretch * stretch, 0.0)),
        ("squeeze", np.where(pair, share * weights.squeeze * squeeze, 0.0)),
    ]


def _add_held_tones(terms: Terms, change: _Change) -> None:
    """Tones that sound on must stay on their keys."""
    before, after, passage = change.before, change.after, change.passage
    kept: list[tuple[int, int, Array | bool]] = list(passage.kept)
    if np.any(passage.is_held):
        for slot in range(min(len(before.slots), len(after.slots))):
            is_tone = slot < np.minimum(before.tones, after.tones)
            kept.append((slot, slot, np.asarray(passage.is_held) & is_tone))
    if not kept:
        return
    moved: Array | bool = False
    for leaving, reached, where in kept:
        a, b = before.slots[leaving], after.slots[reached]
        moved = moved | (((a.string != b.string) | (a.key != b.key)) & where)
    add_term(terms, "moved_tone", np.where(moved, change.reach.weights.moved_tone, 0.0))


_ORDER = (
    "shift", "string_change", "slide", "row_jump", "substitution", "passing", "crossed",
    "weak_neighbours", "stretch", "squeeze", "moved_tone",
)  # fmt: skip
"""Terms are always added up in this order, so that sums come out alike to the last digit."""


def movement_terms(a: Hands, b: Hands, passage: Passage, reach: Reach) -> Terms:
    """All terms of the way from ``a`` to ``b``, each as (A, B)."""
    moved_mm = np.abs(b.hand_mm - a.hand_mm)
    is_free = a.is_open | np.asarray(passage.is_freed)
    fingers = finger_moves(a, b, passage, reach)
    return with_hand(fingers, moved_mm, is_free, reach, passage.is_turning)


def with_hand(
    fingers: FingerMoves,
    moved_mm: Array,
    is_free: Array,
    reach: Reach,
    is_turning: Array | bool = False,
) -> Terms:
    """All terms, given what the fingers do, how far the hand goes, and where it is free."""
    weights = reach.weights
    share = np.where(is_free, weights.shift_freed, 1.0)
    terms: Terms = {"shift": shift_cost(moved_mm, share, reach, is_turning)}
    terms.update(fingers.steady)
    if not reach.limits.allows_shifts:
        add_term(terms, "limit", shift_limit(moved_mm, reach))
    for where, shift_mm in fingers.passing:
        cost = np.where(moved_mm >= shift_mm, weights.passing, weights.passing_in_place)
        add_term(terms, "passing", np.where(where, cost, 0.0))
    for name, cost in fingers.still.items():
        add_term(terms, name, np.where(moved_mm < STILL_MM, cost, 0.0))
    names = (*_order(reach.limits), *terms)
    return {name: terms[name] for name in names if name in terms}


@functools.lru_cache(maxsize=64)
def _order(limits: Limits) -> tuple[str, ...]:
    """The order of terms; broken limits follow the first term that may break one."""
    first = "crossed" if limits.allows_substitution else "substitution"
    place = 1 + _ORDER.index(first if limits.allows_shifts else "shift")
    return (*_ORDER[:place], "limit", *_ORDER[place:])


def shift_cost(
    moved_mm: Array, share: Array | float, reach: Reach, is_turning: Array | bool = False
) -> tuple[Array, Array]:
    """(A, B) of the hand's way; ``share`` is less than 1 where it is free meanwhile. Where the
    melody goes to another tone and back at once (``is_turning``) the hand had better stay."""
    weights = reach.weights
    whole = weights.shift + np.where(is_turning, weights.shift_turning, 0.0)
    fixed = whole * np.minimum(1.0, moved_mm / weights.shift_full_mm) * share
    return fixed, weights.shift_speed * moved_mm / 100.0 * share


def shift_limit(moved_mm: Array, reach: Reach) -> Array:
    """What a change of place costs where the limits allow none."""
    return np.where(moved_mm > STILL_MM, reach.weights.beyond_limits, 0.0)
