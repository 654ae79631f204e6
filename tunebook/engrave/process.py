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
from dataclasses import dataclass
from pathlib import Path

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
    stem; ``left`` are those not reached, and ``culprit`` the stem at which the run broke off."""

    done: tuple[str, ...]
    failed: dict[str, str]
    left: tuple[str, ...]
    culprit: str | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class RunLimits:
    """``timeout_s`` is for each piece, not for the whole run."""

    timeout_s: float
    memory_bytes: int = DEFAULT_MEMORY_BYTES


class StoppedError(Exception):
    """The run was asked to stop."""


def run_engraver(
    program: LilyPond,
    settings: str,
    folder: Path,
    stems: Sequence[str],
    limits: RunLimits,
    stop: threading.Event,
    on_done: Callable[[str], None],
) -> RunResult:
    """Engrave ``<stem>.ly`` for each stem, in ``folder``, in one process, with the file
    ``settings`` of that folder before each.

    The program works through its files in order, so the first one without a result is the one
    at which it broke off. Raises StoppedError (after ending the process) when ``stop`` is set, and
    ProgramError when the program does not start.
    """
    missing = list(stems)

    def has_moved() -> bool:
        there = [stem for stem in missing if (folder / f"{stem}.pdf").exists()]
        for stem in there:
            missing.remove(stem)
            on_done(stem)
        return bool(there)

    command = program.command(settings, [f"{stem}.ly" for stem in stems])
    log_path = folder / f"{stems[0]}.log"
    exit_code, is_late = _run(program, command, folder, log_path, limits, stop, has_moved)
    log_text = log_path.read_text("utf-8", "replace")
    return _result(folder, stems, exit_code, is_late, limits, log_text)


def run_gathered(
    program: LilyPond,
    settings: str,
    folder: Path,
    names: Sequence[str],
    limits: RunLimits,
    stop: threading.Event,
    on_begun: Callable[[int], None],
) -> bool:
    """Engrave ``<name>.ly`` for each name, files of many pieces; True when nothing at all went
    wrong.

    ``on_begun`` is called with the number of pieces that were begun. ``limits.timeout_s`` is the
    longest time without a word from the program. Raises as :func:`run_engraver` does.
    """
    log_path = folder / f"{names[0]}.log"
    seen = 0

    def has_moved() -> bool:
        nonlocal seen
        if log_path.stat().st_size <= seen:
            return False
        log = log_path.read_bytes()
        seen = len(log)
        on_begun(log.count(_BEGUN))
        return True

    command = program.command(settings, [f"{name}.ly" for name in names], says="INFO")
    exit_code, is_late = _run(program, command, folder, log_path, limits, stop, has_moved)
    return exit_code == 0 and not is_late


def _run(
    program: LilyPond,
    command: list[str],
    folder: Path,
    log_path: Path,
    limits: RunLimits,
    stop: threading.Event,
    has_moved: Callable[[], bool],
) -> tuple[int, bool]:
    """Run ``command``; return its exit code, and whether it was ended for being late."""
    with open(log_path, "wb") as log:
        process = _start(program, command, folder, log)
        try:
            _limit(process.pid, limits)
            is_late = _watch(process, limits, stop, has_moved)
        finally:
            _end(process)
    if process.returncode == CANNOT_START:
        reason = log_path.read_text("utf-8", "replace").strip()
        raise ProgramError(f"LilyPond at {program.path} cannot be started ({reason})")
    return process.returncode, is_late


def _start(
    program: LilyPond, command: list[str], folder: Path, log: object
) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(
            dying_together(command),
            cwd=folder,
            env=clean_environment(),
            stdin=subprocess.DEVNULL,
            stdout=log,  # type: ignore[call-overload]
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ProgramError(f"LilyPond at {program.path} cannot be started ({reason})") from None


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


def _watch(
    process: subprocess.Popen[bytes],
    limits: RunLimits,
    stop: threading.Event,
    has_moved: Callable[[], bool],
) -> bool:
    """Wait for the end of the process; True when it does not move on for too long instead."""
    last_change = time.monotonic()
    while True:
        has_ended = process.poll() is not None
        if has_moved():
            last_change = time.monotonic()
        if has_ended:
            return False
        if stop.is_set():
            raise StoppedError
        if time.monotonic() - last_change > limits.timeout_s:
            return True
        stop.wait(_POLL_S)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the process and all it started, and wait for it."""
    if process.poll() is None:
        if sys.platform != "win32" and hasattr(os, "killpg"):
            with contextlib.suppress(OSError):
                os.killpg(process.pid, signal.SIGKILL)
        process.kill()
    process.wait()


def _result(
    folder: Path,
    stems: Sequence[str],
    exit_code: int,
    is_late: bool,
    limits: RunLimits,
    log: str,
) -> RunResult:
    errors: dict[str, str] = {}
    for match in _ERROR_LINE.finditer(log):
        errors.setdefault(match["stem"], match["what"].strip())
    named = _FAILED_FILES.search(log)
    if named is not None:
        for stem in re.findall(r'"?([\w-]+)\.ly"?', named["names"]):
            errors.setdefault(stem, "LilyPond gave no reason")
    if exit_code in (0, 1) and not is_late:
        missing = [s for s in stems if s not in errors and not (folder / f"{s}.pdf").exists()]
        errors.update(dict.fromkeys(missing, "LilyPond made no page"))
        failed = {stem: errors[stem] for stem in stems if stem in errors}
        return RunResult(tuple(stem for stem in stems if stem not in failed), failed, ())
    return _broken(folder, stems, exit_code, is_late, limits, errors)


def _broken(
    folder: Path,
    stems: Sequence[str],
    exit_code: int,
    is_late: bool,
    limits: RunLimits,
    errors: dict[str, str],
) -> RunResult:
    """The run broke off: at the first piece after the last one with a result or an error."""
    reached = [
        place
        for place, stem in enumerate(stems)
        if stem in errors or (folder / f"{stem}.pdf").exists()
    ]
    at = reached[-1] + 1 if reached else 0
    failed = {
        stem: errors.get(stem, "LilyPond made no page")
        for stem in stems[:at]
        if stem in errors or not (folder / f"{stem}.pdf").exists()
    }
    done = tuple(stem for stem in stems[:at] if stem not in failed)
    culprit = stems[at] if at < len(stems) else None
    reason = f"took longer than {limits.timeout_s:g} s" if is_late else _died(exit_code)
    return RunResult(done, failed, tuple(stems[at + 1 :]), culprit, reason)


def _died(exit_code: int) -> str:
    if exit_code < 0:
        with contextlib.suppress(ValueError):
            return f"LilyPond was ended by {signal.Signals(-exit_code).name}"
    return f"LilyPond ended with code {exit_code}"
