"""A program that is started so that it ends when this one does, even by SIGKILL.

On Linux it asks for that itself, just before it becomes the program that is wanted (prctl(2)). It
cannot be asked between fork and exec from here: other threads run meanwhile. Elsewhere a program
is ended by every end of this one but SIGKILL.
"""

from __future__ import annotations

import os
import sys

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
