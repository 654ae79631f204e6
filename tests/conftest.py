"""Options for all tests."""

from __future__ import annotations

import pytest


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
