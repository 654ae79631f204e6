"""What it costs to go from one posture to the next.

Every cost is A + B / t, t being the time in seconds from the one event to the next. The functions
work on arrays of any shapes that broadcast: a column of postures against a row of postures gives
a whole table, two equally long rows give the costs along a path.
"""

from __future__ import annotations

import functools

import numpy as np

from tunebook.model.hand import Limits
from tunebook.solve.finger_moves import STILL_MM, FingerMoves, add_term, finger_moves
from tunebook.solve.postures import Array, Reach
from tunebook.solve.views import Passage, Terms, View

_ORDER = (
    "shift", "string_change", "slide", "row_jump", "substitution", "passing", "crossed",
    "weak_neighbours", "stretch", "squeeze", "moved_tone",
)  # fmt: skip
"""Terms are always added up in this order, so that sums come out alike to the last digit."""


def movement_terms(a: View, b: View, passage: Passage, reach: Reach) -> Terms:
    """All terms of the way from ``a`` to ``b``, each as (A, B)."""
    moved_mm = np.abs(b.hand_mm - a.hand_mm)
    is_free = a.is_open | np.asarray(passage.is_freed)
    return with_hand(finger_moves(a, b, passage, reach), moved_mm, is_free, reach)


def with_hand(fingers: FingerMoves, moved_mm: Array, is_free: Array, reach: Reach) -> Terms:
    """All terms, given what the fingers do, how far the hand goes, and where it is free."""
    weights = reach.weights
    share = np.where(is_free, weights.shift_freed, 1.0)
    terms: Terms = {"shift": shift_cost(moved_mm, share, reach)}
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


def shift_cost(moved_mm: Array, share: Array | float, reach: Reach) -> tuple[Array, Array]:
    """(A, B) of the hand's way; ``share`` is less than 1 where it is free meanwhile."""
    weights = reach.weights
    fixed = weights.shift * np.minimum(1.0, moved_mm / weights.shift_full_mm) * share
    return fixed, weights.shift_speed * moved_mm / 100.0 * share


def shift_limit(moved_mm: Array, reach: Reach) -> Array:
    """What a change of place costs where the limits allow none."""
    return np.where(moved_mm > STILL_MM, reach.weights.beyond_limits, 0.0)
