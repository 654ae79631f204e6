"""Tables of costs: they say what the terms of each movement say, and can be kept in a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tunebook.model.hand import Limits
from tunebook.read.profile import read_hand, read_instrument
from tunebook.solve import cost_tables
from tunebook.solve.cost_tables import CostTables, Link
from tunebook.solve.kept_tables import MOST_FILES, fetch_tables, keep_tables
from tunebook.solve.movements import movement_terms
from tunebook.solve.postures import Demand, PostureSet, grain
from tunebook.solve.views import Passage, choose, view_of

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
CGCA = read_instrument("nyckelharpa-3row", "CGCA")
DEMANDS = (
    Demand((69,)),
    Demand((64,), drone=(2, 2, None)),
    Demand((71,), drone=(2, 2, None)),
    Demand((57, 64)),
    Demand((62,), drone=(3, 0, None), trill=2),
)
LINKS = (
    Link(0.15),
    Link(0.15, is_slurred=True),
    Link(1.0, is_freed=True),
    Link(0.5, is_held=True),
    Link(0.3, kept=((0, 0),)),
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
        link.is_slurred, link.is_freed, link.is_held, tuple((p, q, True) for p, q in link.kept)
    )
    terms = movement_terms(
        view_of(chosen, froms.ravel()), view_of(chosen, tos.ravel()), passage, tables.reach
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
    alone, held = Demand((69,)), Demand((64,), drone=(2, 2, None))
    assert free.postures(held) is strict.postures(held)
    a, b = free.postures(alone), free.postures(held)
    assert a is not None and b is not None
    assert (free.moves(a, b, Link(0.2)) == strict.moves(a, b, Link(0.2))).all()
    assert free.moves(b, b, Link(0.2)).max() < strict.moves(b, b, Link(0.2)).max()


def test_tables_read_back_give_the_same_costs_without_working_them_out(
    fresh, tmp_path: Path
) -> None:
    made = fresh()
    pairs = [(a, b, link) for a in sets_of(made) for b in sets_of(made) for link in LINKS]
    costs = made.all_moves(pairs)
    keep_tables(tmp_path, "1", made)
    read = fresh()
    assert fetch_tables(tmp_path, "1", read)
    again = [(a, b, link) for a in sets_of(read) for b in sets_of(read) for link in LINKS]
    found = read.all_moves(again)
    assert all((a == b).all() for a, b in zip(costs, found, strict=True))
    assert read.made == 0
    assert made.made > 0


def test_sets_made_after_reading_back_get_numbers_of_their_own(fresh, tmp_path: Path) -> None:
    made = fresh()
    sets_of(made)
    keep_tables(tmp_path, "1", made)
    read = fresh()
    assert fetch_tables(tmp_path, "1", read)
    new = read.postures(Demand((74,)))
    assert new is not None
    assert new.serial not in {postures.serial for postures in sets_of(read)}


def test_a_damaged_file_is_as_good_as_none(fresh, tmp_path: Path) -> None:
    made = fresh()
    sets_of(made)
    keep_tables(tmp_path, "1", made)
    (file,) = (tmp_path / "tables").iterdir()
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    read = fresh()
    assert not fetch_tables(tmp_path, "1", read)
    assert read.is_empty
    file.write_bytes(b"")
    assert not fetch_tables(tmp_path, "1", read)


def test_tables_of_another_instrument_hand_limit_or_version_are_left_alone(
    fresh, tmp_path: Path
) -> None:
    made = fresh()
    sets_of(made)
    keep_tables(tmp_path, "1", made)
    assert not fetch_tables(tmp_path, "2", fresh())
    assert not fetch_tables(tmp_path, "1", fresh(CGCA))
    assert not fetch_tables(tmp_path, "1", fresh(limits=Limits(highest_position=0)))
    assert fetch_tables(tmp_path, "1", fresh())


def test_tables_in_use_are_not_filled(fresh, tmp_path: Path) -> None:
    made = fresh()
    sets_of(made)
    keep_tables(tmp_path, "1", made)
    assert not fetch_tables(tmp_path, "1", made)
    with pytest.raises(ValueError, match="used already"):
        made.fill(made.contents(0))


def test_a_folder_that_is_none_or_cannot_be_written_is_no_error(fresh, tmp_path: Path) -> None:
    made = fresh()
    sets_of(made)
    (tmp_path / "file").write_text("no folder")
    keep_tables(tmp_path / "file", "1", made)
    keep_tables(None, "1", made)
    assert not fetch_tables(tmp_path / "file", "1", fresh())
    assert not fetch_tables(None, "1", fresh())


def test_only_so_many_bytes_are_kept_and_those_used_last(fresh) -> None:
    made = fresh()
    pairs = [(a, b, LINKS[0]) for a in sets_of(made) for b in sets_of(made)]
    made.all_moves(pairs)
    whole = made.contents(10**9).holds
    half = made.contents(sum(size for _, _, size in whole) // 2).holds
    assert 0 < len(half) < len(whole)
    assert [key for key, _, _ in half] == [key for key, _, _ in whole[-len(half) :]]


def test_the_oldest_files_make_room(fresh, tmp_path: Path) -> None:
    made = fresh()
    for version in range(MOST_FILES + 2):
        keep_tables(tmp_path, str(version), made)
    assert len(list((tmp_path / "tables").iterdir())) == MOST_FILES
    assert fetch_tables(tmp_path, str(MOST_FILES + 1), fresh())
    assert not fetch_tables(tmp_path, "0", fresh())
