"""Settings that every test shares."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_REASONS = {
    "open_data": "DEWLEDGER_OPEN_DATA does not name the open data",
    "cases": "DEWLEDGER_CASES is not set",
}


def _folder(variable: str, reason: str) -> Path:
    """Return the folder that a variable names; without it the test is skipped, and fails in CI."""
    named = os.environ.get(variable)
    if named and Path(named).is_dir():
        return Path(named)
    if os.environ.get("CI"):
        pytest.fail(f"{reason}, and in CI no test is skipped")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of open data sets."""
    return _folder("DEWLEDGER_OPEN_DATA", _REASONS["open_data"])


@pytest.fixture(scope="session")
def cases_folder() -> Path:
    """The folder of worked wards with their expected tables."""
    return _folder("DEWLEDGER_CASES", _REASONS["cases"])
