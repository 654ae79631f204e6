"""Ask another program something, and wait for its answer no longer than is sensible."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence


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
