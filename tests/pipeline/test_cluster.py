"""The same work on a real local Dask scheduler with two workers."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.errors import ProgramError
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.load import prepare
from tunebook.pipeline.workers import map_on_cores

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"

distributed = pytest.importorskip(
    "distributed", reason="the optional extra tunebook[cluster] is not installed"
)


def test_workers_of_several_threads_give_the_same_table_as_this_machine() -> None:
    setup = prepare(SAMPLES)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=3, processes=True, dashboard_address=None
    ) as cluster:
        far = check_folder(setup, scheduler=cluster.scheduler_address)
    assert far.left_out == ()
    assert far.rows == check_folder(setup, jobs=1).rows


def test_no_scheduler_at_the_address_is_one_line() -> None:
    with pytest.raises(ProgramError, match="no Dask scheduler answers at nowhere:1"):
        list(map_on_cores(abs, [(1,)], jobs=1, scheduler="nowhere:1"))
