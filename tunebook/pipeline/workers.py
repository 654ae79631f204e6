"""The same work on all cores of this machine or on a Dask cluster, results in order.

On this machine the workers are processes of our own that work off what they are sent, and never
outlive who sent it. Each has a pipe of its own and one batch at a time; this process alone decides
who gets what, so there are no threads, no shared queues and no locks that a worker could take to
its grave. Leaving the ``with`` block ends all of them, at whatever point; a worker whose pipe
closes, because the program was killed, ends itself.

Where processes can be forked safely (Linux), workers begin with everything that this process has
already imported and worked out; elsewhere they are started anew.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
import traceback
import warnings
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures import wait as wait_for_futures
from contextlib import contextmanager, suppress
from multiprocessing.connection import wait
from typing import Any, TypeVar

from tunebook.errors import ProgramError

LEAST_WORK_FOR_WORKERS = 8
PIECES_A_BATCH = 4
# Enough for each process to have work at hand, few enough that results do not pile up.
BATCHES_A_PROCESS = 3
CLUSTER_TIMEOUT_S = 30
# For one batch, which takes seconds even where tunes are long.
LONGEST_WAIT_S = 900
# More processes than this for each core only get in each other's way.
MOST_JOBS_A_CORE = 4
# How often it is looked whether a worker that says nothing is alive.
_LOOK_S = 1.0

Connection = Any  # of another class on each system
Result = TypeVar("Result")
Work = Sequence[tuple[Any, ...]]

# A process forked by another thread must not inherit the ends of half-made pipes.
_starting = threading.Lock()


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
        done, _ = wait_for_futures([future], timeout=1.0)
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


class Workers:
    """``count`` processes, from the beginning to the end of a ``with`` block; ``longest_wait_s``
    is for one batch, in which time while this program itself is stopped does not count."""

    def __init__(self, count: int, longest_wait_s: int) -> None:
        self._count = count
        self._longest_wait_s = longest_wait_s
        self._silent_s = 0.0
        self._processes: dict[Connection, Any] = {}
        self._busy: dict[Connection, int] = {}

    def __enter__(self) -> Workers:
        try:
            with _starting, _signals_held_back(), warnings.catch_warnings():
                # Newer versions of Python warn of forking beside threads; ours draw or wait.
                warnings.filterwarnings("ignore", category=DeprecationWarning, message=".*fork")
                for _ in range(self._count):
                    self._start()
        except BaseException:
            self.__exit__()
            raise
        return self

    def _start(self) -> None:
        is_forked = can_fork()
        context: Any = multiprocessing.get_context("fork" if is_forked else "spawn")
        ours, theirs = context.Pipe()
        # A forked process has our ends of all pipes: while it holds them, none is ever closed.
        not_its = [*self._processes, ours] if is_forked else []
        # The system's word of a parent's death is of the thread that forked, which must be lasting.
        is_lasting = is_forked and threading.current_thread() is threading.main_thread()
        parent = os.getpid() if is_lasting else None
        process = context.Process(
            target=_serve, args=(theirs, not_its, gc.get_threshold(), parent), daemon=True
        )
        self._processes[ours] = process
        process.start()
        theirs.close()

    def __exit__(self, *_: object) -> None:
        """End them: they have nothing to clear up, and the engraver wants their memory."""
        with _signals_held_back():
            for process in self._processes.values():
                with suppress(OSError, ValueError, AttributeError):
                    process.kill()
            for connection, process in self._processes.items():
                connection.close()
                if process.pid is not None:
                    process.join()
                    process.close()
            self._processes.clear()

    def map(
        self, function: Callable[..., Result], work: Work, *, a_batch: int, most_waiting: int
    ) -> Iterator[Result]:
        """Yield ``function(*arguments)`` for each of ``work``, in order, while no more than
        ``most_waiting`` batches of ``a_batch`` are begun and not yet taken.

        Raises ProgramError when a worker dies, and what ``function`` raises.
        """
        batches = [work[start : start + a_batch] for start in range(0, len(work), a_batch)]
        waiting = deque(enumerate(batches))
        done: dict[int, tuple[bool, Any]] = {}
        for number in range(len(batches)):
            while number not in done:
                self._hand_out(function, waiting, number + most_waiting)
                self._take(done, _LOOK_S)
            is_well, answer = done.pop(number)
            if not is_well:
                raise answer
            for result in answer:
                yield result
                # Nobody idles while the one who asked is busy with a result.
                self._hand_out(function, waiting, number + most_waiting)
                self._take(done, 0.0)

    def _hand_out(
        self, function: Callable[..., Any], waiting: deque[tuple[int, Work]], end: int
    ) -> None:
        for connection in self._processes:
            if connection not in self._busy and waiting and waiting[0][0] < end:
                number, batch = waiting.popleft()
                self._busy[connection] = number
                try:
                    connection.send((function, batch))
                except OSError:
                    raise _worker_is_gone() from None

    def _take(self, done: dict[int, tuple[bool, Any]], time_s: float) -> None:
        ready: list[Any] = wait(list(self._busy), time_s)
        for connection in ready:
            try:
                answer = connection.recv()
            except (EOFError, OSError):
                raise _worker_is_gone() from None
            done[self._busy.pop(connection)] = answer
        self._silent_s = 0.0 if ready else self._silent_s + time_s
        if self._silent_s >= self._longest_wait_s:
            raise silent_worker(self._longest_wait_s)
        if time_s and not ready:
            for connection in self._busy:
                if not self._processes[connection].is_alive() and not connection.poll():
                    raise _worker_is_gone()


def can_fork() -> bool:
    """Whether processes are forked here, and so begin with all that this one has imported."""
    return sys.platform == "linux" and hasattr(os, "fork")


def silent_worker(wait_s: int) -> ProgramError:
    """The error for a worker that was perhaps stopped from outside."""
    return ProgramError(
        f"a worker process has not answered for {wait_s} s",
        "see whether it was stopped from outside, or give --jobs 1",
    )


def _worker_is_gone() -> ProgramError:
    return ProgramError(
        "a worker process was ended from outside, perhaps for want of memory",
        "give --jobs 1, or build fewer tunes at a time",
    )


def _serve(
    connection: Connection,
    not_its: Sequence[Connection],
    thresholds: tuple[int, ...],
    parent: int | None,
) -> None:
    """A worker's life: answer what is sent until nobody sends any more."""
    for other in not_its:
        other.close()
    _leave_stopping_to(parent)
    gc.set_threshold(*thresholds)
    while True:
        try:
            function, batch = connection.recv()
        except (EOFError, OSError):
            return
        try:
            answer: tuple[bool, Any] = True, [function(*arguments) for arguments in batch]
        except Exception as error:
            error.add_note("".join(traceback.format_exception(error)))
            answer = False, error
        try:
            connection.send(answer)
        except OSError:
            return
        except Exception as error:  # what cannot be sent
            connection.send((False, RuntimeError(f"{type(error).__name__}: {error}")))


def _leave_stopping_to(parent: int | None) -> None:
    """Signals that stop the program are the parent's to answer; it ends this worker. On Linux the
    worker is ended also when the parent is killed in the middle of a batch (prctl(2))."""
    for name in ("SIGINT", "SIGHUP"):
        with suppress(AttributeError, ValueError):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if sys.platform != "win32" and hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_SETMASK, ())
    if sys.platform == "linux" and parent is not None:
        import ctypes

        set_parent_death_signal = 1
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGKILL)
        if os.getppid() != parent:  # it was too late for that
            os.kill(os.getpid(), signal.SIGKILL)


@contextmanager
def _signals_held_back() -> Iterator[None]:
    """Signals that stop the program are heard afterwards: no process may be lost sight of."""
    if sys.platform == "win32" or not hasattr(signal, "pthread_sigmask"):
        yield
        return
    stopping = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, stopping)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
