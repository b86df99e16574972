"""Speed, measured in one run on this machine: kernel, the same model under solve_ivp, whole command, cold start.

    python -m pytest -m benchmark tests/benchmarks -s

prints the table of docs/benchmarks.md.  Nothing here asserts an absolute time; the peer's result must agree.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drivesim import load_scenario
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model

pytestmark = pytest.mark.benchmark
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SMOOTH = SCENARIOS / "washboard_locked.yaml"
ROWS: list[str] = []


def kernel(path: Path, repeats: int = 15) -> float:
    """Return the median of simulated time over wall time of the kernel and its timeline."""
    scenario = load_scenario(path)
    factors = []
    for _ in range(repeats + 1):
        recording = run_model(build(scenario))
        factors.append(recording.end_time / recording.wall_time)
    return sorted(factors[1:])[repeats // 2]


def peer(method: str, currents: str, seconds: float = 1.0) -> dict:
    """Run the interpreted peer and return what it printed."""
    result = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("peer.py")), str(SMOOTH), str(seconds), method, currents],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(result.stdout)


def command(cache: Path, out: Path, *options: str) -> float:
    """Return the wall time of a whole ``drivesim run`` of a 10 s scenario."""
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "drivesim", "run", str(SCENARIOS / "rubble_speed_loop.yaml"), "-o", str(out), *options],
        env=os.environ | {"XDG_CACHE_HOME": str(cache)}, capture_output=True, check=True,
    )  # fmt: skip
    return time.perf_counter() - began


@pytest.fixture(scope="module", autouse=True)
def table():
    yield
    print(
        f"\n\n{platform.processor() or platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    )
    print("| what | measured |\n| --- | --- |")
    print("\n".join(ROWS))


def test_kernel_speed():
    here = Path(__file__).parent
    plain = (SCENARIOS / "rubble_speed_loop.yaml", SCENARIOS / "rubble_locked.yaml", SMOOTH)
    for path in (*plain, here / "everything.yaml", here / "everything_on_soil.yaml"):
        factor = kernel(path)
        ROWS.append(f"| kernel, `{path.name}`, one core | {factor:.0f} × real time |")
        assert factor > 0


def test_against_interpreted_peers():
    factor = kernel(SMOOTH)
    short = load_scenario(SMOOTH).model_copy(update={"duration": 1.0})
    ours = run_model(build(short)).model.bodies[0]["x"]
    for method, currents, words in (
        ("BDF", "states", "the same model under solve_ivp (BDF, rtol 1e-4), interpreted"),
        ("LSODA", "states", "the same under LSODA"),
        ("RK45", "steady", "an easier model (currents at once) under RK45"),
    ):
        result = peer(method, currents)
        slow = result["simulated_s"] / result["wall_s"]
        ROWS.append(f"| {words} | {slow:.3f} × real time; kernel {factor / slow:.0f} times faster |")
        # the wheels' controllers sample every 2 ms, the peer's act at once: 1.2 ms at 0.15 m/s
        assert result["x_m"] == pytest.approx(ours, abs=3e-4)


def test_whole_command(tmp_path):
    cold = command(tmp_path / "cache", tmp_path / "cold")
    warm = sorted(command(tmp_path / "cache", tmp_path / f"warm{i}") for i in range(3))[1]
    bare = sorted(command(tmp_path / "cache", tmp_path / f"bare{i}", "--no-pictures") for i in range(3))[1]
    ROWS.append(f"| `drivesim run` of a 10 s scenario, first run (compiles) | {cold:.1f} s |")
    ROWS.append(f"| `drivesim run` of a 10 s scenario, with pictures | {warm:.2f} s |")
    ROWS.append(f"| the same without pictures | {bare:.2f} s |")
