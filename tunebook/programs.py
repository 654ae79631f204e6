"""Other programs: started so that they end with this one, asked no longer than is sensible.

A program that is started so that it ends when this one does, even by SIGKILL.

On Linux it asks for that itself, just before it becomes the program that is wanted (prctl(2)). It
cannot be asked between fork and exec from here: other threads run meanwhile. Elsewhere a program
is ended by every end of this one but SIGKILL.

Ask another program something, and wait for its answer no longer than is sensible.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence

CANNOT_START = 126
"""Exit code when the program could not be started; the shell has the same (POSIX, XCU 2.8.2)."""

_LAUNCHER = f"""\
import os, sys
try:
    import ctypes
    ctypes.CDLL(None).prctl(1, 9)
except (ImportError, OSError, AttributeError):
    pass
if os.getppid() != int(sys.argv[1]):
    os._exit(1)
try:
    os.execv(sys.argv[2], sys.argv[2:])
except OSError as error:
    os.write(2, str(error.strerror).encode())
    os._exit({CANNOT_START})
"""


def dying_together(command: list[str]) -> list[str]:
    """The command line that runs ``command``, whose first word is the path of a program. It has to
    be started from a thread that lives as long as the program is wanted."""
    if sys.platform != "linux" or not os.access(sys.executable or "", os.X_OK):
        return command
    return [sys.executable, "-I", "-S", "-c", _LAUNCHER, str(os.getpid()), *command]


def answer_of(
    command: Sequence[str], limit_s: float, environment: Mapping[str, str] | None = None
) -> tuple[int, str]:
    """Return exit code and output of ``command``.

    Raises OSError when it cannot be started, and TimeoutError when it has not ended after
    ``limit_s`` seconds; it is then ended, and all that it started.
    """
    process = subprocess.Popen(
        list(command),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=None if environment is None else dict(environment),
        start_new_session=True,
    )
    try:
        output, _ = process.communicate(timeout=limit_s)
    except subprocess.TimeoutExpired:
        raise TimeoutError(f"no answer after {limit_s:g} s") from None
    finally:
        if process.returncode is None:
            _end(process)
    return process.returncode, output.decode("utf-8", "replace")


def _end(process: subprocess.Popen[bytes]) -> None:
    if sys.platform == "win32":
        process.kill()
    else:
        with contextlib.suppress(OSError):
            os.killpg(process.pid, signal.SIGKILL)
    # What it wrote is not read: a child that got away might keep the pipe open.
    if process.stdout is not None:
        process.stdout.close()
    process.wait()
