"""Options for all tests, and what is made once for all of them."""

from __future__ import annotations

import os
import shutil
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from tunebook.store import Store, default_store


def pytest_configure() -> None:
    """Let the programs that tests start be interrupted: what a shell ignores for what it runs in
    the background, they would ignore too."""
    for name, usual in (("SIGINT", signal.default_int_handler), ("SIGHUP", signal.SIG_DFL)):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, usual)


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--renew-golden`` writes the expected files anew instead of comparing with them."""
    parser.addoption(
        "--renew-golden",
        action="store_true",
        help="write the expected results beside the golden inputs anew; look at the changes",
    )


@pytest.fixture
def is_renewing_golden(request: pytest.FixtureRequest) -> bool:
    """True when the expected files are to be written anew."""
    return bool(request.config.getoption("--renew-golden"))


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all processes of this run of the tests share."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "shared"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def home_with_fonts(shared_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What XDG_CACHE_HOME is after a first run: it holds the converted fonts; lists of the fonts
    of this machine are the user's own. Without them a run takes seconds more."""
    from tunebook.pipeline.start import show_instrument

    home = shared_folder / "cache-with-fonts"
    drawing = tmp_path_factory.mktemp("drawing") / "fiddle.pdf"
    with pytest.MonkeyPatch.context() as patch:
        usual = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        home.mkdir(exist_ok=True)
        for name in ("fontconfig", "matplotlib"):
            (usual / name).mkdir(parents=True, exist_ok=True)
            with suppress(OSError):
                (home / name).symlink_to(usual / name)
        patch.setenv("XDG_CACHE_HOME", str(home))
        show_instrument("fiddle", None, drawing, as_profile=False)
    return home


@pytest.fixture(scope="session")
def store(home_with_fonts: Path) -> Store:
    """A store that holds the converted fonts."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(home_with_fonts))
        return default_store()


@pytest.fixture
def keep_fonts_in(home_with_fonts: Path) -> Callable[[Path], None]:
    """Lay the converted fonts into a folder that will be XDG_CACHE_HOME."""

    def keep(home: Path) -> None:
        shutil.copytree(home_with_fonts, home, dirs_exist_ok=True, symlinks=True)

    return keep


@pytest.fixture
def command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """Run the command in this process; returns its exit code, output and errors."""
    from tunebook.cli.entry import main

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["tunebook", *arguments])
        capsys.readouterr()
        try:
            main()
            code = 0
        except SystemExit as error:
            code = int(error.code or 0)
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return run
