"""A whole rover on smooth ground against scipy's integrator, with the equations of motion written out anew.

Side view: way, height and pitch of the body; per axle a wheel's spin, its tread's deflection, its currents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from engine_rovers import G, ideal
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.model import Model
from drivesim.engine.simulate import run_model

AMPLITUDE, WAVE, START = 1.5e-3, 0.16, -1.0
MASS, PITCH_INERTIA, RADIUS, INERTIA = 1.0, 5e-3, 0.05, 1e-4
HALF_BASE, CG_HEIGHT = 0.1, 0.015
K_RADIAL, C_RADIAL = 5000.0, 10.0
SLIP_STIFFNESS, SIGMA, MU, MU_SLIDING, STRIBECK = 40.0, 0.01, 0.8, 0.6, 0.05
TREAD_SHARE = 0.2
DRY, VISCOUS, ROLLING = 1e-3, 2e-5, 0.02
POLES, R, LAM, L = 7, 1.0, 2e-3, 5e-4
VOLTS_PER_SPEED, SPEED = 0.1, 8.0
DURATION, ROW = 1.2, 0.01


def scenario():
    """Return the run that the equations below describe: a step of voltage on washboard ground."""
    return ideal(
        {
            "rover.centre_of_gravity": ["0 m", "0 m", f"{CG_HEIGHT} m"],
            "rover.wheel.tyre.sliding_friction": MU_SLIDING,
            "rover.wheel.tyre.rolling_resistance": ROLLING,
            "rover.wheel.bearing": {"dry": f"{DRY} N*m", "viscous": f"{VISCOUS} N*m*s/rad"},
            "rover.wheel.motor.phase_inductance": f"{L} H",
            "ground": {
                "length": "1.5 m", "behind": "1 m", "width": "1 m", "cell": "0.1 mm",
                "features": [{
                    "kind": "washboard", "start": f"{START} m", "wavelength": f"{WAVE} m",
                    "amplitude": f"{AMPLITUDE} m",
                }],
            },
            "drive.voltage_per_speed": f"{VOLTS_PER_SPEED} V*s/rad",
            "commands": [{"at": "0 s", "left": f"{SPEED} rad/s", "right": f"{SPEED} rad/s"}],
            "duration": f"{DURATION} s",
            "record_every": f"{ROW} s",
        }
    )  # fmt: skip


def centre_line() -> CubicSpline:
    """Return the height of a wheel's centre over x: the curve parallel to the sine at one radius."""
    s = np.linspace(-1.0, 1.5, 25_001)
    phase = 2 * math.pi * (s - START) / WAVE
    z, slope = AMPLITUDE * np.sin(phase), AMPLITUDE * 2 * math.pi / WAVE * np.cos(phase)
    root = np.sqrt(1 + slope**2)
    return CubicSpline(s - RADIUS * slope / root, z + RADIUS / root)


@dataclass
class Axle:
    """Two equal wheels at ``x`` [m] ahead of the centre of gravity."""

    x: float
    line: CubicSpline

    def rates(self, body: np.ndarray, wheel: np.ndarray) -> tuple[list[float], list[float]]:
        """Return a wheel's force x, force z and moment on the body [N, N·m], and its own rates of change."""
        x, z, pitch, vx, vz, rate = body
        spin, u, i_d, i_q = wheel
        c, s = math.cos(pitch), math.sin(pitch)
        arm_x, arm_z = c * self.x - s * CG_HEIGHT, -s * self.x - c * CG_HEIGHT
        hub_vx, hub_vz = vx + rate * arm_z, vz - rate * arm_x
        slope = float(self.line(x + arm_x, 1))
        nx, nz = -slope / math.hypot(1, slope), 1 / math.hypot(1, slope)
        depth = (float(self.line(x + arm_x)) - z - arm_z) * nz
        N = max(0.0, K_RADIAL * depth - C_RADIAL * (hub_vx * nx + hub_vz * nz)) if depth > 0 else 0.0
        slip = hub_vx * nz - hub_vz * nx - RADIUS * spin
        du = -slip - abs(RADIUS * spin) / SIGMA * u
        limit = N * (MU_SLIDING + (MU - MU_SLIDING) * math.exp(-((slip / STRIBECK) ** 2)))
        k = SLIP_STIFFNESS / SIGMA
        damping = 2 * TREAD_SHARE * math.sqrt(k / (RADIUS**2 / INERTIA + 4 / MASS))
        xi = k * abs(u) / (3 * limit)
        assert xi < 1  # the case keeps its grip, so that all is smooth
        force = math.copysign(limit * (3 * xi - 3 * xi**2 + xi**3), u) + damping * du
        turning = spin - rate
        we = POLES * turning
        d_id = (-R * i_d + we * L * i_q) / L
        d_iq = (VOLTS_PER_SPEED * SPEED - R * i_q - we * L * i_d - we * LAM) / L
        motor = 1.5 * POLES * LAM * i_q
        bearing = DRY + VISCOUS * turning
        d_spin = (motor - RADIUS * force - ROLLING * N * RADIUS - bearing) / INERTIA
        fx, fz = N * nx + force * nz, N * nz - force * nx
        return [fx, fz, arm_z * fx - arm_x * fz - motor + bearing], [d_spin, du, d_id, d_iq]


def right_hand_side(axles: tuple[Axle, Axle]):
    """Return dy/dt of y = body (x, z, pitch, vx, vz, rate), front wheel, rear wheel (spin, u, id, iq)."""

    def rates(_t: float, y: np.ndarray) -> list[float]:
        front, front_rates = axles[0].rates(y[:6], y[6:10])
        rear, rear_rates = axles[1].rates(y[:6], y[10:14])
        force_x, force_z, moment = (2 * (a + b) for a, b in zip(front, rear, strict=True))
        body = [y[3], y[4], y[5], force_x / MASS, force_z / MASS - G, moment / PITCH_INERTIA]
        return body + front_rates + rear_rates

    return rates


@pytest.fixture(scope="module")
def reference():
    """Return the integrator's solution from the pose the rover settles in."""
    body = build(scenario()).bodies[0]
    pitch = 2 * math.atan2(body["q2"], body["q0"])
    start = [body["x"], body["z"], pitch, *[0.0] * 11]
    line = centre_line()
    rates = right_hand_side((Axle(HALF_BASE, line), Axle(-HALF_BASE, line)))
    return solve_ivp(
        rates, (0, DURATION), start, method="LSODA", rtol=1e-9, atol=1e-11, dense_output=True
    ).sol


def errors(model: Model, reference) -> dict[str, float]:
    """Return the largest departure of each trace from the reference, as a share of that trace's range."""
    recording = run_model(model)
    ticks = int(model.params["record_ticks"][0])
    ends = (np.arange(recording.time.size * ticks) + 1) * model.step
    y = reference(ends).reshape(14, -1, ticks).mean(axis=2)  # rows hold means over their interval
    forward = np.cos(y[2]) * y[3] - np.sin(y[2]) * y[4]
    pairs = {
        "x": (recording.body["x"], y[0]),
        "z": (recording.body["z"], y[1]),
        "pitch": (recording.body["pitch"], y[2]),
        "speed": (recording.body["speed"], forward),
        "front spin": (recording.wheels["wheel_speed"][:, 0], y[6] - y[5]),
        "rear spin": (recording.wheels["wheel_speed"][:, 2], y[10] - y[5]),
        "rear current": (recording.wheels["current_q"][:, 2], y[13]),
    }
    return {name: float(np.abs(a - b).max() / np.ptp(b)) for name, (a, b) in pairs.items()}


def test_trajectories_against_an_independent_integrator(reference):
    """Within 0.05 % of each trace's range at a short step, within 0.5 % at the step it chooses itself."""
    found = errors(build(scenario(), 2e-5), reference)
    assert max(found.values()) < 5e-4, found
    found = errors(build(scenario()), reference)
    assert max(found.values()) < 5e-3, found


def test_the_method_is_of_first_order(reference):
    """Halving the step halves the error (semi-implicit Euler)."""
    coarse, fine = (errors(build(scenario(), step), reference) for step in (2e-4, 1e-4))
    for name in ("x", "z", "pitch", "speed", "rear current"):
        assert math.log2(coarse[name] / fine[name]) > 0.85, (name, coarse[name], fine[name])


def test_energy_is_lost_or_made_by_the_step_alone():
    """On smooth ground what the ledger cannot explain is small and shrinks with the step."""
    lost = [
        abs(ledger(run_model(build(scenario(), step)))["remainder_fraction"]) for step in (2e-4, 1e-4, 5e-5)
    ]
    assert lost[0] < 1e-4
    assert lost[0] > 1.7 * lost[1] > 1.7**2 * lost[2]
