"""The same work on all cores of this machine or on a Dask cluster, results in order.

Where processes can be forked safely (Linux), workers begin with everything that this process has
already imported and worked out; elsewhere they are started anew.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import signal
import sys
import threading
import time
import warnings
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from typing import Any, TypeVar

from tunebook.errors import EXIT_INTERRUPTED, ProgramError

LEAST_WORK_FOR_WORKERS = 8
PIECES_A_BATCH = 4
# Enough for each process to have work at hand, few enough that results do not pile up.
BATCHES_A_PROCESS = 3
CLUSTER_TIMEOUT_S = 30
# For one batch, which takes seconds even where tunes are long.
LONGEST_WAIT_S = 900
# For a worker that has nothing more to do to end by itself.
_FAREWELL_S = 5.0

Result = TypeVar("Result")
Work = Sequence[tuple[Any, ...]]


def count_of_jobs(jobs: int | None) -> int:
    """Return the number of worker processes: as asked, else one for each usable core."""
    if jobs is not None and jobs > 0:
        return jobs
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
        with _stopping_at_once():
            workers = _local_workers(jobs)
            try:
                yield from _in_order(workers, function, work, jobs * BATCHES_A_PROCESS)
            except BrokenProcessPool:
                raise ProgramError(
                    "a worker process was ended from outside, perhaps for want of memory",
                    "give --jobs 1, or build fewer tunes at a time",
                ) from None
            finally:
                _dismiss(workers)


def _in_order(
    executor: Executor, function: Callable[..., Result], work: Work, most_waiting: int
) -> Iterator[Result]:
    """Yield results in order while no more than ``most_waiting`` batches are under way."""
    waiting: deque[Future[list[Result]]] = deque()
    for start in range(0, len(work), PIECES_A_BATCH):
        batch = work[start : start + PIECES_A_BATCH]
        with _interrupts_held_back():
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
    raise ProgramError(
        f"a worker process has not answered for {LONGEST_WAIT_S} s",
        "see whether it was stopped from outside, or give --jobs 1",
    )


def _each(function: Callable[..., Result], batch: Work) -> list[Result]:
    return [function(*arguments) for arguments in batch]


def _local_workers(jobs: int) -> Executor:
    if sys.platform == "linux" and hasattr(os, "fork"):
        # Newer versions of Python warn of forking beside threads; ours only draw or wait.
        warnings.filterwarnings("ignore", category=DeprecationWarning, message=".*fork")
        context = multiprocessing.get_context("fork")
        return ProcessPoolExecutor(jobs, mp_context=context, initializer=_end_with_parent)
    from loky import get_reusable_executor

    return get_reusable_executor(max_workers=jobs)


def _dismiss(workers: Any) -> None:
    """End the workers: their memory is wanted by the engraver."""
    if isinstance(workers, ProcessPoolExecutor):
        processes = list((workers._processes or {}).values())
        workers.shutdown(wait=False, cancel_futures=True)
        _see_off(processes)
    else:
        warnings.simplefilter("ignore")  # loky's remark that its workers are gone
        workers.shutdown(wait=False, kill_workers=True)


def _see_off(processes: list[Any]) -> None:
    """Wait for workers to end, and kill those that don't: one that is stopped would be waited for
    when the program ends."""
    until = time.monotonic() + _FAREWELL_S
    staying = {process.sentinel: process for process in processes}
    while staying and (left := until - time.monotonic()) > 0:
        for sentinel in multiprocessing.connection.wait(list(staying), timeout=left):
            del staying[sentinel]
    for process in staying.values():
        with suppress(OSError, ValueError):
            process.kill()


def _end_with_parent() -> None:
    """Ask Linux to end this worker when the program that started it is killed (prctl(2))."""
    import ctypes

    if sys.platform == "win32":
        return
    set_parent_death_signal = 1
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGKILL)


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Processes started meanwhile never heed Ctrl-C: this one hears it and ends them in order.

    A new process inherits which signals are held back. Here they are heard afterwards.
    """
    if sys.platform == "win32" or not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _stopping_at_once() -> Iterator[None]:
    """While workers solve, Ctrl-C ends them and this process at once: nothing is half written yet,
    and the pool's own way of closing may wait for workers that are only starting."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(*_: object) -> None:
        end_workers()
        print("stopped; nothing was overwritten", file=sys.stderr, flush=True)
        os._exit(EXIT_INTERRUPTED)

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def end_workers() -> None:
    """End the worker processes at once, if any are left."""
    for process in multiprocessing.active_children():
        with suppress(OSError, ValueError):
            process.kill()


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
    except (OSError, ValueError) as error:
        raise ProgramError(
            f"no Dask scheduler answers at {scheduler} ({error})", "check the address"
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
