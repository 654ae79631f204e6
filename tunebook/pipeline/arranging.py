"""Read and solve: from a folder to one outcome a tune, on all cores, never stopped by one tune."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import Any, TypeVar

from tunebook.errors import EXIT_INTERRUPTED, Message, ProgramError, TunebookError
from tunebook.model.arrangement import Arrangement, TuneOutcome
from tunebook.model.tune import Tune
from tunebook.pipeline.ordering import tune_identity
from tunebook.pipeline.setup import Setup
from tunebook.read.choices import apply_choice
from tunebook.read.grace_notes import without_grace_notes
from tunebook.solve.transpose import transpose_tune

LEAST_WORK_FOR_WORKERS = 8

# Solving and writing make many small values that are all dropped together; looking for garbage
# among them as often as usual costs a fifth of the time.
GARBAGE_THRESHOLD = 100_000

Result = TypeVar("Result")
Progress = Callable[[str, str, int, int], None]
"""Called with the stage's name, the tune's title, how many are done, and of how many."""


def no_progress(stage: str, name: str, done: int, total: int) -> None:
    """Say nothing."""


def count_of_jobs(jobs: int | None) -> int:
    """Return the number of worker processes: as asked, else one for each usable core."""
    if jobs is not None and jobs > 0:
        return jobs
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def prepare_tune(tune: Tune, setup: Setup) -> tuple[Tune, tuple[Message, ...]]:
    """Return the tune as the edition and book.toml want it: transposed, pinned, plain."""
    choice = setup.book.choice(tune_identity(tune))
    if choice is not None and choice.transpose:
        tune = transpose_tune(tune, choice.transpose)
    tune, messages = apply_choice(tune, choice)
    if not setup.edition.shows_grace_notes:
        tune = without_grace_notes(tune)
    return tune, messages


def arrange_tune(tune: Tune, setup: Setup) -> TuneOutcome:
    """Solve one tune. A tune that cannot be arranged gives an outcome with the reason."""
    from tunebook.solve.arrange import arrange

    gc.set_threshold(GARBAGE_THRESHOLD)
    try:
        prepared, messages = prepare_tune(tune, setup)
        arrangement = arrange(
            prepared,
            setup.instrument,
            setup.hand,
            setup.edition.limits,
            choice=setup.book.choice(tune_identity(tune)),
            drones=setup.edition.drones,
            chords=setup.edition.chords,
            shapes=setup.edition.shows_shapes,
            accompaniment=setup.edition.shows_accompaniment,
            alternatives=1 if setup.edition.shows_notes_on_choices else 0,
        )
    except TunebookError as error:
        return _left_out(tune, error.what, error.remedy)
    except Exception as error:  # one tune must never stop a book of a hundred
        what = f"{tune.title!r} could not be arranged ({type(error).__name__}: {error})"
        return _left_out(tune, what, "left out; please report it with the tune")
    return TuneOutcome(tune, arrangement, messages)


def _left_out(tune: Tune, what: str, remedy: str) -> TuneOutcome:
    message = Message(tune.place, "arranging", what, remedy or "left out", is_fatal=True)
    return TuneOutcome(tune, None, (message,))


def arrange_tunes(
    tunes: Iterable[Tune],
    setup: Setup,
    *,
    jobs: int = 1,
    scheduler: str | None = None,
    on_progress: Progress = no_progress,
) -> Iterator[TuneOutcome]:
    """Yield one outcome a tune, in order, solved by ``jobs`` processes or a Dask scheduler."""
    tunes = tuple(tunes)
    bare = replace(setup, messages=())
    work = [(tune, bare) for tune in tunes]
    outcomes = map_on_cores(arrange_tune, work, jobs=jobs, scheduler=scheduler)
    for done, outcome in enumerate(outcomes, start=1):
        on_progress("arranging", outcome.tune.title if outcome.tune else "", done, len(tunes))
        yield outcome


def map_on_cores(
    function: Callable[..., Result],
    work: Sequence[tuple[Any, ...]],
    *,
    jobs: int,
    scheduler: str | None = None,
) -> Iterator[Result]:
    """Yield ``function(*arguments)`` for each of ``work``, in order.

    A few pieces of work are done in this process: starting workers would take longer.
    """
    if scheduler is not None:
        yield from _map_on_cluster(function, work, scheduler)
    elif jobs <= 1 or len(work) < LEAST_WORK_FOR_WORKERS:
        for arguments in work:
            yield function(*arguments)
    else:
        from joblib import Parallel, delayed

        # After Ctrl-C the pool's helper process would remark on what it tidies up.
        os.environ.setdefault("PYTHONWARNINGS", "ignore")
        workers = Parallel(n_jobs=jobs, return_as="generator", batch_size=4)
        with _stopping_at_once():
            with _interrupts_held_back():
                results = workers(delayed(function)(*arguments) for arguments in work)
            yield from results
        stop_workers()  # their memory is wanted by the engraver


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Processes started meanwhile never heed Ctrl-C: this one hears it and ends them in order.

    A new process inherits which signals are held back. Here they are heard afterwards.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    _start_trackers()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start_trackers() -> None:
    """Start the two helper processes of the pool, which would let interrupts through again when
    they are started later. A Ctrl-C in these few milliseconds goes unheard."""
    from multiprocessing import resource_tracker as plain

    from joblib.externals.loky.backend import resource_tracker as pooled

    is_main = threading.current_thread() is threading.main_thread()
    before = signal.signal(signal.SIGINT, signal.SIG_IGN) if is_main else None
    try:
        plain.ensure_running()
        pooled.ensure_running()
    finally:
        if is_main:
            signal.signal(signal.SIGINT, before)


@contextmanager
def _stopping_at_once() -> Iterator[None]:
    """While workers solve, Ctrl-C ends them and this process at once: nothing is half written yet,
    and the pool's own way of closing may wait for workers that are only starting."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(*_: object) -> None:
        loky = sys.modules.get("joblib.externals.loky.reusable_executor")
        processes = getattr(getattr(loky, "_executor", None), "_processes", None) or {}
        for process in list(processes.values()):
            with suppress(OSError):
                os.kill(process.pid, signal.SIGKILL)
        print("stopped; nothing was overwritten", file=sys.stderr, flush=True)
        os._exit(EXIT_INTERRUPTED)

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def stop_workers() -> None:
    """End the worker processes, if any were started."""
    warnings.simplefilter("ignore")  # the pool's remark that its workers are gone
    loky = sys.modules.get("joblib.externals.loky.reusable_executor")
    executor = getattr(loky, "_executor", None)
    if executor is not None:
        executor.shutdown(wait=False, kill_workers=True)


def _map_on_cluster(
    function: Callable[..., Result], work: Sequence[tuple[Any, ...]], scheduler: str
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
    from joblib import Parallel, delayed, parallel_config

    with client, parallel_config(backend="dask", wait_for_workers_timeout=30):
        yield from Parallel(batch_size=4)(delayed(function)(*one) for one in work)


def built(outcomes: Iterable[TuneOutcome]) -> tuple[Arrangement, ...]:
    """Return the arrangements that were made."""
    return tuple(one.arrangement for one in outcomes if one.arrangement is not None)
