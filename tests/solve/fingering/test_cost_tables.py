"""Tables of costs: they say what the terms of each movement say, and can be kept in a file."""

from __future__ import annotations

import numpy as np
import pytest

from tunebook.model.hand import Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering import move_tables as cost_tables
from tunebook.solve.fingering.move_tables import CostTables, Link
from tunebook.solve.fingering.moves import Passage, choose, hands_of, movement_terms
from tunebook.solve.fingering.postures import Demand, HeldDrone, PostureSet, grain

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
CGCA = read_instrument("nyckelharpa-3row", "CGCA")
DEMANDS = (
    Demand((69,)),
    Demand((64,), drone=HeldDrone(2, 2)),
    Demand((71,), drone=HeldDrone(2, 2)),
    Demand((57, 64)),
    Demand((62,), drone=HeldDrone(3, 0), trill=2),
)
LINKS = (
    Link(0.15),
    Link(0.15, is_slurred=True),
    Link(1.0, is_freed=True),
    Link(0.5, is_held=True),
    Link(0.3, kept=((0, 0),)),
    Link(0.15, is_turning=True),
)
STRICT = Limits(
    allows_substitution=False, allows_shifts=False, allows_crossed_stops=False, highest_position=0
)


@pytest.fixture
def fresh(monkeypatch: pytest.MonkeyPatch):
    """Makes tables that share nothing with those made before."""

    def make(instrument=CGDA, limits: Limits | None = None) -> CostTables:
        cost_tables._store_for.cache_clear()
        return CostTables(instrument, read_hand(), limits)

    yield make
    cost_tables._store_for.cache_clear()


def sets_of(tables: CostTables) -> list[PostureSet]:
    found = [tables.postures(demand) for demand in DEMANDS]
    assert all(found)
    return [postures for postures in found if postures is not None]


def cell_by_cell(tables: CostTables, a: PostureSet, b: PostureSet, link: Link) -> np.ndarray:
    """The table (b, a) from the terms of every single movement."""
    froms, tos = np.meshgrid(range(len(a)), range(len(a), len(a) + len(b)), indexing="ij")
    chosen = choose([a] * len(a) + [b] * len(b), [*range(len(a)), *range(len(b))])
    passage = Passage(
        link.is_slurred,
        link.is_freed,
        link.is_held,
        tuple((p, q, True) for p, q in link.kept),
        link.is_turning,
    )
    terms = movement_terms(
        hands_of(chosen, froms.ravel()), hands_of(chosen, tos.ravel()), passage, tables.reach
    )
    costs = sum((a + b / link.time_s for a, b in terms.values()), np.zeros(froms.size))
    return grain(costs.reshape(froms.shape)).T


@pytest.mark.parametrize("limits", [Limits(), STRICT, Limits(allows_substitution=False)])
@pytest.mark.parametrize("link", LINKS, ids=str)
def test_a_table_says_what_the_terms_of_each_movement_say(
    fresh, limits: Limits, link: Link
) -> None:
    tables = fresh(limits=limits)
    pairs = [(a, b, link) for a in sets_of(tables) for b in sets_of(tables)]
    for (a, b, _), costs in zip(pairs, tables.all_moves(pairs), strict=True):
        assert (costs == cell_by_cell(tables, a, b, link)).all()


def test_a_table_asked_for_again_is_the_same_to_the_last_digit(fresh) -> None:
    tables = fresh()
    pairs = [(a, b, link) for a in sets_of(tables) for b in sets_of(tables) for link in LINKS]
    first, again = tables.all_moves(pairs), tables.all_moves(pairs)
    assert all((a == b).all() and a.dtype == b.dtype for a, b in zip(first, again, strict=True))
    assert max(costs.max() for costs in first) > 4096  # a tied tone that would have to move


def test_limits_on_substitution_share_what_they_have_in_common(fresh) -> None:
    free = fresh()
    strict = CostTables(CGDA, read_hand(), Limits(allows_substitution=False))
    alone, held = Demand((69,)), Demand((64,), drone=HeldDrone(2, 2))
    assert free.postures(held) is strict.postures(held)
    a, b = free.postures(alone), free.postures(held)
    assert a is not None and b is not None
    assert (free.moves(a, b, Link(0.2)) == strict.moves(a, b, Link(0.2))).all()
    assert free.moves(b, b, Link(0.2)).max() < strict.moves(b, b, Link(0.2)).max()
