"""The same work on all cores of this machine or on a Dask cluster, results in order.

Where processes can be forked safely (Linux), workers begin with everything that this process has
already imported and worked out; elsewhere they are started anew.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, wait
from typing import Any, TypeVar

from tunebook.errors import ProgramError
from tunebook.pipeline.workers import Workers, silent_worker

LEAST_WORK_FOR_WORKERS = 8
PIECES_A_BATCH = 4
# Enough for each process to have work at hand, few enough that results do not pile up.
BATCHES_A_PROCESS = 3
CLUSTER_TIMEOUT_S = 30
# For one batch, which takes seconds even where tunes are long.
LONGEST_WAIT_S = 900
# More processes than this for each core only get in each other's way.
MOST_JOBS_A_CORE = 4

Result = TypeVar("Result")
Work = Sequence[tuple[Any, ...]]


def count_of_jobs(jobs: int | None) -> int:
    """Return the number of worker processes: as asked, but no more than ``most_jobs``; else one
    for each usable core."""
    return _cores() if jobs is None or jobs <= 0 else min(jobs, most_jobs())


def most_jobs() -> int:
    """The most processes that are started on this machine."""
    return MOST_JOBS_A_CORE * _cores()


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def map_on_cores(
    function: Callable[..., Result],
    work: Work,
    *,
    jobs: int,
    scheduler: str | None = None,
) -> Iterator[Result]:
    """Yield ``function(*arguments)`` for each of ``work``, in order, as results come in.

    A few pieces of work are done in this process: starting workers would take longer.
    Raises ProgramError when no Dask scheduler answers at ``scheduler``, or when a worker dies.
    """
    if scheduler is not None:
        yield from _map_on_cluster(function, work, scheduler)
    elif jobs <= 1 or len(work) < LEAST_WORK_FOR_WORKERS:
        for arguments in work:
            yield function(*arguments)
    else:
        count = min(jobs, -(-len(work) // PIECES_A_BATCH))
        with Workers(count, LONGEST_WAIT_S) as workers:
            yield from workers.map(
                function, work, a_batch=PIECES_A_BATCH, most_waiting=count * BATCHES_A_PROCESS
            )


def _in_order(
    executor: Executor, function: Callable[..., Result], work: Work, most_waiting: int
) -> Iterator[Result]:
    """Yield results in order while no more than ``most_waiting`` batches are under way."""
    waiting: deque[Future[list[Result]]] = deque()
    for start in range(0, len(work), PIECES_A_BATCH):
        batch = work[start : start + PIECES_A_BATCH]
        waiting.append(executor.submit(_each, function, batch))
        if len(waiting) >= most_waiting:
            yield from _answer(waiting.popleft())
    while waiting:
        yield from _answer(waiting.popleft())


def _answer(future: Future[list[Result]]) -> list[Result]:
    """The results of a batch. Raises ProgramError when they do not come: a worker may have been
    stopped from outside. Time in which this program is stopped too does not count."""
    for _ in range(LONGEST_WAIT_S):
        done, _ = wait([future], timeout=1.0)
        if done:
            return future.result()
    raise silent_worker(LONGEST_WAIT_S)


def _each(function: Callable[..., Result], batch: Work) -> list[Result]:
    return [function(*arguments) for arguments in batch]


def _map_on_cluster(
    function: Callable[..., Result], work: Work, scheduler: str
) -> Iterator[Result]:
    try:
        from distributed import Client
    except ImportError:
        raise ProgramError(
            "a Dask scheduler wants another package", "pip install 'tunebook[cluster]'"
        ) from None
    try:
        client = Client(scheduler, timeout="10s")
    except Exception as error:  # each kind of address has its own way to fail
        reason = str(error) or type(error).__name__
        raise ProgramError(
            f"no Dask scheduler answers at {scheduler} ({reason})", "check the address"
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=CLUSTER_TIMEOUT_S)
        except TimeoutError:
            raise ProgramError(
                f"the Dask scheduler at {scheduler} has no workers", "start some there"
            ) from None
        cores = sum(client.nthreads().values())
        executor = client.get_executor()
        yield from _in_order(executor, function, work, cores * BATCHES_A_PROCESS)
