"""What the tests of pages share."""

from __future__ import annotations

import pytest

from tunebook.store import Store


@pytest.fixture(scope="session")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """Keeps converted fonts: converting them takes seconds."""
    return Store(tmp_path_factory.mktemp("store"))
