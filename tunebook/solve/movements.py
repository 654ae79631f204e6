"""What it costs to go from one posture to the next.

Every cost is A + B / t, t being the time in seconds from the one event to the next. The functions
work on arrays of any shapes that broadcast: a column of postures against a row of postures gives
a whole table, two equally long rows give the costs along a path.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from tunebook.solve.postures import Array, PostureSet, Reach
from tunebook.solve.weights import PIANO_SEMITONE_MM

Terms = dict[str, tuple[Array, Array]]
"""Name of the term -> (A, B)."""


class Passage(NamedTuple):
    """How one event leads to the next. Booleans or arrays of booleans.

    ``is_slurred``: within one stroke of the bow. ``is_freed``: after a rest, the fingers had time
    to leave. ``is_held``: the same tones sound on without a new stroke. ``kept``: (slot before,
    slot after, where) of single tones that sound on while others are struck anew.
    """

    is_slurred: Array | bool = False
    is_freed: Array | bool = False
    is_held: Array | bool = False
    kept: tuple[tuple[int, int, Array | bool], ...] = ()


class View(NamedTuple):
    """Postures seen along one axis; slot fields are lists of arrays, one for each slot."""

    string: list[Array]
    key: list[Array]
    finger: list[Array]
    place_mm: list[Array]
    place_key: list[Array]
    row_mm: list[Array]
    hand_mm: Array
    bow: Array
    tones: Array | int


def column_view(postures: PostureSet) -> View:
    """The postures down a column, to be left."""
    return _view(postures, (slice(None), None))


def row_view(postures: PostureSet) -> View:
    """The postures along a row, to be reached."""
    return _view(postures, (None, slice(None)))


def path_view(postures: Sequence[PostureSet], rows: Sequence[int]) -> View:
    """One posture of each set, as a path: arrays of the path's length, slots padded."""
    width = max(layer.packed.shape[2] for layer in postures)
    padded = np.zeros((len(postures), 6, width))
    for index, (layer, row) in enumerate(zip(postures, rows, strict=True)):
        padded[index, :, : layer.packed.shape[2]] = layer.packed[row]
    whole = padded[:, :3].astype(np.int64)
    fields = [
        [(whole if number < 3 else padded)[:, number, slot] for slot in range(width)]
        for number in range(6)
    ]
    pairs = list(zip(postures, rows, strict=True))
    return _view_of(
        fields,
        np.array([layer.hand_mm[row] for layer, row in pairs]),
        np.array([layer.bow[row] for layer, row in pairs]),
        np.array([layer.tones for layer in postures]),
    )


def _view(postures: PostureSet, shape: tuple[slice | None, slice | None]) -> View:
    fields = [
        [field[:, slot][shape] for slot in range(field.shape[1])]
        for field in (
            postures.string, postures.key, postures.finger,
            postures.place_mm, postures.place_key, postures.row_mm,
        )
    ]  # fmt: skip
    return _view_of(fields, postures.hand_mm[shape], postures.bow[shape], postures.tones)


def take(view: View, index: Array) -> View:
    """The entries ``index`` of a path's view."""
    fields = [[slot[index] for slot in slots] for slots in view[:6]]
    return _view_of(fields, view.hand_mm[index], view.bow[index], np.asarray(view.tones)[index])


def _view_of(fields: list[list[Array]], hand_mm: Array, bow: Array, tones: Array | int) -> View:
    string, key, finger, place_mm, place_key, row_mm = fields
    return View(string, key, finger, place_mm, place_key, row_mm, hand_mm, bow, tones)


def movement_terms(a: View, b: View, passage: Passage, reach: Reach) -> Terms:
    """All terms of the way from ``a`` to ``b``, each as (A, B)."""
    terms: Terms = {}
    moved_mm = np.abs(b.hand_mm - a.hand_mm)
    _add_shift(terms, a, moved_mm, passage, reach)
    _add_bow(terms, a, b, passage, reach)
    same = _same_presses(a, b)
    for p in range(len(a.string)):
        for q in range(len(b.string)):
            _add_fingers(terms, a, b, p, q, same, moved_mm, passage, reach)
    _add_held_tones(terms, a, b, passage, reach)
    return terms


def _add(terms: Terms, name: str, fixed: Array, by_time: Array | float = 0.0) -> None:
    if name in terms:
        terms[name] = (terms[name][0] + fixed, terms[name][1] + by_time)
    else:
        terms[name] = (np.asarray(fixed), np.asarray(by_time))


def _add_shift(terms: Terms, a: View, moved_mm: Array, passage: Passage, reach: Reach) -> None:
    weights = reach.weights
    is_open = sum(finger > 0 for finger in a.finger) == 0
    share = np.where(is_open | passage.is_freed, weights.shift_freed, 1.0)
    fixed = weights.shift * np.minimum(1.0, moved_mm / weights.shift_full_mm) * share
    _add(terms, "shift", fixed, weights.shift_speed * moved_mm / 100.0 * share)
    if not reach.limits.allows_shifts:
        _add(terms, "limit", np.where(moved_mm > 1.0, weights.beyond_limits, 0.0))


def _add_bow(terms: Terms, a: View, b: View, passage: Passage, reach: Reach) -> None:
    weights = reach.weights
    away = np.abs(b.bow - a.bow)
    change = weights.string_change + weights.string_change_slurred * np.asarray(passage.is_slurred)
    cost = change * np.minimum(1.0, away) + weights.string_skip * np.maximum(0.0, away - 1.0)
    _add(terms, "string_change", cost)


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
    terms: Terms,
    a: View,
    b: View,
    p: int,
    q: int,
    same: list[list[Array]],
    moved_mm: Array,
    passage: Passage,
    reach: Reach,
) -> None:
    """Terms of slot ``p`` before against slot ``q`` after."""
    weights = reach.weights
    both = (a.finger[p] > 0) & (b.finger[q] > 0) & np.logical_not(passage.is_freed)
    if not both.any():
        return
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
    _add(
        terms, "substitution", np.where(taken_over, fixed, 0.0),
        np.where(taken_over, weights.substitution_speed, 0.0),
    )  # fmt: skip
    if not reach.limits.allows_substitution:
        _add(terms, "limit", np.where(taken_over & silent, weights.beyond_limits, 0.0))
    is_kept = np.logical_or.reduce(same[p])
    was_there = np.logical_or.reduce([row[q] for row in same])
    pair = both & ~same_finger & ~(same_string & same_key) & ~is_kept & ~was_there
    if pair.any():
        _add_successive(terms, a, b, p, q, pair, same_string, along_mm, across_mm, moved_mm, reach)


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
    _add(
        terms, "slide", np.where(slide, weights.slide, 0.0),
        np.where(slide, weights.slide_speed * np.abs(along_mm) / 100.0, 0.0),
    )  # fmt: skip
    jump = alike & ~same_string
    fixed = weights.jump + weights.jump_slurred * np.asarray(passage.is_slurred)
    way_mm = np.hypot(along_mm, across_mm)
    _add(
        terms, "row_jump", np.where(jump, fixed, 0.0),
        np.where(jump, weights.jump_speed * way_mm / 100.0, 0.0),
    )  # fmt: skip


def _add_successive(
    terms: Terms,
    a: View,
    b: View,
    p: int,
    q: int,
    pair: Array,
    same_string: Array,
    along_mm: Array,
    across_mm: Array,
    moved_mm: Array,
    reach: Reach,
) -> None:
    """Two different fingers one after the other."""
    weights = reach.weights
    rises = b.finger[q] > a.finger[p]
    lower = np.minimum(a.finger[p], b.finger[q])
    upper = np.maximum(a.finger[p], b.finger[q])
    ordered_mm = np.where(rises, along_mm, -along_mm)
    passing = pair & same_string & (ordered_mm < 0)
    is_shifted = moved_mm >= 0.5 * np.abs(along_mm)
    cost = np.where(is_shifted, weights.passing, weights.passing_in_place)
    _add(terms, "passing", np.where(passing, cost, 0.0))
    nearer_mm = np.minimum(a.place_mm[p], b.place_mm[q])
    step_mm = (reach.instrument.string_length_mm - nearer_mm) * (1.0 - 2.0 ** (-1.0 / 12.0))
    crossed = pair & ~same_string & (np.abs(along_mm) <= weights.crossed_window * step_mm)
    is_upward = (b.string[q] > a.string[p]) == rises
    wrong = is_upward != reach.hand.higher_finger_on_higher_string
    cost = weights.crossed + np.where(wrong, weights.crossed_wrong_way, 0.0)
    _add(terms, "crossed", np.where(crossed, cost, 0.0))
    if not reach.limits.allows_crossed_stops:
        _add(terms, "limit", np.where(crossed, weights.beyond_limits, 0.0))
    weak = pair & (lower == 3) & (upper == 4)
    _add(
        terms, "weak_neighbours", np.where(weak, weights.weak_neighbours, 0.0),
        np.where(weak, weights.weak_neighbours_speed, 0.0),
    )  # fmt: skip
    unshifted = pair & (moved_mm < 1.0) & ~crossed & (ordered_mm > 0)
    if unshifted.any():
        keys = b.place_key[q] - a.place_key[p]
        units = 0.5 * np.hypot(along_mm, across_mm) / PIANO_SEMITONE_MM
        units = units + 0.5 * np.hypot(keys, across_mm / PIANO_SEMITONE_MM)
        _add_span(terms, unshifted, lower, upper, units, reach)


def _add_span(
    terms: Terms, pair: Array, lower: Array, upper: Array, units: Array, reach: Reach
) -> None:
    """Stretch and squeeze between successive fingers, at a share of what they cost at once."""
    weights = reach.weights
    bounds = reach.spans[lower, upper]
    extra = weights.uncomfortable - 1.0
    stretch = np.maximum(0.0, units - bounds[..., 3]) ** 2 + extra * np.maximum(
        0.0, units - bounds[..., 4]
    )
    squeeze = np.maximum(0.0, bounds[..., 2] - units) ** 2 + extra * np.maximum(
        0.0, bounds[..., 1] - units
    )
    share = np.where(lower == 1, weights.sequence_span_index, weights.sequence_span)
    too_far = pair & (units > bounds[..., 5])
    _add(terms, "stretch", np.where(too_far, weights.sequence_reach, 0.0))
    _add(terms, "stretch", np.where(pair, share * weights.stretch * stretch, 0.0))
    _add(terms, "squeeze", np.where(pair, share * weights.squeeze * squeeze, 0.0))


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
    _add(terms, "moved_tone", np.where(moved, reach.weights.moved_tone, 0.0))
