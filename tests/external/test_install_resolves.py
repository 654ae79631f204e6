"""An install resolves on the machines that players have, asked of the package index itself.

Checked with uv (a general resolver), which knows what wheels each platform takes. Nothing is
installed or built: every package must have a wheel, but for abjad, which is pure Python and whose
older versions come as source alone.
"""

from __future__ import annotations

import os
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tunebook.engrave.program import WHEELS

uv = pytest.importorskip("uv", reason="uv is not installed (pip install 'tunebook[tests]')")

PROJECT = Path(__file__).resolve().parents[2] / "pyproject.toml"
VERSIONS = ("3.11", "3.12", "3.13")
# The names uv gives to platforms, and what Python calls them: sys.platform, platform.machine().
PLATFORMS = {
    "x86_64-unknown-linux-gnu": ("linux", "x86_64"),
    "aarch64-unknown-linux-gnu": ("linux", "aarch64"),
    "x86_64-pc-windows-msvc": ("win32", "AMD64"),
    "x86_64-apple-darwin": ("darwin", "x86_64"),
    "aarch64-apple-darwin": ("darwin", "arm64"),
}
# pikepdf's wheels for Apple silicon ask for this release of macOS or a newer one.
MACOS = "14.0"
_NO_ANSWER = ("Could not connect", "error sending request", "Failed to fetch", "timed out", "dns")


def resolved(program: str, platform: str, version: str) -> subprocess.CompletedProcess[str]:
    command = [
        program, "pip", "compile", "-q", "--no-config", "--no-python-downloads",
        "--no-header", "--no-annotate", "--only-binary", ":all:", "--no-binary", "abjad",
        "--python-platform", platform, "--python-version", version, str(PROJECT),
    ]  # fmt: skip
    environment = {**os.environ, "MACOSX_DEPLOYMENT_TARGET": MACOS, "UV_HTTP_TIMEOUT": "10"}
    environment.setdefault("UV_HTTP_RETRIES", "1")
    return subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=180, env=environment
    )


@pytest.mark.parametrize("platform", PLATFORMS)
def test_an_install_resolves_and_brings_the_engraver_where_it_exists(platform: str) -> None:
    program = uv.find_uv_bin()
    with ThreadPoolExecutor(len(VERSIONS)) as pool:
        runs = list(pool.map(lambda version: resolved(program, platform, version), VERSIONS))
    for version, run in zip(VERSIONS, runs, strict=True):
        if run.returncode and any(word in run.stderr for word in _NO_ANSWER):
            if os.environ.get("CI"):
                pytest.fail(f"the package index does not answer: {run.stderr}")
            pytest.skip("the package index does not answer")
        assert run.returncode == 0, f"Python {version}: {run.stderr}"
        names = {line.partition("==")[0] for line in run.stdout.splitlines()}
        assert {"abjad", "numpy", "pikepdf", "reportlab", "typer"} <= names
        assert ("lilypond" in names) == (PLATFORMS[platform] in WHEELS)
