"""Source: Huron 1994, Music Perception 11(3), 289-305, index of dyadic consonance by interval class
(figures from memory), and its order: perfect intervals, imperfect consonances, then dissonances."""

from __future__ import annotations

import pytest

from tunebook.solve.drones.consonance import consonance_table

PUBLISHED = {1: -1.428, 2: -0.582, 3: 0.594, 4: 0.386, 5: 1.240, 6: -0.453}


@pytest.mark.parametrize("interval_class, index", PUBLISHED.items())
def test_table_equals_its_source(interval_class: int, index: float) -> None:
    assert consonance_table().by_class[interval_class] == index


def test_perfect_before_imperfect_before_dissonant() -> None:
    index = consonance_table().by_class
    assert index[5] > index[3] > index[4] > index[6] > index[2] > index[1]
