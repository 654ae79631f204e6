"""The numbers that are learnt: weights of the fingering cost, as a vector within bounds.

The cost is linear in each of them while the others stay. A crossed stop has two costs, one for
each direction, instead of one and an addition, so that a player who crosses against the usual
direction is an ordinary case: when her vector is read, the cheaper direction becomes the natural
one of her hand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunebook.model.choices import InstrumentKind
from tunebook.model.hand import WEIGHT_BOUNDS, Hand, HandWeight
from tunebook.solve.weights import Weights, weights_for

Array = np.ndarray

NAMES: tuple[str, ...] = tuple(WEIGHT_BOUNDS)
"""The parameters, by the weights that they set; CROSSED and AGAINST are the two directions."""
CROSSED, AGAINST = NAMES.index("crossed"), NAMES.index("crossed_wrong_way")
CROSSED_POSTURE = NAMES.index("crossed_posture")
COUNT = len(NAMES)

DIGITS = 3
"""Learnt weights are rounded to so many decimals: what is written is what was measured."""


@dataclass(frozen=True, eq=False)
class Parameters:
    """The usual values on a kind of instrument, the least and most of each, and how far each may
    go for one unit of the pull back; all of shape (COUNT,)."""

    kind: InstrumentKind
    usual: Array
    least: Array
    most: Array
    scale: Array


SHARE_OF_RANGE = 6.0
"""A weight that has gone this part of its range has gone one unit away from the usual."""


def parameters_for(kind: InstrumentKind) -> Parameters:
    """The parameters for an instrument of this kind."""
    least = np.array([WEIGHT_BOUNDS[name][0] for name in NAMES])
    most = np.array([WEIGHT_BOUNDS[name][1] for name in NAMES])
    most[AGAINST] += most[CROSSED]
    return Parameters(
        kind=kind,
        usual=to_vector(weights_for(kind)),
        least=least,
        most=most,
        scale=(most - least) / SHARE_OF_RANGE,
    )


def to_vector(weights: Weights) -> Array:
    """The parameters that give these weights."""
    vector = np.array([getattr(weights, name) for name in NAMES])
    vector[AGAINST] += vector[CROSSED]
    return vector


def product(table: Array, vector: Array) -> Array:
    """``table`` times ``vector``. Always added up in one order on one thread, so that the last
    digit is the same in every run."""
    return np.asarray(np.einsum("ij,j->i", table, vector))


def to_directions(rates: Array) -> Array:
    """What each parameter counts, given what each weight counts: the last axis is NAMES."""
    counted = rates.copy()
    counted[..., CROSSED] -= rates[..., AGAINST]
    return counted


def hand_with(hand: Hand, vector: Array, parameters: Parameters) -> Hand:
    """The hand with these parameters for its weights; those that are the usual ones are left out.
    Where crossing against the hand's direction is cheaper, the direction is turned round."""
    own = np.clip(np.round(vector, DIGITS), parameters.least, parameters.most)
    crossed, against = float(own[CROSSED]), float(own[AGAINST])
    if against < crossed:
        hand = replace(hand, higher_finger_on_higher_string=not hand.higher_finger_on_higher_string)
        own[CROSSED_POSTURE] = max(0.0, own[CROSSED_POSTURE] + against - crossed)
        crossed, against = against, crossed
    own[CROSSED], own[AGAINST] = crossed, min(against - crossed, WEIGHT_BOUNDS[NAMES[AGAINST]][1])
    usual = weights_for(parameters.kind)
    others = [one for one in hand.weights if one.kind != parameters.kind]
    mine = [
        HandWeight(parameters.kind, name, round(float(value), DIGITS))
        for name, value in zip(NAMES, own, strict=True)
        if abs(value - getattr(usual, name)) > 0.5 * 10.0**-DIGITS
    ]
    return replace(hand, weights=tuple(sorted([*others, *mine], key=_order)))


def _order(one: HandWeight) -> tuple[str, str]:
    return one.kind, one.name
