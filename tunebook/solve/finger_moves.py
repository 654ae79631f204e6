"""What the bow and the fingers pay for going from one posture to the next.

The way of the hand decides only little of it: whether one finger passes another with a shift or
without, and whether a span has to be reached from one place. These parts are kept apart, so that
the rest need not be worked out anew for each place of the hand.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tunebook.solve.postures import Array, Reach
from tunebook.solve.views import Passage, Terms, View
from tunebook.solve.weights import PIANO_SEMITONE_MM

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


def finger_moves(a: View, b: View, passage: Passage, reach: Reach) -> FingerMoves:
    """The costs of the way from ``a`` to ``b``, the hand's own way left out."""
    moves = FingerMoves({}, {}, [])
    _add_bow(moves.steady, a, b, passage, reach)
    same = _same_presses(a, b)
    for p in range(len(a.string)):
        for q in range(len(b.string)):
            _add_fingers(moves, a, b, p, q, same, passage, reach)
    _add_held_tones(moves.steady, a, b, passage, reach)
    return moves


def add_term(terms: Terms, name: str, fixed: Array, by_time: Array | float = 0.0) -> None:
    """Add to what the term costs so far."""
    if name in terms:
        terms[name] = (terms[name][0] + fixed, terms[name][1] + by_time)
    else:
        terms[name] = (np.asarray(fixed), np.asarray(by_time))


def _add_bow(terms: Terms, a: View, b: View, passage: Passage, reach: Reach) -> None:
    weights = reach.weights
    away = np.abs(b.bow - a.bow)
    change = weights.string_change + weights.string_change_slurred * np.asarray(passage.is_slurred)
    cost = change * np.minimum(1.0, away) + weights.string_skip * np.maximum(0.0, away - 1.0)
    add_term(terms, "string_change", cost)


def _same_presses(a: View, b: View) -> list[list[Array]]:
    """same[p][q]: slot p of a and slot q of b are the same finger on the same key."""
    return [
        [
            (a.finger[p] > 0)
            & (a.finger[p] == b.finger[q])
            & (a.string[p] == b.string[q])
            & (a.key[p] == b.key[q])
            for q in range(len(b.string))
        ]
        for p in range(len(a.string))
    ]


def _add_fingers(
    moves: FingerMoves,
    a: View,
    b: View,
    p: int,
    q: int,
    same: list[list[Array]],
    passage: Passage,
    reach: Reach,
) -> None:
    """Terms of slot ``p`` before against slot ``q`` after."""
    weights = reach.weights
    both = (a.finger[p] > 0) & (b.finger[q] > 0) & np.logical_not(passage.is_freed)
    if not both.any():
        return
    terms = moves.steady
    same_finger = a.finger[p] == b.finger[q]
    same_string = a.string[p] == b.string[q]
    same_key = a.key[p] == b.key[q]
    along_mm = b.place_mm[q] - a.place_mm[p]
    across_mm = b.row_mm[q] - a.row_mm[p]
    _add_same_finger(
        terms, both & same_finger, same_string, same_key, along_mm, across_mm, passage, reach
    )
    taken_over = both & ~same_finger & same_string & same_key
    silent = np.asarray(passage.is_held) | (p >= a.tones)
    fixed = np.where(silent, weights.substitution, weights.substitution_restruck)
    add_term(
        terms, "substitution", np.where(taken_over, fixed, 0.0),
        np.where(taken_over, weights.substitution_speed, 0.0),
    )  # fmt: skip
    if not reach.limits.allows_substitution:
        add_term(terms, "limit", np.where(taken_over & silent, weights.beyond_limits, 0.0))
    is_kept = np.logical_or.reduce(same[p])
    was_there = np.logical_or.reduce([row[q] for row in same])
    pair = both & ~same_finger & ~(same_string & same_key) & ~is_kept & ~was_there
    if pair.any():
        _add_successive(moves, a, b, p, q, pair, same_string, along_mm, across_mm, reach)


def _add_same_finger(
    terms: Terms,
    alike: Array,
    same_string: Array,
    same_key: Array,
    along_mm: Array,
    across_mm: Array,
    passage: Passage,
    reach: Reach,
) -> None:
    """The same finger on another key of the string (slide) or in another row (jump)."""
    weights = reach.weights
    slide = alike & same_string & ~same_key
    add_term(
        terms, "slide", np.where(slide, weights.slide, 0.0),
        np.where(slide, weights.slide_speed * np.abs(along_mm) / 100.0, 0.0),
    )  # fmt: skip
    jump = alike & ~same_string
    fixed = weights.jump + weights.jump_slurred * np.asarray(passage.is_slurred)
    way_mm = np.hypot(along_mm, across_mm)
    add_term(
        terms, "row_jump", np.where(jump, fixed, 0.0),
        np.where(jump, weights.jump_speed * way_mm / 100.0, 0.0),
    )  # fmt: skip


def _add_successive(
    moves: FingerMoves,
    a: View,
    b: View,
    p: int,
    q: int,
    pair: Array,
    same_string: Array,
    along_mm: Array,
    across_mm: Array,
    reach: Reach,
) -> None:
    """Two different fingers one after the other."""
    weights = reach.weights
    terms = moves.steady
    rises = b.finger[q] > a.finger[p]
    lower = np.minimum(a.finger[p], b.finger[q])
    upper = np.maximum(a.finger[p], b.finger[q])
    ordered_mm = np.where(rises, along_mm, -along_mm)
    passes = pair & same_string & (ordered_mm < 0)
    if passes.any():
        moves.passing.append((passes, 0.5 * np.abs(along_mm)))
    nearer_mm = np.minimum(a.place_mm[p], b.place_mm[q])
    step_mm = (reach.instrument.string_length_mm - nearer_mm) * (1.0 - 2.0 ** (-1.0 / 12.0))
    crossed = pair & ~same_string & (np.abs(along_mm) <= weights.crossed_window * step_mm)
    is_upward = (b.string[q] > a.string[p]) == rises
    wrong = is_upward != reach.hand.higher_finger_on_higher_string
    cost = weights.crossed + np.where(wrong, weights.crossed_wrong_way, 0.0)
    add_term(terms, "crossed", np.where(crossed, cost, 0.0))
    if not reach.limits.allows_crossed_stops:
        add_term(terms, "limit", np.where(crossed, weights.beyond_limits, 0.0))
    weak = pair & (lower == 3) & (upper == 4)
    add_term(
        terms, "weak_neighbours", np.where(weak, weights.weak_neighbours, 0.0),
        np.where(weak, weights.weak_neighbours_speed, 0.0),
    )  # fmt: skip
    at_once = pair & ~crossed & (ordered_mm > 0)
    if at_once.any():
        keys = b.place_key[q] - a.place_key[p]
        units = 0.5 * np.hypot(along_mm, across_mm) / PIANO_SEMITONE_MM
        units = units + 0.5 * np.hypot(keys, across_mm / PIANO_SEMITONE_MM)
        for name, cost in _spans(at_once, lower, upper, units, reach):
            moves.still[name] = moves.still[name] + cost if name in moves.still else cost


def _spans(
    pair: Array, lower: Array, upper: Array, units: Array, reach: Reach
) -> list[tuple[str, Array]]:
    """Stretch and squeeze between successive fingers, at a share of what they cost at once."""
    weights = reach.weights
    bounds = reach.spans[lower.astype(np.intp), upper.astype(np.intp)]
    extra = weights.uncomfortable - 1.0
    stretch = np.maximum(0.0, units - bounds[..., 3]) ** 2 + extra * np.maximum(
        0.0, units - bounds[..., 4]
    )
    squeeze = np.maximum(0.0, bounds[..., 2] - units) ** 2 + extra * np.maximum(
        0.0, bounds[..., 1] - units
    )
    share = np.where(lower == 1, weights.sequence_span_index, weights.sequence_span)
    too_far = pair & (units > bounds[..., 5])
    return [
        ("stretch", np.where(too_far, weights.sequence_reach, 0.0)),
        ("stretch", np.where(pair, share * weights.stretch * stretch, 0.0)),
        ("squeeze", np.where(pair, share * weights.squeeze * squeeze, 0.0)),
    ]


def _add_held_tones(terms: Terms, a: View, b: View, passage: Passage, reach: Reach) -> None:
    """Tones that sound on must stay on their keys."""
    kept: list[tuple[int, int, Array | bool]] = list(passage.kept)
    if np.any(passage.is_held):
        for slot in range(min(len(a.string), len(b.string))):
            is_tone = slot < np.minimum(a.tones, b.tones)
            kept.append((slot, slot, np.asarray(passage.is_held) & is_tone))
    if not kept:
        return
    moved: Array | bool = False
    for before, after, where in kept:
        differs = (a.string[before] != b.string[after]) | (a.key[before] != b.key[after])
        moved = moved | (differs & where)
    add_term(terms, "moved_tone", np.where(moved, reach.weights.moved_tone, 0.0))
