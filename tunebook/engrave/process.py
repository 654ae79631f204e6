"""One run of the engraving program over some sources, watched and kept within limits."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from tunebook.engrave.program import LilyPond, clean_environment
from tunebook.errors import ProgramError
from tunebook.programs import CANNOT_START, dying_together

DEFAULT_MEMORY_BYTES = 2 * 1024**3
MOST_OUTPUT_BYTES = 200 * 1024**2
_POLL_S = 0.02
_ERROR_LINE = re.compile(r"^(?P<stem>[\w-]+)\.ly:\d+:\d+: (?:fatal )?error: (?P<what>.+)$", re.M)
_BEGUN = b"Interpreting music..."
_FAILED_FILES = re.compile(r"failed files: (?P<names>.+)$", re.M)


@dataclass(frozen=True, slots=True)
class RunResult:
    """How a run ended. ``done`` are the stems that came out well; ``failed`` gives reasons by
    stem; ``left`` are those not reached, and ``culprit`` the stem at which the run broke off, for
    ``reason``; ``is_late`` when that is the time it took."""

    done: tuple[str, ...]
    failed: dict[str, str]
    left: tuple[str, ...]
    culprit: str | None = None
    reason: str = ""
    is_late: bool = False


@dataclass(frozen=True, slots=True)
class RunLimits:
    """``timeout_s`` is for each piece, not for the whole run."""

    timeout_s: float
    memory_bytes: int = DEFAULT_MEMORY_BYTES


@dataclass(frozen=True, slots=True)
class Bench:
    """What runs work with: the program, the folder of its files (with the settings that go before
    each of them), the limits, and what asks a run to stop."""

    program: LilyPond
    folder: Path
    limits: RunLimits
    stop: threading.Event = field(default_factory=threading.Event)


class StoppedError(Exception):
    """The run was asked to stop."""


def run_engraver(bench: Bench, stems: Sequence[str], on_done: Callable[[str], None]) -> RunResult:
    """Engrave ``<stem>.ly`` of the bench's folder for each stem in one process.

    The program works through its files in order, so the first one without a result is the one
    at which it broke off. Raises StoppedError (after ending the process) when the bench's ``stop``
    is set, and ProgramError when the program does not start.
    """
    missing = list(stems)

    def has_moved() -> bool:
        there = [stem for stem in missing if _has_page(bench, stem)]
        for stem in there:
            missing.remove(stem)
            on_done(stem)
        return bool(there)

    log_path = bench.folder / f"{stems[0]}.log"
    exit_code = _run(bench, bench.program.command(stems), log_path, has_moved)
    return _result(bench, stems, exit_code, _errors(log_path.read_text("utf-8", "replace")))


def run_gathered(bench: Bench, names: Sequence[str], on_begun: Callable[[int], None]) -> bool:
    """Engrave ``<name>.ly`` for each name, files of many pieces; True when nothing at all went
    wrong.

    ``on_begun`` is called with the number of pieces that were begun. The limit of time is that
    without a word from the program. Raises as :func:`run_engraver` does.
    """
    log_path = bench.folder / f"{names[0]}.log"
    seen = 0

    def has_moved() -> bool:
        nonlocal seen
        if log_path.stat().st_size <= seen:
            return False
        log = log_path.read_bytes()
        seen = len(log)
        on_begun(log.count(_BEGUN))
        return True

    return _run(bench, bench.program.command(names, says="INFO"), log_path, has_moved) == 0


def _run(
    bench: Bench, command: list[str], log_path: Path, has_moved: Callable[[], bool]
) -> int | None:
    """Run ``command``; return its exit code, or None when it was ended for being late."""
    with open(log_path, "wb") as log:
        process = _start(bench, command, log)
        try:
            _limit(process.pid, bench.limits)
            is_late = _watch(bench, process, has_moved)
        finally:
            _end(process)
    if process.returncode == CANNOT_START:
        raise _cannot_start(bench.program, log_path.read_text("utf-8", "replace").strip())
    return None if is_late else process.returncode


def _start(bench: Bench, command: list[str], log: BinaryIO) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(
            dying_together(command),
            cwd=bench.folder,
            env=clean_environment(),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    except OSError as error:
        raise _cannot_start(bench.program, error.strerror or type(error).__name__) from None


def _cannot_start(program: LilyPond, reason: str) -> ProgramError:
    return ProgramError(f"LilyPond at {program.path} cannot be started ({reason})")


def _limit(pid: int, limits: RunLimits) -> None:
    """Memory and file size, where the system lets a running process be limited."""
    if sys.platform == "win32":
        return
    try:
        import resource
    except ImportError:
        return
    set_limit = getattr(resource, "prlimit", None)
    if set_limit is None:
        return
    with contextlib.suppress(OSError, ValueError):
        set_limit(pid, resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
        set_limit(pid, resource.RLIMIT_FSIZE, (MOST_OUTPUT_BYTES, MOST_OUTPUT_BYTES))
        set_limit(pid, resource.RLIMIT_CORE, (0, 0))


def _watch(bench: Bench, process: subprocess.Popen[bytes], has_moved: Callable[[], bool]) -> bool:
    """Wait for the end of the process; True when it does not move on for too long instead."""
    last_change = time.monotonic()
    while True:
        has_ended = process.poll() is not None
        if has_moved():
            last_change = time.monotonic()
        if has_ended:
            return False
        if bench.stop.is_set():
            raise StoppedError
        if time.monotonic() - last_change > bench.limits.timeout_s:
            return True
        bench.stop.wait(_POLL_S)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the process and all it started, and wait for it."""
    if process.poll() is None:
        if sys.platform != "win32" and hasattr(os, "killpg"):
            with contextlib.suppress(OSError):
                os.killpg(process.pid, signal.SIGKILL)
        process.kill()
    process.wait()


def _errors(log: str) -> dict[str, str]:
    """What the program says is wrong, by the stems of its files."""
    errors: dict[str, str] = {}
    for match in _ERROR_LINE.finditer(log):
        errors.setdefault(match["stem"], match["what"].strip())
    named = _FAILED_FILES.search(log)
    if named is not None:
        for stem in re.findall(r'"?([\w-]+)\.ly"?', named["names"]):
            errors.setdefault(stem, "LilyPond gave no reason")
    return errors


def _result(
    bench: Bench, stems: Sequence[str], exit_code: int | None, errors: dict[str, str]
) -> RunResult:
    """How a run ended; it broke off at the first piece after the last one with a result or an
    error, unless the program came to its end (with 0, or 1 when it told of errors)."""
    at = len(stems)
    if exit_code not in (0, 1):
        while at and not (stems[at - 1] in errors or _has_page(bench, stems[at - 1])):
            at -= 1
    failed = {
        stem: errors.get(stem, "LilyPond made no page")
        for stem in stems[:at]
        if stem in errors or not _has_page(bench, stem)
    }
    done = tuple(stem for stem in stems[:at] if stem not in failed)
    if at == len(stems):
        return RunResult(done, failed, ())
    late = f"took longer than {bench.limits.timeout_s:g} s"
    reason = late if exit_code is None else _died(exit_code)
    return RunResult(
        done=done,
        failed=failed,
        left=tuple(stems[at + 1 :]),
        culprit=stems[at],
        reason=reason,
        is_late=exit_code is None,
    )


def _has_page(bench: Bench, stem: str) -> bool:
    return (bench.folder / f"{stem}.pdf").exists()


def _died(exit_code: int) -> str:
    if exit_code < 0:
        with contextlib.suppress(ValueError):
            return f"LilyPond was ended by {signal.Signals(-exit_code).name}"
    return f"LilyPond ended with code {exit_code}"
