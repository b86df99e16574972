"""What logs cannot tell is said, with the test that would help; what they can tell is not complained of."""

from __future__ import annotations

import numpy as np
import pytest
from fitting_logs import ROVER, TRUTH, made

from drivesim import DrivesimError
from drivesim.fitting.fit import fit
from drivesim.fitting.joint import Joint
from drivesim.fitting.logs import Log
from drivesim.fitting.parameters import Parameter, parameters
from drivesim.fitting.places import numbers, value_at

DRY, VISCOUS = "rover.wheel.bearing.dry", "rover.wheel.bearing.viscous"
RESISTANCE, FLUX = "rover.wheel.motor.terminal_resistance", "rover.wheel.motor.flux_linkage"


def blind(found) -> list[str]:
    """Return the warnings, without those of kept numbers that results hang on (see test_fitting_honest)."""
    return [text for text in found.summary["warnings"] if "whose error is in no interval" not in text]


def test_one_voltage_cannot_part_dry_from_viscous_drag():
    log = made("no_load", set_to={"voltage": np.full(10, 2.0)})
    found = fit(ROVER, [log], bootstrap=0)
    [warning] = blind(found)
    assert "cannot tell the bearing's dry drag and the bearing's viscous drag apart" in warning
    assert warning.endswith("no_load rows at several voltages, or a spin_down to standstill would help")
    assert not found.parameters.told[DRY]
    assert not found.parameters.told[VISCOUS]
    assert found.parameters.told[FLUX]  # the speed tells it all the same
    assert found.fitted.rover.wheel.bearing == ROVER.rover.wheel.bearing  # the file's numbers are kept
    assert found.fitted.rover.wheel.motor.lam != ROVER.rover.wheel.motor.lam
    assert found.summary["parameters"][DRY]["plus_minus"] is None or found.parameters.plus_minus[DRY] > 0


def test_several_voltages_do():
    found = fit(ROVER, [made("no_load")], bootstrap=0)
    assert blind(found) == []
    assert found.parameters.told.all()


def test_nearly_one_voltage_warns_too():
    log = made("no_load", set_to={"voltage": np.linspace(1.98, 2.02, 10)})
    [warning] = blind(fit(ROVER, [log], bootstrap=0))
    assert "apart (condition index" in warning


def test_coasting_alone_tells_no_inertia():
    free = [DRY, VISCOUS, "rover.wheel.inertia"]
    [warning] = blind(fit(ROVER, [made("spin_down")], free=free, bootstrap=0))
    assert "the wheel's inertia apart" in warning
    assert "a no_load test, which shows the drag by itself" in warning
    both = fit(ROVER, [made("spin_down"), made("no_load")], free=[*free, FLUX], bootstrap=0)
    assert blind(both) == []


def test_a_number_that_no_log_speaks_of_is_kept():
    found = fit(ROVER, [made("locked_rotor")], free=[RESISTANCE, FLUX, "rover.mass"], bootstrap=0)
    [warning] = blind(found)
    assert "nothing about rover.mass; the file's number is kept" in warning
    assert found.fitted.rover.mass == ROVER.rover.mass
    assert found.parameters.plus_minus["rover.mass"] == np.inf


def test_a_number_hardly_told_is_said_to_be():
    log = made("locked_rotor", noise=60.0)
    [warning] = blind(fit(ROVER, [log], bootstrap=0))
    assert warning.startswith("these logs hardly tell the magnets' flux linkage: 2.1 ± 1.1 mWb")
    assert warning.endswith("a back_emf or no_load test would help")


def test_a_number_that_must_be_more_than_nothing_and_is_not_is_kept():
    log = made("warm_up")
    cold = {**log.table, "winding_temperature": np.full(log.rows, ROVER.ambient)}
    found = fit(ROVER, [Log(log.name, log.kind, cold)], bootstrap=0)
    assert not found.parameters.told["rover.wheel.winding.thermal_resistance"]
    assert any("stands at its limit; the file's number is kept" in text for text in found.summary["warnings"])
    told = set(found.parameters.index[found.parameters.told])
    assert all(set(names) <= told for names in found.summary["hangs_on_the_file"].values())


def test_no_drag_at_all_is_an_answer():
    smooth = made("spin_down", truth=TRUTH | {DRY: 0.0}, noise=0.01)
    found = fit(ROVER, [smooth], bootstrap=0).parameters
    assert found.told[DRY]
    assert found.fitted[DRY] < 1e-6
    assert found.beyond_chance[DRY]


def test_equal_readings_are_no_better_than_their_digits():
    # 5.0 ohm to the digit; readings rounded to a third of an ampere do not make it sure that it is not the file's 4.8
    volts = np.arange(1.0, 8.0) / np.sqrt(3)
    table = {"voltage": volts, "current": volts / 2.5}
    logs = [Log("a", "locked_rotor", table, resolution={"current": r}, at_motor=True) for r in (0.1, 0.0005)]
    rough, fine = (fit(ROVER, [log]) for log in logs)
    assert rough.parameters.fitted[RESISTANCE] == pytest.approx(fine.parameters.fitted[RESISTANCE], rel=1e-6)
    assert not rough.parameters.beyond_chance[RESISTANCE]
    assert fine.parameters.beyond_chance[RESISTANCE]


def test_residuals_that_hang_together_are_told():
    log = made("spin_down")
    table = {**log.table, "speed": log.table["speed"] + 3 * np.sin(log.table["time"] * 2)}
    found = fit(ROVER, [Log(log.name, log.kind, table)])
    assert any("neighbouring residuals are alike (speed)" in w for w in found.summary["warnings"])


def test_a_log_is_worked_out_again_whenever_its_numbers_change():
    """The kept results never hide a number: each number of the rover is moved, with and without them."""
    kinds = (
        "no_load",
        "loaded",
        "back_emf",
        "locked_rotor",
        "spin_down",
        "pull_out",
        "warm_up",
        "cell_pulse",
    )
    logs = [made(kind) for kind in kinds]
    kept = parameters(ROVER, logs, None)
    moved = 0
    for path in numbers(ROVER):
        value = value_at(ROVER, path)
        other = value * 1.1 + (1e-6 if value == 0 else 0)
        free = (*kept, Parameter(path, "1", value, value, 1.0))
        joint = Joint(ROVER, logs, free)
        before = joint.predicted({path: value})
        after = joint.predicted({path: other})
        fresh = Joint(ROVER, logs, free).predicted({path: other})
        assert (after == fresh).all(), path
        moved += bool((after != before).any())
    assert moved > 12


@pytest.mark.parametrize(
    ("free", "words"),
    [
        (["rover.wheel.bering.dry"], "did you mean 'rover.wheel.bearing.dry'?"),
        (["rover.wheel.motor.pole_pairs"], "no number there that can be fitted"),
        (
            ["rover.wheel.motor.torque_constant"],
            "gives flux_linkage instead; give --free rover.wheel.motor.flux",
        ),
        (["drive.proportional"], "no number there that can be fitted"),
    ],
)
def test_a_wrong_path_is_told(free, words):
    with pytest.raises(DrivesimError) as raised:
        fit(ROVER, [made("locked_rotor")], free=free)
    assert words in str(raised.value)


def test_what_is_kept_and_what_goes_together_is_said():
    pulse = made("cell_pulse", channels=("voltage",))
    found = fit(ROVER, [made("locked_rotor", channels=("current",)), pulse], free=[RESISTANCE], bootstrap=0)
    remarks = found.summary["remarks"]
    [spoken] = [
        text for text in remarks if text.startswith("kept as in the file, though these logs speak of it")
    ]
    assert "rover.battery.cell_resistance" in spoken
    [silent] = [text for text in remarks if text.startswith("kept as in the file, since no log speaks of it")]
    assert all(path in silent for path in (DRY, VISCOUS, FLUX))
    assert RESISTANCE not in silent
    assert "locked_rotor: no winding_temperature told, 22 degC taken" in remarks
    narrow = made("no_load", set_to={"voltage": np.linspace(2.0, 2.6, 12)})
    both = fit(ROVER, [narrow], bootstrap=0)
    r = float(both.correlation.sel(parameter=DRY, other=VISCOUS))
    assert r < -0.95
    assert both.summary["correlation"][DRY][VISCOUS] == r
    words = "the errors of the bearing's dry drag and the bearing's viscous drag go together"
    assert any(text.startswith(words) for text in both.summary["remarks"])


def test_a_star_means_all_wheels():
    free = ["rover.wheels.*.extra_drag"]
    found = fit(ROVER, [made("spin_down", truth=TRUTH, wheel="rear_left")], free=free, bootstrap=0)
    assert list(found.parameters.index[:4]) == [
        f"rover.wheels.{n}.extra_drag" for n in ROVER.rover.wheel_names
    ]
    assert found.parameters.told["rover.wheels.rear_left.extra_drag"]
    assert not found.parameters.told["rover.wheels.rear_right.extra_drag"]


def test_too_few_readings_are_told():
    few = made("locked_rotor", set_to={"voltage": np.array([1.0, 2.0])}, channels=("current",))
    with pytest.raises(DrivesimError, match="found 2 readings for 3 unknown numbers"):
        fit(ROVER, [few], free=[RESISTANCE, FLUX, DRY])
