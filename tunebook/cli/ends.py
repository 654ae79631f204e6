"""How the command ends, whatever happens: exit code, one line, and nothing left running.

What users can cause is a TunebookError with its own line. Signals that ask the program to stop
become an exception in the main thread, so that every stage clears up behind itself. What nobody
foresaw ends in one line too, and its traceback goes into a file to send.

This module is imported before anything else, so it imports little itself.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from tunebook.cli.terminal import NobodyReadsError, unwritable_output, warn
from tunebook.errors import (
    EXIT_FAULT,
    EXIT_INTERRUPTED,
    EXIT_NOTHING_BUILT,
    EXIT_OUTPUT,
    EXIT_PROGRAM,
    NO_ROOM,
    TunebookError,
)

_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
_PATIENCE_S = 2.0
# Solving and writing make many small values that are all dropped together; looking for garbage
# among them as often as usual costs a fifth of the time. Workers do as this process does.
_GARBAGE_THRESHOLD = 100_000


class Stopped(KeyboardInterrupt):
    """A signal asked the program to stop."""


class _Stops:
    """Hears the signals. The first one stops the program; more of them within a short time are
    passed over, lest they disturb what is being cleared up."""

    def __init__(self) -> None:
        self.number = 0
        self.time_s = 0.0
        self.is_over = False
        self._before: dict[int, Any] = {}

    def listen(self) -> None:
        if threading.current_thread() is not threading.main_thread():
            return
        for name in _SIGNALS:
            number = getattr(signal, name, None)
            # One that was ignored from the start (nohup, a script's "&") stays so.
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                self._before[number] = signal.signal(number, self._hear)

    def leave(self, *, is_last: bool) -> None:
        """From here on there is nothing to clear up. What is heard meanwhile is passed on."""
        self.is_over = True
        heard = self.number
        while self._before:
            number, before = self._before.popitem()
            signal.signal(number, signal.SIG_IGN if is_last else before)
        if self.number != heard and not is_last:
            signal.raise_signal(self.number)

    def _hear(self, number: int, _: object) -> None:
        if self.is_over:
            self.number = self.number or number
            return
        if self.number and time.monotonic() - self.time_s < _PATIENCE_S:
            return
        self.number, self.time_s = self.number or number, time.monotonic()
        raise Stopped


def run(command: Callable[[], int | None], *, is_last: bool = False) -> int:
    """Run ``command``, which returns its exit code or None, and return the one to end with.

    Signals are then heard as before; where this ``is_last``, and the process only has to end with
    that code, they are passed over: what was asked for is done."""
    stops = _Stops()
    thresholds = gc.get_threshold()
    gc.set_threshold(_GARBAGE_THRESHOLD)
    try:
        _mend_surroundings()
        stops.listen()
        code = _outcome(command, stops)
        if code == EXIT_INTERRUPTED:  # the option parser's word for an interrupt
            raise Stopped
    except KeyboardInterrupt:
        warn(_stopped())
        code = 128 + (stops.number or signal.SIGINT)
    try:
        gc.set_threshold(*thresholds)
        code = _close_output(code)
        stops.is_over = True
    except KeyboardInterrupt:  # who reads what is printed does not take it
        code = 128 + (stops.number or signal.SIGINT)
    stops.leave(is_last=is_last)
    return code


def _stopped() -> str:
    """What is said of a run that was stopped: what it wrote until then is whole."""
    files = sys.modules.get("tunebook.files")
    count = files.files_written() if files is not None else 0
    if not count:
        return "stopped; nothing was overwritten"
    return f"stopped; {count} file{'s' if count > 1 else ''} had been written, whole"


def _mend_surroundings() -> None:
    """No file of ours may get the number of a standard stream that is closed; letters that the
    terminal has not are replaced."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            with suppress(OSError):
                os.open(os.devnull, os.O_RDWR)
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    # Packages look into the home folder and stumble over a file; then they ask the system for it.
    if os.path.isfile(os.environ.get("HOME", "")):
        warn("HOME is a file, no folder; it is passed over")
        del os.environ["HOME"]


def _outcome(command: Callable[[], int | None], stops: _Stops) -> int:
    try:
        return command() or 0
    except TunebookError as error:
        warn(str(error))
        return error.exit_code
    except NobodyReadsError:
        return EXIT_OUTPUT
    except SystemExit as error:  # so the option parser ends when nobody reads its help
        return EXIT_OUTPUT if error.code else 0
    except OSError as error:
        return _refused(error)
    except MemoryError:
        warn("there is not enough memory; give --jobs 1, or build fewer tunes at a time")
        return EXIT_PROGRAM
    except Exception as error:
        if stops.number:  # what met the signal made an error of its own of it
            raise Stopped from None
        return _unforeseen(error)


def _refused(error: OSError) -> int:
    """One line for what the system refused and no stage foresaw."""
    if _is_nowhere():
        warn("the folder you are in is gone; change to another one (cd) and try again")
        return EXIT_OUTPUT
    reason = error.strerror or type(error).__name__
    if error.errno in NO_ROOM:
        where = f"{error.filename}: " if error.filename else ""
        warn(f"{where}cannot be written ({reason}); make room, or set TMPDIR to another folder")
        return EXIT_OUTPUT
    if error.filename is None:
        return _unforeseen(error)
    name = os.fsdecode(error.filename) if isinstance(error.filename, (str, bytes)) else ""
    warn(f"{name}: cannot be used ({reason}); check its name and rights")
    return EXIT_NOTHING_BUILT


def _is_nowhere() -> bool:
    try:
        os.getcwd()
    except OSError:
        return True
    return False


def _unforeseen(error: Exception) -> int:
    """The last door: one line, and a file with what somebody needs who is to mend it."""
    import platform
    import traceback

    from tunebook import __version__

    head = f"tunebook {__version__}, Python {platform.python_version()}, {platform.platform()}"
    trace = "".join(traceback.format_exception(error))
    text = f"{head}\n{sys.argv[1:]!r}\n\n{trace}"
    what = f"{type(error).__name__}: {error}".replace("\n", " ")[:200]
    path = _kept(text)
    remedy = f"please report it with the file {path}" if path else "please report it"
    warn(f"something went wrong that should not ({what}); {remedy}")
    return EXIT_FAULT


def _kept(text: str) -> str | None:
    """Write ``text`` into a file in the cache folder, else in the temporary one; its path."""
    import tempfile

    from tunebook.pipeline.cache import fault_folder

    content = text.encode("utf-8", "backslashreplace")
    for folder in (fault_folder, tempfile.gettempdir):
        with suppress(Exception):
            place = folder()
            os.makedirs(place, exist_ok=True)
            prefix = time.strftime("tunebook-fault-%Y%m%d-%H%M%S-")
            handle, path = tempfile.mkstemp(".txt", prefix, place)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            return path
    return None


def _close_output(code: int) -> int:
    """Write out what waits; a full disk is no success."""
    if sys.stdout is None:  # closed by whoever began us: nobody wants to read it
        return code
    try:
        sys.stdout.flush()
        return code
    except (OSError, ValueError) as error:
        if not isinstance(error, BrokenPipeError) and not code:
            warn(str(unwritable_output(error)))
        # Python would try once more at its end, and complain.
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return code or EXIT_OUTPUT
