"""Verdicts that name brown-outs, faults, soil and current limits, and what may help; the figures behind them."""

import numpy as np
import pytest
from analysis_runs import AHEAD, KERB, SCENARIOS, run, text

from drivesim import load_scenario
from drivesim.analysis.derived import derived
from drivesim.analysis.run import simulate
from drivesim.engine.build import build

SAND = {
    "rover.wheel.tyre.width": "10 mm",
    "ground.soil": "{preset: dry_sand}",
    "ground.features": "[{kind: ramp, start: -0.9 m, end: 3 m, slope: 12 deg}]",
}


@pytest.fixture(scope="module")
def stuttering():
    return simulate(load_scenario(SCENARIOS / "brown_out.yaml"))


def test_a_stutter_is_called_a_brown_out_with_its_figures(stuttering):
    resets = [e for e in stuttering.events if e.kind == "reset" and "reset" in e.effect]
    assert len(resets) >= 2
    assert stuttering.summary["supply"]["resets"] == len(resets)
    off = 1 - float(stuttering.traces["powered"].mean())
    assert stuttering.verdict.startswith(
        f"stuttered in a brown-out: the bus fell below 6 V {len(resets)} times ("
    )
    assert f"the wheel controllers were off {off:.0%} of the time" in stuttering.verdict
    assert "pack" in stuttering.summary["may_help"]
    assert any(c.startswith("Brown-out: the wheel controllers reset") for c in stuttering.summary["cautions"])


def test_a_sound_supply_is_not_blamed():
    result = run(text())
    assert "brown-out" not in result.verdict
    assert result.summary["supply"]["resets"] == 0
    assert result.summary["may_help"] == ""


def test_endurance_is_charge_over_mean_current():
    result = run(text())
    current = float(result.traces["battery_current"].mean())
    assert result.summary["supply"]["endurance_h"] == pytest.approx(0.65 * 0.9 / current)


def test_a_dead_driver_is_named_with_its_time():
    scenario = text(ground=KERB, duration=5) + "events: [{at: 0.5 s, kind: driver_dies, wheel: front_left}]\n"
    result = run(scenario)
    assert "(after: front_left: driver dead, phases open at 0.5 s)" in result.verdict
    mended = scenario.replace("wheel: front_left}", "wheel: front_left, lasts: 0.3 s}")
    assert "driver" not in run(mended).verdict


def test_wheels_on_soil_spin_at_the_soil_s_limit():
    result = run(text(duration=4, **SAND))
    assert "at the soil's limit, sunk " in result.verdict
    assert "lugs" in result.summary["may_help"]
    assert max(w["deepest_sinkage_m"] for w in result.summary["wheels"].values()) > 0.002


def test_a_current_limit_is_not_called_the_bus_voltage():
    result = run(text(ground=KERB, duration=6, **{"rover.wheel.driver.current_limit": "0.5 A"}))
    assert "at its current limit" in result.verdict
    assert "current limit" in result.summary["may_help"]
    assert max(w["peak_current_A"] for w in result.summary["wheels"].values()) < 0.51


def test_a_wall_higher_than_the_wheel_is_called_by_its_label():
    wall = "{length: 1.5 m, features: [{kind: step, at: 0.3 m, height: 60 mm, label: the wall}]}"
    assert "the wall" in run(text(ground=wall, duration=5)).verdict


def test_recovery_is_counted_by_method():
    scenario = text(ground=KERB, commands=AHEAD, duration=12)
    scenario += "recovery: {stuck_for: 1 s, tries: 3, method: [rock, back_off]}\n"
    recovery = run(scenario).summary["recovery"]
    assert recovery["tries"] == 3
    assert recovery["methods"]["rock"]["tries"] == 2
    assert recovery["methods"]["back_off"]["tries"] == 1
    assert recovery["freed"] == sum(m["freed"] for m in recovery["methods"].values())
    assert run(text()).summary["recovery"] is None


def test_what_follows_from_layers():
    """Shares add up; inner copper of 24.9 against outer 47.9 um costs R·(1 − 24.9/47.9) of the inner layers."""
    model = build(load_scenario(SCENARIOS / "thin_inner_layers.yaml"))
    found = derived(model)
    table = found["winding"]
    assert sum(row["share"] for row in table["layers"]) + table["vias_share"] == pytest.approx(1)
    outer, inner = table["layers"]
    assert (outer["thickness_um"], inner["thickness_um"]) == pytest.approx((47.9, 24.9), abs=0.05)
    even = table["phase_ohm"] - inner["resistance"] * (1 - inner["thickness_um"] / outer["thickness_um"])
    assert table["inner_cost"] == pytest.approx(table["phase_ohm"] / even)
    assert found["wheels"]["front_left"]["phase_resistance_ohm"] == pytest.approx(table["phase_ohm"])


def test_what_follows_from_the_rover_holds_in_a_run():
    """Standing loads add up to the weight; blocked wheels make the torque told for standstill."""
    changes = {
        f"rover.wheels.{w}.extra_drag": "1 N*m"
        for w in ("front_left", "front_right", "rear_left", "rear_right")
    }
    scenario = text(
        commands="[{at: 0 s, forward: 10 m/s}]", duration=1, **changes, **{"drive.proportional": "2 V*s/rad"}
    )
    from drivesim import scenario_from_text

    loaded = scenario_from_text(scenario, folder=SCENARIOS)
    found = derived(build(loaded))
    loads = [w["standing_load_N"] for w in found["wheels"].values()]
    assert sum(loads) == pytest.approx(loaded.rover.mass * loaded.gravity, rel=1e-6)
    result = simulate(loaded)
    torque = result.traces["motor_torque"].sel(wheel="front_left").values[-20:].mean()
    sag = result.traces["bus_voltage"].values[-20:].mean() / found["bus_voltage_V"]
    assert torque == pytest.approx(found["wheels"]["front_left"]["stall_torque_Nm"] * sag, rel=0.01)
    assert np.isfinite(found["ride_through_s"])
