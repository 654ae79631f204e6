"""Which finger trills: the one that lies best on the tone above, while the others hold still.

The upper tone is that of the key signature, a key or two (at most three) up the same string. A
finger can trill that is higher than the one below it, presses nothing else, and can be on that key
where the hand lies, within the practical span of the finger below. Of those the one with the least
stretch, squeeze and weakness is taken, or the one that the tune asks for, which costs no more.
Where there is none, the search pays for it, and nothing is printed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tunebook.solve.fingering.postures import Bound, Reach, Slot


def trill_finger(
    reach: Reach,
    pressed: Sequence[Slot],
    trill: tuple[Slot, int],
    hand: int,
    wish: int | None = None,
) -> int:
    """The finger that trills; 0 where none can. ``trill`` is the tone below and the semitones up
    from it, ``pressed`` all that the hand presses, ``hand`` the place of the hand. A finger that is
    wished for does, if it can."""
    strains = _strains(reach, pressed, trill, hand)
    if wish in strains:
        return wish
    return min(strains, key=lambda finger: (strains[finger], finger), default=0)


def trill_cost(reach: Reach, pressed: Sequence[Slot], trill: tuple[Slot, int], hand: int) -> float:
    """What the search pays for the trill: nothing where a strong finger can do it."""
    fingers = _strains(reach, pressed, trill, hand)
    if not fingers:
        return reach.weights.trill_bound
    return reach.weights.trill_little_finger if min(fingers) == 4 else 0.0


def _strains(
    reach: Reach, pressed: Sequence[Slot], trill: tuple[Slot, int], hand: int
) -> dict[int, float]:
    """The fingers that can trill, each with what it costs the hand."""
    below, semitones = trill
    key = below.key + semitones
    if key > reach.instrument.string(below.string).key_count:
        return {}
    used = {slot.finger for slot in pressed}
    strains = {}
    for finger in reach.hand.fingers:
        if finger <= below.finger or finger in used:
            continue
        upper = Slot(below.string, key, finger)
        stretch, squeeze, _ = reach.leans(upper)[hand]
        strain = stretch + squeeze + _span_strain(reach, below, upper)
        if strain < math.inf:
            strains[finger] = strain + (reach.weights.trill_little_finger if finger == 4 else 0.0)
    return strains


def _span_strain(reach: Reach, below: Slot, upper: Slot) -> float:
    """Cost of the span between the two fingers of the trill. Keys so near the bridge that fingers
    touch are no hindrance on one string."""
    if not below.finger:
        return 0.0
    units, _ = reach.distance(below, upper)
    least = reach.spans[below.finger, upper.finger, Bound.MIN_PRACTICAL]
    return sum(reach.span_cost(below.finger, upper.finger, max(units, least)))
