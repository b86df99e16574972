"""Each caution appears with its figure where it applies, and not where it does not."""

import math
import re

import numpy as np
import pytest
from analysis_runs import GRIP, LOCKED_BEARINGS, recording, run, slope, text

from drivesim.analysis.cautions import ALWAYS

#: one cell, nothing rated tightly: only what is always said
QUIET = {"rover.battery.cells_in_series": "1", "drive.sensor.sensors": "3"}
COOL = {"rover.wheel.winding.heat_capacity": "1e6 J/K", "rover.wheel.winding.thermal_resistance": "0.001 K/W"}
WARM = {"rover.wheel.winding.heat_capacity": "0.02 J/K"}


def cautions(**change):
    """What is said on the quiet run with ``change``, less what is always said, which comes last."""
    *found, last = run(text(duration=2, **(QUIET | change))).summary["cautions"]
    assert last == ALWAYS
    return found


def most(trace):
    """Return the wheel with the greatest value, and that value."""
    return str(trace["wheel"].values[np.argmax(trace.values)]), float(trace.max())


def figures():
    """The quiet run's own figures, from its traces."""
    traces = run(text(duration=2, **QUIET)).traces
    return {
        "current": float(traces["battery_current"].max()),
        "voltage": float(traces["bus_voltage"].min()),
        "phase current": float(np.hypot(traces["current_d"], traces["current_q"]).max()),
    }


def test_a_quiet_run_is_told_only_what_always_holds():
    assert cautions() == []
    assert "current-limited supply" in ALWAYS
    assert "supports but does not replace" in ALWAYS


def test_a_pack_discharged_above_its_rating():
    current = figures()["current"]
    capacity = 0.65
    assert cautions(**{"rover.battery.discharge_rating": repr(current / capacity * 1.001)}) == []
    (said,) = cautions(**{"rover.battery.discharge_rating": repr(current / capacity / 2)})
    assert said.startswith(f"Lithium cells: {current:.2g} A drawn, the rating allows {current / 2:.2g} A")
    # two in parallel share it
    assert (
        cautions(
            **{
                "rover.battery.discharge_rating": repr(current / capacity * 0.6),
                "rover.battery.cells_in_parallel": "2",
            }
        )
        == []
    )


def test_cells_below_their_cut_off():
    lowest = figures()["voltage"]
    assert cautions(**{"rover.battery.cut_off": f"{lowest * 0.999!r} V"}) == []
    (said,) = cautions(**{"rover.battery.cut_off": f"{lowest * 1.001!r} V"})
    down = math.floor(100 * lowest) / 100
    assert said.startswith(
        f"Lithium cells: down to {down:.2f} V a cell under load, below the cut-off of {lowest * 1.001:g} V"
    )


def test_cells_in_series_and_the_charger():
    (said,) = cautions(**{"rover.battery.cells_in_series": "2"})
    assert said.startswith("Lithium cells: 2 cells in series")
    assert "single cell must never be used" in said
    # the cut-off counts for each cell, not for the pack
    assert cautions(**{"rover.battery.cells_in_series": "2", "rover.battery.cut_off": "3.5 V"}) == [said]


def test_a_winding_over_its_limit_names_the_wheel_and_the_temperature():
    drag = {"rover.wheels.rear_left.extra_drag": "3 mN*m"}  # the one that works hardest
    peaks = run(text(duration=2, **(QUIET | WARM | drag))).traces["winding_temperature"].max("time")
    wheel, hottest = most(peaks)
    assert wheel == "rear_left"
    assert 24 < hottest < 60
    (said,) = cautions(**WARM, **drag, **{"rover.wheel.winding.limit": f"{hottest - 1!r} degC"})
    assert said == f"Hot board: rear_left reached {hottest:.0f} degC, its limit is {hottest - 1:.0f} degC."
    assert cautions(**WARM, **drag, **{"rover.wheel.winding.limit": f"{hottest + 20!r} degC"}) == []


@pytest.mark.parametrize(
    ("drive", "power"), [("drives/speed_loop.yaml", 1), ("drives/locked_frequency.yaml", -1)]
)
def test_a_winding_that_would_get_too_hot_going_on_like_this(drive, power):
    """Loss follows R(T) at the same current in a loop, 1/R(T) at the same voltage in a forced field."""
    scenario = text(
        drive=drive,
        ground=slope(15, start=0.2),
        duration=10,
        **{"rover.wheel.winding.thermal_resistance": "45 K/W"},
    )
    result = run(scenario)
    said = next(c for c in result.summary["cautions"] if c.startswith("Hot board"))
    wheel, settled = re.search(r"run, (\w+) would settle near (\d+) degC", said).groups()
    late = (
        result.traces.isel(time=slice(result.traces.sizes["time"] // 2, None)).sel(wheel=wheel).mean("time")
    )
    growth = (1 + 0.00393 * (float(settled) - 20)) / (1 + 0.00393 * (float(late["winding_temperature"]) - 20))
    assert float(settled) - 22 == pytest.approx(45 * float(late["copper_loss"]) * growth**power, rel=0.02)


@pytest.mark.parametrize("ohms", ["150 mohm", "2 ohm"])
@pytest.mark.parametrize("way", [24, 60])
def test_what_the_bus_cannot_push_for_ever_heats_no_further(way, ohms):
    """Stalled at all the voltage there is, a wheel with little heat capacity settles where one with much is told to.

    Going on at the run's current, it would be told to burn.
    """
    stiff = {"rover.battery.cell_resistance": "0.1 mohm", "rover.wheel.driver.on_resistance": ohms}
    stalled = (
        QUIET | {"rover.battery.cells_in_series": "2"} | LOCKED_BEARINGS | stiff
        | {"drive.proportional": "2 V*s/rad", "rover.wheel.winding.thermal_resistance": f"{way} K/W"}
    )  # fmt: skip
    said = [c for c in run(text(**stalled)).summary["cautions"] if c.startswith("Hot")]
    told = re.search(
        r"would lose torque as its copper warms and settle near (\d+) degC, held by its voltage", said[0]
    )
    quick = run(text(**stalled, **{"rover.wheel.winding.heat_capacity": "0.005 J/K"}))
    settled = quick.traces["winding_temperature"].values
    assert settled[-1] == pytest.approx(settled[-20], abs=0.2)
    assert float(told.group(1)) == pytest.approx(settled[-1].max(), abs=1.5)
    assert not any("feeds itself" in c for c in said)


def test_a_wheel_dragged_against_its_drive_takes_more_than_one_at_standstill():
    """Sliding back at 1.2 V ahead, back-EMF adds to it: told is what this loss comes to as the copper warms."""
    result = run(
        text(
            drive="{strategy: fixed_voltage, voltage_per_speed: 0.2 V*s/rad, sensor: {kind: ideal}}",
            ground=slope(30), commands="[{at: 0 s, left: 6 rad/s, right: 6 rad/s}]", duration=1,
            **GRIP,
            **{"rover.wheel.winding.thermal_resistance": "60 K/W", "rover.wheel.winding.limit": "60 degC"},
        )
    )  # fmt: skip
    late = result.traces.isel(time=slice(result.traces.sizes["time"] // 2, None)).mean("time")
    said = next(c for c in result.summary["cautions"] if c.startswith("Hot board"))
    wheel, told = re.search(r"run, (\w+) would lose torque .* settle near (\d+) degC, held", said).groups()
    cold, hot = (1 + 0.00393 * (float(T) - 20) for T in (late["winding_temperature"].sel(wheel=wheel), told))
    loss = float(late["copper_loss"].sel(wheel=wheel)) * cold / hot
    assert float(told) - 22 == pytest.approx(60 * loss, rel=0.02)
    assert loss > 1.3 * 1.5 * 1.2**2 * 2.4 * hot / (2.4 * hot + 0.15) ** 2  # what 1.2 V does at standstill


@pytest.mark.parametrize("volts", [1.5, 3])
def test_a_fixed_voltage_heats_no_further_than_it_can(volts):
    """Blocked at a fixed voltage below the bus's: told is where a wheel with little heat capacity settles."""
    blocked = {
        **LOCKED_BEARINGS, "rover.wheel.winding.thermal_resistance": "60 K/W",
        "rover.wheel.winding.limit": "40 degC",
    }  # fmt: skip
    what = {
        "drive": f"{{strategy: fixed_voltage, voltage_per_speed: {volts} V*s/rad, sensor: {{kind: ideal}}}}",
        "commands": "[{at: 0 s, left: 1 rad/s, right: 1 rad/s}]",
    }
    said = next(c for c in run(text(**what, **blocked)).summary["cautions"] if c.startswith("Hot board"))
    quick = run(text(**what, **blocked, **{"rover.wheel.winding.heat_capacity": "0.005 J/K"}))
    settled = float(quick.traces["winding_temperature"].values[-1].max())
    assert float(re.search(r"near (\d+) degC, held by its voltage", said).group(1)) == pytest.approx(
        settled, abs=1.0
    )


def test_tyres_that_the_weight_squashes_flat():
    assert not any("pressed in" in c for c in run(text()).summary["cautions"])
    flat = run(text(**{"rover.wheel.tyre.radial_stiffness": "0.1 N/mm"})).summary["cautions"]
    assert any("presses them in by 15 mm of 34 mm radius; check radial_stiffness" in c for c in flat)


def test_one_random_ground_is_called_one_of_many():
    rough = "{length: 3 m, features: [{kind: roughness, rms: 1 mm, correlation_length: 50 mm}]}"
    assert any(
        c.startswith("One random ground of many (seed 1)")
        for c in run(text(ground=rough)).summary["cautions"]
    )
    assert not any("random ground" in c for c in run(text()).summary["cautions"])


def test_hot_to_touch():
    hot = {"rover.wheel.winding.limit": "900 degC"}

    def at(ambient):
        return run(text(duration=2, **(QUIET | hot | COOL)) + f"ambient: {ambient} degC\n").summary[
            "cautions"
        ][:-1]

    assert at(59.9) == []
    (said,) = at(60.6)
    assert said.endswith("_left reached 61 degC, its limit is 60 degC.")
    assert said.startswith("Hot to touch: ")


def test_a_driver_over_its_rating():
    current = figures()["phase current"]
    assert cautions(**{"rover.wheel.driver.current_rating": f"{current * 1.001!r} A"}) == []
    (said,) = cautions(**{"rover.wheel.driver.current_rating": f"{current / 2!r} A"})
    assert said == f"Wheel controllers: {current:.2g} A peak phase current, rated {current / 2:g} A."


def test_braking_on_a_single_sensor():
    assert cautions(**{"drive.braking": "true"}) == []  # three sensors
    assert cautions(**{"drive.sensor.sensors": "1"}) == []  # no braking
    (said,) = cautions(**{"drive.sensor.sensors": "1", "drive.braking": "true"})
    assert "cannot see the direction" in said
    # one such wheel is enough
    one = "{rear_left: {braking: true, sensor: {sensors: 1}}}"
    assert cautions(**{"drive.overrides": one}) == [said]


@pytest.mark.parametrize(
    ("scenario", "words"),
    [
        (
            text(ground=slope(40), **{"rover.centre_of_gravity": "[0 mm, 0 mm, 120 mm]"}, **GRIP, **QUIET),
            "The model ends where the rover tips over",
        ),
        (
            text(commands="[{at: 0.2 s, turn: 60 deg/s}]", **{"rover.battery.cell_resistance": "10 ohm"}),
            "The model ends where the supply collapses",
        ),
    ],
)
def test_where_the_model_ends(scenario, words):
    said = run(scenario).summary["cautions"]
    assert sum(words in caution for caution in said) == 1
    assert "The model ends" not in " ".join(cautions())


def test_energy_from_nowhere_is_not_passed_over_in_silence():
    """At full voltage against an edge nearly as high as the wheel's radius: beyond what the contact is made for."""
    hard = run(
        text(
            ground="{length: 1 m, width: 0.8 m, features: [{kind: step, at: 0.25 m, height: 33 mm}]}",
            drive="{strategy: fixed_voltage, voltage_per_speed: 0.5 V*s/rad, sensor: {kind: ideal}}",
            commands="[{at: 0.1 s, left: 7 rad/s, right: 7 rad/s}]",
        )
    )
    lost = abs(hard.summary["ledger"]["remainder"])
    said = hard.summary["cautions"][0]
    assert said.startswith(f"Numbers: {lost:.2g} J against ")
    assert "do not rely on this run" in said


def test_cautions_come_in_order_of_danger():
    everything = {
        "rover.battery.cells_in_series": "2", "rover.battery.discharge_rating": "0.001",
        "rover.battery.cut_off": "4.1 V",
        "rover.wheel.winding.limit": "22.0001 degC", "rover.wheel.driver.current_rating": "1 mA",
        "drive.sensor.sensors": "1", "drive.braking": "true",
    }  # fmt: skip
    said = [caution.split(":")[0] for caution in cautions(**everything)]
    assert said[:3] == ["Lithium cells"] * 3
    assert said[3:] == ["Hot board", "Wheel controllers", "Speed loop with braking on a single Hall sensor"]
    assert (
        recording(text()).scenario.rover.battery.cells_in_series == 2
    )  # the shipped rover has a pack of two


def test_a_sample_time_shorter_than_the_step():
    assert cautions(**{"drive.sample_time": "1.3 ms", "step": "0.25 ms"}) == []  # kept on average
    (said,) = cautions(**{"drive.sample_time": "0.2 ms", "step": "0.25 ms"})
    assert said.startswith("Numbers: front_left samples every 0.2 ms, more often than the step of 0.25 ms")
