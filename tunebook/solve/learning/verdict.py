"""Whether learning has helped: agreement before and after on tunes not learnt from, how sure that
is, and about how many tunes would be needed.

The interval is found by drawing as many tunes again and again from those there are (the bootstrap:
Efron, Annals of Statistics 7, 1979), a tune with all its notes, since notes of one tune are alike.
The chance is the same in every run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tunebook.solve.learning.marks import Agreement, added
from tunebook.solve.learning.study import Measured

DRAWS = 4000
SURE = (2.5, 97.5)
ALIKE = 0.98
"""From this agreement on the program fingers as she does."""
MOST_NEEDED = 1000


@dataclass(frozen=True)
class Verdict:
    """Agreement before and after, all tunes together; by how much the share of marked notes that
    agree rises at the least and at the most (95 %), and the interval of that share afterwards;
    ``needed`` is about how many tunes would show so small a gain (None where that cannot be said).
    """

    before: Agreement
    after: Agreement
    least_gain: float
    most_gain: float
    after_range: tuple[float, float]
    needed: int | None

    @property
    def is_better(self) -> bool:
        """Whether it is better beyond that interval."""
        return self.least_gain > 0.0

    @property
    def is_alike(self) -> bool:
        """Whether there is nothing to learn."""
        return not self.is_better and self.before.share >= ALIKE


def verdict(measured: Sequence[Measured]) -> Verdict:
    """What the tunes say together."""
    before = np.array([one.before.both for one in measured], dtype=float)
    after = np.array([one.after.both for one in measured], dtype=float)
    marked = np.array([one.after.of_both for one in measured], dtype=float)
    count = len(measured)
    drawn = np.random.default_rng(1).integers(0, count, (DRAWS, count))
    of = np.maximum(1.0, marked[drawn].sum(axis=1))
    gains = (after - before)[drawn].sum(axis=1) / of
    shares = after[drawn].sum(axis=1) / of
    least, most = (float(edge) for edge in np.percentile(gains, SURE))
    low, high = (float(edge) for edge in np.percentile(shares, SURE))
    gain = float((after - before).sum() / max(1.0, marked.sum()))
    return Verdict(
        before=added(one.before for one in measured),
        after=added(one.after for one in measured),
        least_gain=least,
        most_gain=most,
        after_range=(low, high),
        needed=_needed(count, gain, least),
    )


def _needed(count: int, gain: float, least: float) -> int | None:
    """About how many tunes would bring the gain out of its interval, which narrows with the root
    of their number."""
    if gain <= 0.0 or least > 0.0:
        return None
    needed = math.ceil(count * ((gain - least) / gain) ** 2)
    return needed if needed <= MOST_NEEDED else None
