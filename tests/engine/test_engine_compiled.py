"""The compiled kernel against the same lines interpreted; the compile cache that must follow its sources."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from engine_rovers import ideal

from drivesim import _compile
from drivesim.engine.simulate import simulate

ROOT = Path(__file__).resolve().parents[2]


def python(code: str, cwd: Path, **environment: str) -> str:
    """Run ``code`` in a process of its own, warnings as errors, and return what it prints."""
    run = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        cwd=cwd,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", **environment},
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stderr
    return run.stdout.strip()


HALL = {"kind": "hall", "sensors": 3, "timer_tick": "4 us", "timeout": "0.1 s"}
DRIVES = {
    "speed_loop": {"proportional": "0.1 V*s/rad", "integral": "2 V/rad", "sensor": HALL},
    "locked_frequency": {"base_amplitude": "3 V", "sensor": HALL},
    "trimmed_frequency": {
        "base_amplitude": "3 V", "proportional": 0.2, "integral": "1 1/s", "anti_windup": "back_calculation",
        "sensor": {"kind": "hall", "sensors": 1},
    },
    "fixed_voltage": {"voltage_per_speed": "0.3 V*s/rad", "sensor": {"kind": "ideal"}},
}  # fmt: skip


def busy(strategy: str):
    """Return a tenth of a second with everything on: bumps, drag, heat, a sagging supply, ripple, cogging."""
    return ideal(
        {
            "rover.wheels.front_left": {"toe": "2 deg", "extra_drag": "1 mN*m"},
            "rover.wheel.bearing": {"dry": "0.4 mN*m", "viscous": "1e-5 N*m*s/rad"},
            "rover.wheel.tyre.rolling_resistance": 0.03,
            "rover.wheel.tyre.sliding_friction": 0.6,
            "rover.wheel.motor.torque_ripple": 0.05,
            "rover.wheel.motor.cogging_torque": "0.2 mN*m",
            "rover.wheel.motor.cogging_per_turn": 42,
            "rover.wheel.winding": {"thermal_resistance": "20 K/W", "heat_capacity": "1 J/K"},
            "rover.wheel.driver": {"efficiency": 0.9, "on_resistance": "0.1 ohm", "fixed_loss": "20 mW"},
            "rover.battery": {"cells_in_series": 2, "capacity": "0.6 A*h", "cell_resistance": "80 mohm"},
            "ground": {
                "length": "0.5 m", "behind": "0.2 m", "width": "0.4 m", "cell": "12 mm",
                "features": [{"kind": "bumps", "start": "0.1 m", "radius": "10 mm", "side": "left"}],
                "patches": [{"x": ["0.1 m", "0.3 m"], "y": ["-0.2 m", "0 m"], "factor": 0.5}],
            },
            "drive": {"strategy": strategy, **DRIVES[strategy]},
            "commands": [{"at": "0 s", "forward": "0.6 m/s", "turn": "0.5 rad/s", "ramp": "50 ms"}],
            "duration": "0.1 s",
        }
    )  # fmt: skip


def all_busy() -> dict[str, np.ndarray]:
    """Return the recorded numbers of each strategy."""
    out = {}
    for strategy in DRIVES:
        recording = simulate(busy(strategy))
        out[strategy + " body"], out[strategy + " wheels"] = recording.body, recording.wheels
    return out


def test_compiled_equals_interpreted(tmp_path):
    """Each strategy, every channel, to the last digits."""
    code = (
        "import numpy as np, test_engine_compiled as t; from drivesim.engine.kernel import advance\n"
        "np.savez('interpreted.npz', **t.all_busy()); assert not hasattr(advance, 'py_func')"
    )
    here = os.pathsep.join((str(ROOT), str(Path(__file__).parent)))
    python(code, tmp_path, PYTHONPATH=here, NUMBA_DISABLE_JIT="1")
    with np.load(tmp_path / "interpreted.npz") as interpreted:
        for name, ours in all_busy().items():
            assert ours.shape[0] == 10
            for channel in ours.dtype.names:
                theirs = interpreted[name][channel]
                size = np.abs(ours[channel]).max()
                assert np.abs(ours[channel] - theirs).max() <= 1e-9 * size + 1e-12, (name, channel)


HELPER = """from toy._compile import compiled
FACTOR = 3.0


@compiled
def helper(x):
    return FACTOR * x
"""
CALLER = """from toy._compile import compiled
from toy.physics.helper import helper


@compiled
def call(x):
    return helper(x) + 1.0
"""
#: the same pair with numba's own cache, which looks only at the file of the function called
PLAIN = "import numba\n\n\ndef compiled(function):\n    return numba.njit(cache=True)(function)\n"


@pytest.mark.parametrize("plain", [False, True], ids=["ours", "numba's own"])
def test_an_edited_helper_in_another_file_is_compiled_anew(tmp_path, plain):
    """The trap of numba's cache: shown with its own cache, and shut with ours."""
    package = tmp_path / "toy"
    for folder in ("physics", "engine"):
        (package / folder).mkdir(parents=True)
        (package / folder / "__init__.py").touch()
    (package / "__init__.py").touch()
    if plain:
        (package / "_compile.py").write_text(PLAIN)
    else:
        shutil.copy(_compile.__file__, package / "_compile.py")
    (package / "physics" / "helper.py").write_text(HELPER)
    (package / "engine" / "caller.py").write_text(CALLER)
    code = "from toy.engine.caller import call; print(call(2.0), sum(call.stats.cache_hits.values()))"
    cache = str(tmp_path / "cache")
    assert python(code, tmp_path, NUMBA_CACHE_DIR=cache) == "7.0 0"
    assert python(code, tmp_path, NUMBA_CACHE_DIR=cache) == "7.0 1"  # the cache does work
    (package / "physics" / "helper.py").write_text(HELPER.replace("3.0", "50.0"))
    assert python(code, tmp_path, NUMBA_CACHE_DIR=cache) == ("7.0 1" if plain else "101.0 0")


def test_a_folder_that_cannot_be_written_means_no_cache(tmp_path):
    """Below a regular file nothing can be created, not even by an administrator."""
    (tmp_path / "file").write_text("")
    code = (
        "from drivesim import _compile; from drivesim.physics.motor import torque\n"
        "print(_compile.CACHE_FOLDER, torque(2.0, 7, 1.0))"
    )
    printed = python(code, ROOT, NUMBA_CACHE_DIR=str(tmp_path / "file" / "cache"), PYTHONPATH=str(ROOT))
    assert printed == "None 21.0"


def test_compiled_code_outside_the_hashed_folders_is_refused():
    def function(x: float) -> float:
        return x

    function.__module__ = "drivesim.analysis.anything"
    with pytest.raises(ImportError, match="may not hold compiled code"):
        _compile.compiled(function)


def test_only_our_own_old_caches_are_removed(tmp_path):
    """The folder may be the user's, and hold other things."""
    kept = ["kernel-thesis", "drivesim-notes", "drivesim-0123456789abcdef.txt"]
    ours = [f"drivesim-{number:016x}" for number in range(8)]
    for name in kept + ours:
        (tmp_path / name).mkdir()
    subprocess.run(
        [sys.executable, "-c", "import drivesim._compile"],
        env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}, check=True, timeout=60,
    )  # fmt: skip
    left = {path.name for path in tmp_path.iterdir()}
    assert set(kept) <= left
    assert len(left - set(kept)) == 4
