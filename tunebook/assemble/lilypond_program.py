"""The engraving program: where it is, which version it is, and how it is started safely."""

from __future__ import annotations

import functools
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tunebook.errors import ProgramError

OLDEST = (2, 24, 0)
_VERSION_TIMEOUT_S = 60
_KEPT_VARIABLES = (
    "PATH", "HOME", "USERPROFILE", "SYSTEMROOT", "TMPDIR", "TEMP", "TMP", "LOCALAPPDATA",
    "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "FONTCONFIG_FILE", "FONTCONFIG_PATH",
)  # fmt: skip
_OPTIONS = ("-dno-point-and-click", "-dbackend=cairo", "--pdf")
_INSTALL = "install it with: pip install lilypond"


@dataclass(frozen=True, slots=True)
class LilyPond:
    """A program that can engrave: its path and version."""

    path: Path
    version: tuple[int, ...]

    @property
    def version_text(self) -> str:
        """The version as the program itself writes it."""
        return ".".join(str(number) for number in self.version)

    def command(self, settings: Path, files: list[str], says: str = "WARN") -> list[str]:
        """The command line that engraves ``files`` of the current folder; ``says`` is how much
        the program tells of its doings."""
        options = (*_OPTIONS, f"--loglevel={says}", f"-dinclude-settings={settings}")
        return [str(self.path), *options, *files]


@functools.lru_cache(maxsize=1)
def find_lilypond() -> LilyPond:
    """Return the program of the ``lilypond`` package, else the one on PATH.

    Raises ProgramError when there is none, when it does not run, or when it is older than
    version 2.24.
    """
    path = _packaged() or _on_path()
    if path is None:
        raise ProgramError("LilyPond, which engraves the music, was not found", _INSTALL)
    version = _version_of(path)
    if version < OLDEST:
        text = ".".join(str(number) for number in version)
        raise ProgramError(f"LilyPond {text} at {path} is too old, 2.24 is needed", _INSTALL)
    return LilyPond(path, version)


def clean_environment() -> dict[str, str]:
    """Only what the program needs to find fonts and temporary space; nothing that steers it."""
    kept = {name: os.environ[name] for name in _KEPT_VARIABLES if name in os.environ}
    return kept | {"LC_ALL": "C.UTF-8", "LANG": "C.UTF-8"}


def _packaged() -> Path | None:
    try:
        import lilypond
    except ImportError:
        return None
    path = Path(lilypond.executable())
    return path if path.is_file() else None


def _on_path() -> Path | None:
    found = shutil.which("lilypond")
    return Path(found).resolve() if found else None


def _version_of(path: Path) -> tuple[int, ...]:
    try:
        result = subprocess.run(
            [str(path), "--version"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            env=clean_environment(),
            timeout=_VERSION_TIMEOUT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        what = f"LilyPond at {path} does not run ({type(error).__name__})"
        raise ProgramError(what, _INSTALL) from None
    text = result.stdout.decode("utf-8", "replace")
    match = re.search(r"LilyPond (\d+)\.(\d+)\.(\d+)", text)
    if match is None:
        what = f"LilyPond at {path} does not run (no version, exit code {result.returncode})"
        raise ProgramError(what, _INSTALL)
    return tuple(int(number) for number in match.groups())
