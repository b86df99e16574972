"""Lets the checks use the helpers of the physics and engine tests, and rewrites the page where asked."""

import sys
from pathlib import Path

for neighbour in ("physics", "engine"):
    sys.path.append(str(Path(__file__).parents[1] / neighbour))


def pytest_addoption(parser):
    parser.addoption(
        "--write-validation", action="store_true", help="write docs/validation.md anew from the checks"
    )
