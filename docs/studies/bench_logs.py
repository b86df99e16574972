"""Makes the bench logs in scenarios/bench: a crawler that differs from its file, measured with seeded noise.

    python docs/studies/bench_logs.py

``TRUTH`` is what the invented rover really has; docs/fit.md shows that ``drivesim fit`` finds it.  Each log comes from
the model of its own test, with the noise of ordinary instruments and, in one log, a misread row.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from drivesim import Scenario, load_scenario
from drivesim.fitting.joint import predict
from drivesim.fitting.logs import Log
from drivesim.fitting.places import changed

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "scenarios" / "bench"
SCENARIO = ROOT / "scenarios" / "bench_start.yaml"
SEED = 20

#: the rover on the bench; its file says 4.8 ohm, 1.67 mWb, 0.4 mN*m, 10 uN*m*s/rad, 24 K/W, 9 J/K, 70 mohm, none
TRUTH = {
    "rover.wheel.motor.terminal_resistance": 4.8 * 1.09,
    "rover.wheel.motor.flux_linkage": 1.67e-3 * 0.97,
    "rover.wheel.bearing.dry": 0.62e-3,
    "rover.wheel.bearing.viscous": 10.4e-6,
    "rover.wheel.inertia": 3.1e-5,
    "rover.wheel.winding.thermal_resistance": 29.0,
    "rover.wheel.winding.heat_capacity": 9.4,
    "rover.battery.cell_resistance": 0.104,
    "rover.battery.diffusion_resistance": 0.038,
    "rover.battery.diffusion_time": 42.0,
}
#: of the whole rover, driven on the bench's flat ground
DRIVEN_TRUTH = {"rover.wheel.tyre.rolling_resistance": 0.045, "rover.wheels.rear_left.extra_drag": 2.4e-3}
STILL = 5.0  # rad/s, below which the Hall sensor has too few edges to tell a speed
MISREAD_ROW = 4  # of locked_rotor: a tenth of an ampere too much is written
NOTE = "note: invented; made by docs/studies/bench_logs.py"


def blank(
    kind: str, channels: tuple[str, ...], controls: dict[str, np.ndarray], **settings: float | str
) -> Log:
    """Return a log whose measured channels are still empty."""
    rows = len(next(iter(controls.values())))
    return Log(
        kind,
        kind,
        controls | {name: np.zeros(rows) for name in channels},
        settings,
        at_motor=kind == "locked_rotor",
    )


def main(folder: Path = FOLDER) -> None:
    """Write all logs into ``folder``."""
    folder.mkdir(exist_ok=True, parents=True)
    rover = changed(load_scenario(SCENARIO), TRUTH)
    draw = np.random.default_rng(np.random.SeedSequence(SEED))
    for make in (no_load, locked_rotor, spin_down, pull_out, warm_up, cell_pulse, driven):
        make(rover, draw, folder)


def no_load(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """One wheel off the ground, the driver's amplitude set by hand; speed by a tachometer, current by a clamp."""
    voltage = np.repeat([0.6, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5], 2)
    log = blank("no_load", ("speed", "current"), {"voltage": voltage}, winding_temperature=24.0)
    found = predict(rover, log, {})
    rpm = found["speed"] * 30 / np.pi + 4 * draw.standard_normal(voltage.size)
    current = found["current"] * 1e3 + 2 * draw.standard_normal(voltage.size)
    rows = zip(voltage, rpm, current, strict=True)
    write(
        folder / "no_load.csv", ["test: no_load", NOTE, "wheel: front_left", "winding_temperature: 24 degC"],
        "phase_voltage [V], speed [rpm], phase_current [mA]", [f"{v:.2f},{s:.0f},{i:.0f}" for v, s, i in rows],
    )  # fmt: skip


def locked_rotor(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """Direct current through two leads, the wheel held; a spring balance shows the greatest holding torque."""
    volts = np.array([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0])
    log = blank(
        "locked_rotor", ("current", "torque"), {"voltage": volts / np.sqrt(3)}, winding_temperature=25.0
    )
    found = predict(rover, log, {})
    amps = found["current"] * np.sqrt(3) / 2 + 2e-3 * draw.standard_normal(volts.size)
    amps[MISREAD_ROW] += 0.1
    torque = found["torque"] * 1e3 + 0.25 * draw.standard_normal(volts.size)
    rows = zip(volts, amps, torque, strict=True)
    write(
        folder / "locked_rotor.csv", ["test: locked_rotor", NOTE, "wheel: front_left", "winding_temperature: 25 degC"],
        "dc_voltage [V], dc_current [A], torque [mN*m]", [f"{v:.2f},{i:.3f},{t:.1f}" for v, i, t in rows],
    )  # fmt: skip


def spin_down(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """The wheel let go from no-load speed; the speed by the Hall sensor's edges."""
    time = np.arange(0.0, 5.2, 0.1)
    log = blank("spin_down", ("speed",), {"time": time})
    speed = predict(rover, log, {"start_speed": 205.0})["speed"]
    rpm = (speed * 30 / np.pi + 5 * draw.standard_normal(time.size))[speed > STILL]
    write(
        folder / "spin_down.csv", ["test: spin_down", NOTE, "wheel: front_left"],
        "time [s], speed [rpm]", [f"{t:.1f},{s:.0f}" for t, s in zip(time, rpm, strict=False)],
    )  # fmt: skip


def pull_out(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """A forced field; a cord around the wheel is tightened slowly until it loses step."""
    volts, hertz = (grid.ravel() for grid in np.meshgrid([0.8, 1.2, 1.6, 2.0], [5.0, 20.0, 40.0]))
    log = blank("pull_out", ("load",), {"frequency": hertz, "voltage": volts}, winding_temperature=30.0)
    force = predict(rover, log, {})["load"] / 0.034 + 0.006 * draw.standard_normal(volts.size)
    write(
        folder / "pull_out.csv",
        ["test: pull_out", NOTE, "wheel: front_left", "winding_temperature: 30 degC", "arm: 34 mm"],
        "frequency [Hz], phase_voltage [V], brake_force [mN]",
        [f"{f:.0f},{v:.2f},{b * 1e3:.0f}" for f, v, b in zip(hertz, volts, force, strict=True)],
    )  # fmt: skip


def warm_up(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """Constant direct current through two leads; the winding's temperature by a thermocouple, then switched off."""
    time = np.concatenate([np.arange(0, 120, 10.0), np.arange(120, 1500, 60.0), np.arange(1500, 2401, 60.0)])
    amps = np.where(time < 1500, 0.5, 0.0)
    log = blank(
        "warm_up", ("winding_temperature",), {"time": time, "current": amps * 2 / np.sqrt(3)}, ambient=21.5
    )
    degrees = predict(rover, log, {})["winding_temperature"] + 0.3 * draw.standard_normal(time.size)
    write(
        folder / "warm_up.csv", ["test: warm_up", NOTE, "wheel: front_left", "ambient: 21.5 degC"],
        "time [s], dc_current [A], winding_temperature [degC]",
        [f"{t:.0f},{i:.2f},{d:.1f}" for t, i, d in zip(time, amps, degrees, strict=True)],
    )  # fmt: skip


def cell_pulse(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """The pack under an electronic load: rest, 2 A for a minute, rest."""
    time = np.arange(0.0, 301.0, 2.0)
    amps = np.where((time >= 20) & (time < 110), 2.0, 0.0)
    log = blank("cell_pulse", ("voltage",), {"time": time, "current": amps}, state_of_charge=0.8)
    volts = predict(rover, log, {"open_circuit": 3.905})["voltage"] + 1.5e-3 * draw.standard_normal(time.size)
    write(
        folder / "cell_pulse.csv", ["test: cell_pulse", NOTE, "across: pack", "state_of_charge: 80 %"],
        "time [s], current [A], terminal_voltage [V]",
        [f"{t:.0f},{i:.2f},{v:.3f}" for t, i, v in zip(time, amps, volts, strict=True)],
    )  # fmt: skip


def driven(rover: Scenario, draw: np.random.Generator, folder: Path) -> None:
    """The whole rover on the flat bench of scenarios/bench_start.yaml, its own telemetry every 50 ms."""
    time = np.arange(1.2, 5.95, 0.05)
    channels = (
        "bus_voltage",
        "battery_current",
        *(f"phase_voltage {name}" for name in rover.rover.wheel_names),
    )
    log = blank("rover", channels, {"time": time})
    found = predict(changed(rover, DRIVEN_TRUTH), log, {})
    noise = {"bus_voltage": 4e-3, "battery_current": 4e-3}
    columns = [found[name] + noise.get(name, 0.02) * draw.standard_normal(time.size) for name in channels]
    units = {"bus_voltage": "V", "battery_current": "A"}
    header = ", ".join(["time [s]", *(f"{name} [{units.get(name, 'V')}]" for name in channels)])
    rows = [
        ",".join([f"{t:.2f}", *(f"{v:.3f}" for v in row)]) for t, *row in zip(time, *columns, strict=True)
    ]
    write(folder / "driven.csv", ["test: rover", NOTE], header, rows)


def write(path: Path, comments: list[str], header: str, rows: list[str]) -> None:
    """Write one log."""
    text = "\n".join([*(f"# {line}" for line in comments), header, *rows])
    path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*(Path(word) for word in sys.argv[1:]))
