"""Work on several cores: order, what waits, workers that die, both ways of starting them."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import warnings
from concurrent.futures import Future, ThreadPoolExecutor

import pytest

from tunebook.errors import ProgramError
from tunebook.pipeline import workers
from tunebook.pipeline.workers import BATCHES_A_PROCESS, PIECES_A_BATCH, map_on_cores


def twice(number: int) -> tuple[int, int]:
    return 2 * number, os.getpid()


def die_at(number: int, last: int) -> int:
    if number == last:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


@pytest.mark.parametrize("platform", ["linux", "darwin"])
def test_results_come_in_order_from_other_processes(
    monkeypatch: pytest.MonkeyPatch, platform: str
) -> None:
    if platform == "linux" and sys.platform != "linux":
        pytest.skip("processes are not forked here")
    monkeypatch.setattr(workers.sys, "platform", platform)
    results = list(map_on_cores(twice, [(number,) for number in range(30)], jobs=2))
    assert [result for result, _ in results] == [2 * number for number in range(30)]
    assert os.getpid() not in {process for _, process in results}


def test_little_work_stays_in_this_process() -> None:
    assert {process for _, process in map_on_cores(twice, [(1,), (2,)], jobs=2)} == {os.getpid()}


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="processes end otherwise here")
def test_worker_that_is_killed_is_one_line() -> None:
    work = [(number, 25) for number in range(30)]
    with pytest.raises(ProgramError, match="a worker process was ended from outside"):
        list(map_on_cores(die_at, work, jobs=2))


def test_results_that_nobody_has_taken_hold_up_the_rest() -> None:
    begun: list[Future[list[int]]] = []

    class Counting(ThreadPoolExecutor):
        def submit(self, *args, **named):  # type: ignore[no-untyped-def]
            begun.append(super().submit(*args, **named))
            return begun[-1]

    most = 2 * BATCHES_A_PROCESS
    with Counting(2) as executor:
        results = workers._in_order(executor, abs, [(-n,) for n in range(400)], most)
        assert next(results) == 0
        assert len(begun) == most
        assert list(results) == list(range(1, 400))
    assert len(begun) == 400 // PIECES_A_BATCH


def fail_at(number: int, last: int) -> int:
    if number == last:
        raise KeyError(number)
    return number


def test_an_error_comes_out_where_it_belongs() -> None:
    results = map_on_cores(fail_at, [(number, 9) for number in range(30)], jobs=2)
    # Those of its batch are lost with it.
    assert [next(results) for _ in range(8)] == list(range(8))
    with pytest.raises(KeyError, match="9"):
        next(results)


def test_whoever_leaves_off_in_the_middle_leaves_no_worker() -> None:
    results = map_on_cores(twice, [(number,) for number in range(60)], jobs=2)
    assert next(results)[0] == 0
    assert len(multiprocessing.active_children()) == 2
    results.close()
    assert multiprocessing.active_children() == []


def test_no_more_workers_are_begun_than_have_work() -> None:
    work = [(number,) for number in range(9)]
    results = map_on_cores(twice, work, jobs=500)
    next(results)
    assert len(multiprocessing.active_children()) == -(-9 // PIECES_A_BATCH)
    assert [number for number, _ in results] == [2 * number for number in range(1, 9)]


def test_jobs_are_four_for_each_core_at_most() -> None:
    assert workers.count_of_jobs(500) == workers.most_jobs() == 4 * workers.count_of_jobs(None)
    assert workers.count_of_jobs(1) == 1


def test_a_run_leaves_the_state_of_its_process_alone() -> None:
    def state() -> tuple[object, ...]:
        names = ("SIGINT", "SIGTERM", "SIGHUP")
        handlers = [signal.getsignal(getattr(signal, n)) for n in names if hasattr(signal, n)]
        held = signal.pthread_sigmask(signal.SIG_BLOCK, ())
        return gc.get_threshold(), list(warnings.filters), handlers, held

    before = state()
    results = map_on_cores(twice, [(number,) for number in range(30)], jobs=2)
    next(results)
    assert state() == before
    list(results)
    assert state() == before
