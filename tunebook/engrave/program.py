"""The engraving program: where it is, which version it is, and how it is started safely."""

from __future__ import annotations

import functools
import os
import platform
import re
import shutil
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from tunebook.engrave.settings import SETTINGS_FILE
from tunebook.errors import ProgramError
from tunebook.programs import answer_of

OLDEST = (2, 24, 0)
_VERSION_TIMEOUT_S = 60
_KEPT_VARIABLES = (
    "PATH", "HOME", "USERPROFILE", "SYSTEMROOT", "TMPDIR", "TEMP", "TMP", "LOCALAPPDATA",
    "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "FONTCONFIG_FILE", "FONTCONFIG_PATH",
)  # fmt: skip
_OPTIONS = ("-dno-point-and-click", "-dbackend=cairo", "--pdf")
# Systems with a wheel of the lilypond package; pyproject.toml asks for it on the same ones.
WHEELS = (("linux", "x86_64"), ("darwin", "x86_64"), ("win32", "AMD64"))
_BY_HAND = "install it from https://lilypond.org/download.html and put its bin folder on PATH"
# How the package managers of systems without a wheel get it, by the program that is looked for.
_PACKAGE_MANAGERS = {
    "linux": {
        "apt-get": "sudo apt-get install lilypond",
        "dnf": "sudo dnf install lilypond",
        "pacman": "sudo pacman -S lilypond",
        "zypper": "sudo zypper install lilypond",
        "apk": "sudo apk add lilypond",
    },
    "darwin": {"port": "sudo port install lilypond", "brew": "brew install lilypond"},
}


@dataclass(frozen=True, slots=True)
class LilyPond:
    """A program that can engrave: its path and version."""

    path: Path
    version: tuple[int, ...]

    @property
    def version_text(self) -> str:
        """The version as the program itself writes it."""
        return ".".join(str(number) for number in self.version)

    def command(self, stems: Iterable[str], says: str = "WARN") -> list[str]:
        """The command line that engraves ``<stem>.ly`` of the current folder for each stem, with
        the settings that lie there; ``says`` is how much the program tells of its doings."""
        options = (*_OPTIONS, f"--loglevel={says}", f"-dinclude-settings={SETTINGS_FILE}")
        return [str(self.path), *options, *(f"{stem}.ly" for stem in stems)]


@functools.lru_cache(maxsize=1)
def find_lilypond() -> LilyPond:
    """Return the program of the ``lilypond`` package, else the one on PATH.

    Raises ProgramError when there is none, when it does not run, or when it is older than
    version 2.24.
    """
    path = _packaged() or _on_path()
    if path is None:
        raise ProgramError("LilyPond, which engraves the music, was not found", how_to_install())
    version = _version_of(path)
    if version < OLDEST:
        text = ".".join(str(number) for number in version)
        raise ProgramError(
            f"LilyPond {text} at {path} is too old, 2.24 is needed", how_to_install()
        )
    return LilyPond(path, version)


def how_to_install() -> str:
    """How LilyPond is got for this system: by pip where there is a wheel, else by the system's own
    package manager, else by hand."""
    if (sys.platform, platform.machine()) in WHEELS:
        return "install it with: pip install lilypond"
    known = _PACKAGE_MANAGERS.get(sys.platform, {})
    found = [command for program, command in known.items() if shutil.which(program)]
    return f"install it with: {found[0]}" if found else _BY_HAND


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
        code, text = answer_of([str(path), "--version"], _VERSION_TIMEOUT_S, clean_environment())
    except OSError as error:
        what = f"LilyPond at {path} does not run ({error.strerror or error})"
        raise ProgramError(what, how_to_install()) from None
    match = re.search(r"LilyPond (\d+)\.(\d+)\.(\d+)", text)
    if match is None:
        what = f"LilyPond at {path} does not run (no version, exit code {code})"
        raise ProgramError(what, how_to_install())
    return tuple(int(number) for number in match.groups())
