"""Throughput and memory of a sweep, measured on this machine.

    python -m pytest -m benchmark tests/benchmarks/test_sweep_speed.py -s

prints what docs/sweep.md quotes.  Only the memory is asserted; times depend on what else the machine does, so the
share of the processor's time that the kernel gets is printed beside the share of the wall's.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from drivesim.engine import settle, simulate
from drivesim.study import farm
from drivesim.study.sweep import sweep

pytestmark = pytest.mark.benchmark
SCENARIOS = Path(__file__).parents[2] / "scenarios"
STUDY = """\
scenario: {{base: {base}, duration: {duration} s{ground}}}
axes: {{rover.mass: {{from: 500 g, to: 900 g, count: {count}}}}}
grounds: {grounds}
"""
MOST_GROWTH = 60e6  # bytes of resident memory from 1,000 to 10,000 runs
#: runs a sweep in a process of its own and prints resident memory [bytes] after each thousand runs
MEMORY = """\
import sys
from pathlib import Path
from drivesim.study.sweep import sweep
def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096
def told(done, total):
    if done % 1000 == 0:
        print(done, resident(), flush=True)
sweep(sys.argv[1], folder=sys.argv[2], progress=told)
"""


def write(path: Path, **settings: object) -> Path:
    path.write_text(STUDY.format(**settings), encoding="utf-8")
    return path


@pytest.mark.parametrize("duration", [5, 10])
def test_throughput(tmp_path, monkeypatch, duration):
    """Kernel time of all runs over what the cores had to give: 0.9 is the bar on a machine that does nothing else."""
    base = SCENARIOS / "rubble_speed_loop.yaml"
    study = write(tmp_path / "s.yaml", base=base, duration=duration, ground="", count=40, grounds=10)
    sweep(
        write(tmp_path / "warm.yaml", base=base, duration=1, ground="", count=2, grounds=10)
    )  # grounds, compiled code
    spent, lock = [0.0], threading.Lock()
    for module in (simulate, settle):
        real = module.advance

        def timed(*arguments, real=real):
            began = time.thread_time()
            status = real(*arguments)
            with lock:
                spent[0] += time.thread_time() - began
            return status

        monkeypatch.setattr(module, "advance", timed)
    cores, wall, cpu = farm.threads(None), time.perf_counter(), time.process_time()
    found = sweep(study, folder=tmp_path / "o")
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    runs = len(found.table)
    print(
        f"\n{runs} runs of {duration} s, {cores} threads: {runs * duration / wall:.0f} × real time in all, kernel "
        f"{1e3 * spent[0] / runs:.1f} ms a run; kernel over cores × wall {spent[0] / cores / wall:.2f}, over the "
        f"processor's time {spent[0] / cpu:.2f}; processor over cores × wall {cpu / cores / wall:.2f}"
    )
    assert runs == 400


def test_memory_is_flat(tmp_path):
    base = SCENARIOS / "rubble_speed_loop.yaml"
    ground = ", ground: {name: floor}"
    study = write(tmp_path / "s.yaml", base=base, duration=0.1, ground=ground, count=1000, grounds=10)
    result = subprocess.run(
        [sys.executable, "-c", MEMORY, str(study), str(tmp_path / "o")],
        capture_output=True,
        text=True,
        check=True,
    )
    sizes = dict(map(int, line.split()) for line in result.stdout.splitlines())
    shown = ", ".join(f"{done}: {size / 1e6:.0f} MB" for done, size in sizes.items())
    print(
        f"\nresident memory after so many runs: {shown}; growth {(sizes[10000] - sizes[1000]) / 9000:.0f} bytes a run"
    )
    assert sizes[10000] - sizes[1000] < MOST_GROWTH
