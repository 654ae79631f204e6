"""The hand: spans between fingers, what it may do, and the limits of an edition."""

from __future__ import annotations

from dataclasses import dataclass

FINGER_PAIRS = ((1, 2), (1, 3), (1, 4), (2, 3), (2, 4), (3, 4))


@dataclass(frozen=True, slots=True)
class Span:
    """Distances in mm between two fingers, the lower-numbered nearer the nut:
    practical, comfortable and relaxed least; relaxed, comfortable and practical most."""

    min_practical_mm: float
    min_comfortable_mm: float
    min_relaxed_mm: float
    max_relaxed_mm: float
    max_comfortable_mm: float
    max_practical_mm: float


@dataclass(frozen=True, slots=True)
class Hand:
    """A left hand. ``spans`` is parallel to FINGER_PAIRS. ``pad_width_mm`` is how wide one finger
    can lie flat (a barre needs both keys within it). ``higher_finger_on_higher_string`` is the
    natural direction of a crossed stop. ``fingers`` lists those in use."""

    name: str
    spans: tuple[Span, ...]
    pad_width_mm: float = 18.0
    allows_barre: bool = False
    higher_finger_on_higher_string: bool = True
    fingers: tuple[int, ...] = (1, 2, 3, 4)

    def span(self, lower: int, upper: int) -> Span:
        """Span of a pair of fingers, ``lower`` < ``upper``."""
        return self.spans[FINGER_PAIRS.index((lower, upper))]


@dataclass(frozen=True, slots=True)
class Limits:
    """What an edition allows. ``highest_key`` is the highest key number on any string (None: no
    limit); ``highest_position`` the most that the hand may sit above first position, in keys.
    ``held_drone`` False allows open strings only."""

    highest_key: int | None = None
    highest_position: int | None = None
    allows_crossed_stops: bool = True
    allows_barre: bool = True
    allows_shifts: bool = True
    allows_stretches: bool = True
    allows_drone: bool = True
    allows_held_drone: bool = True
    allows_substitution: bool = True
