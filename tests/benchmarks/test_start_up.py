"""How long the command line takes to answer with its help: python -m pytest -m benchmark tests/benchmarks -s."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

MOST = 0.5  # s, of which Python itself takes a part


@pytest.mark.benchmark
@pytest.mark.parametrize("words", [["--help"], ["run", "--help"]], ids=" ".join)
def test_help_is_there_at_once(words):
    times = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "drivesim", *words], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    print(f"\ndrivesim {' '.join(words)}: {min(times):.2f} s at best of 5")
    assert min(times) < MOST
