"""What is kept between tunes serves many threads: their answers are those of one, bit for bit."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import pytest

from tunebook.model.tune import Tune
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.sources import source_of_tune
from tunebook.read.folder import read_folder
from tunebook.solve import times as whole_times
from tunebook.solve.fingering import move_tables as cost_tables
from tunebook.solve.fingering import problem
from tunebook.solve.shapes import accompaniment, shapes
from tunebook.solve.shapes import shapes as held_shapes
from tunebook.write.json import arrangements_as_json
from tunebook.write.lilypond import leaves as text_tree
from tunebook.write.midi import tune_as_midi
from tunebook.write.musicxml.score import tune_as_musicxml

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
THREADS = 8
TUNES = 8
KEPT = (
    cost_tables._store_for, cost_tables.tables_for, held_shapes.held_shapes, shapes._changes,
    shapes._movements, problem._events_of_tune, problem.order_without, whole_times._whole_times,
    accompaniment.pattern_for, text_tree.leaf_lines,
)  # fmt: skip


@pytest.fixture
def restless() -> Iterator[None]:
    """Threads change places as often as they can, and begin with nothing kept."""
    for one in KEPT:
        one.cache_clear()
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(before)


def in_threads(function: Callable[[Tune], object], tunes: tuple[Tune, ...]) -> list[object]:
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(function, tunes))


@pytest.fixture(scope="module", params=["player", "teacher"])
def setup(request: pytest.FixtureRequest) -> Setup:
    return prepare(SAMPLES, Wishes(edition=request.param))


def test_eight_threads_solve_and_write_what_one_does(restless: None, setup: Setup) -> None:
    tunes = load(setup, is_ordered=False).tunes[:TUNES]

    def solved(tune: Tune) -> tuple[object, str]:
        source = source_of_tune(tune, tune.title, setup, None)
        return source.piece, repr(source)

    together = in_threads(solved, tunes)
    assert all(piece for piece, _ in together)
    assert together == [solved(tune) for tune in tunes]


def test_a_small_store_that_drops_what_others_use_changes_no_answer(
    restless: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cost_tables, "MOST_BYTES", 60_000)
    setup = prepare(SAMPLES)
    tunes = load(setup, is_ordered=False).tunes[:TUNES]

    def solved(tune: Tune) -> str:
        return repr(arrange_tune(tune, setup))

    together = in_threads(solved, tunes)
    assert together == [solved(tune) for tune in tunes]


def test_tables_made_twice_at_once_may_be_mixed() -> None:
    setup = prepare(SAMPLES)
    one = cost_tables.CostTables(setup.instrument, setup.hand)
    cost_tables._store_for.cache_clear()
    other = cost_tables.CostTables(setup.instrument, setup.hand)
    demands = [cost_tables.Demand((midi,)) for midi in (62, 69, 74, 64)]
    # In the order of asking they would bear other numbers in the one than in the other.
    ours = [one.postures(demand) for demand in demands]
    theirs = [other.postures(demand) for demand in reversed(demands)][::-1]
    link = cost_tables.Link(0.2)
    for a, b in zip(ours, theirs[1:], strict=False):
        assert a is not None and b is not None
        assert (other.moves(a, b, link) == one.moves(a, b, link)).all()
        assert other.moves(a, b, link).shape == (len(b), len(a))


def test_who_writes_into_an_answer_changes_no_other() -> None:
    setup = prepare(SAMPLES)
    tables = cost_tables.CostTables(setup.instrument, setup.hand)
    postures = tables.postures(cost_tables.Demand((69,)))
    assert postures is not None
    link = cost_tables.Link(0.2)
    for ask in (
        lambda: tables.own_cost(postures, 1.0, 0.0, 1),
        lambda: tables.moves(postures, postures, link),
    ):
        ask()
        first = ask()
        before = first.copy()
        with suppress(ValueError):  # what cannot be written into
            first[0] = -1.0
        assert (ask() == before).all()


def test_eight_threads_read_and_export_what_one_does(restless: None) -> None:
    setup = prepare(SAMPLES)
    together = in_threads(lambda _: read_folder(SAMPLES), (None,) * THREADS)  # type: ignore[arg-type]
    alone = read_folder(SAMPLES)
    assert all(one == alone for one in together)

    def written(tune: Tune) -> tuple[object, ...]:
        arrangement = arrange_tune(tune, setup).arrangement
        assert arrangement is not None
        return (
            arrangements_as_json((arrangement,), setup.instrument),
            tune_as_midi(arrangement, parts=("melody", "drone", "chords")),
            tune_as_musicxml(arrangement),
        )

    tunes = alone.tunes[:TUNES]
    assert in_threads(written, tunes) == [written(tune) for tune in tunes]
