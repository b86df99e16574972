"""One browser for all tests that need one; they are skipped where there is none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")


def lacks(what: str) -> None:
    """Skip, or fail where everything has to be there."""
    if os.environ.get("DRIVESIM_FULL"):
        pytest.fail(f"{what} is missing, and DRIVESIM_FULL asks for the tests in the browser")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="session")
def missing():
    """What to call where something that the tests need is missing."""
    return lacks


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """The machine's Chromium, without a window."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        lacks("the package playwright")
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None:
        lacks("Chromium")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield found
        found.close()
