"""What the tests of pages share."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def font_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for converted fonts: converting them takes seconds."""
    return tmp_path_factory.mktemp("fonts")
