"""The hand: spans between fingers, what it may do, and the limits of an edition."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tunebook.model.choices import InstrumentKind

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

    def stretched(self, relaxed: float, comfortable: float, practical: float) -> Span:
        """The span with its upper bounds by these factors, none below the one before it."""
        most_relaxed = max(self.min_relaxed_mm, self.max_relaxed_mm * relaxed)
        most_comfortable = max(most_relaxed, self.max_comfortable_mm * comfortable)
        most_practical = max(most_comfortable, self.max_practical_mm * practical)
        return replace(
            self,
            max_relaxed_mm=most_relaxed,
            max_comfortable_mm=most_comfortable,
            max_practical_mm=most_practical,
        )


WEIGHT_BOUNDS: dict[str, tuple[float, float]] = {
    "stop": (0.0, 2.0),
    "open_string": (0.0, 3.0),
    "little_finger": (0.0, 5.0),
    "stretch": (0.1, 4.0),
    "squeeze": (0.0, 4.0),
    "lean": (0.0, 3.0),
    "level": (0.0, 4.0),
    "crossed_posture": (0.0, 6.0),
    "crossed_wrong_way": (0.0, 8.0),
    "reversed_posture": (0.5, 12.0),
    "barre": (0.0, 40.0),
    "above_home": (0.0, 6.0),
    "below_home": (0.0, 6.0),
    "high_key": (0.0, 4.0),
    "past_next": (0.0, 8.0),
    "trill_bound": (0.5, 10.0),
    "trill_little_finger": (0.0, 4.0),
    "shift": (0.1, 8.0),
    "shift_speed": (0.0, 4.0),
    "shift_turning": (0.0, 6.0),
    "passing": (0.0, 6.0),
    "passing_in_place": (2.0, 24.0),
    "slide": (0.1, 8.0),
    "slide_speed": (0.0, 8.0),
    "jump": (0.0, 5.0),
    "jump_speed": (0.0, 15.0),
    "jump_slurred": (0.0, 6.0),
    "crossed": (0.0, 6.0),
    "sequence_reach": (0.5, 10.0),
    "weak_neighbours": (0.0, 3.0),
    "weak_neighbours_speed": (0.0, 0.5),
    "substitution": (0.2, 8.0),
    "substitution_restruck": (0.1, 8.0),
    "substitution_speed": (0.0, 1.0),
    "string_change": (0.0, 4.0),
    "string_skip": (0.0, 5.0),
    "string_change_slurred": (0.0, 4.0),
}
"""The weights of the fingering cost that a player's hand may have for its own, and the least and
most of each. Within these a weight keeps its meaning: what it prices is never welcome, and nothing
costs more than what must not be. All are our judgement."""

OWN_SPAN_BOUNDS_MM = (5.0, 250.0)
SPAN_FACTOR_BOUNDS = (0.7, 1.5)
"""Of a player's own upper spans, by those of the named size."""


@dataclass(frozen=True, slots=True)
class HandWeight:
    """A weight of the fingering cost that a player has for her own on instruments of a kind."""

    kind: InstrumentKind
    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Hand:
    """A left hand. ``spans`` is parallel to FINGER_PAIRS. ``pad_width_mm`` is how wide one finger
    can lie flat (a barre needs both keys within it). ``higher_finger_on_higher_string`` is the
    natural direction of a crossed stop. ``fingers`` lists those in use. ``weights`` are those of
    the cost that are the player's own, the usual ones left out."""

    name: str
    spans: tuple[Span, ...]
    pad_width_mm: float = 18.0
    allows_barre: bool = False
    higher_finger_on_higher_string: bool = True
    fingers: tuple[int, ...] = (1, 2, 3, 4)
    weights: tuple[HandWeight, ...] = ()

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
