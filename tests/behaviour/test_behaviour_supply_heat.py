"""What the trade knows of packs, boards and brown-outs (common practice, no source), on the shipped rover."""

from math import sqrt

import numpy as np
import pytest
from behaviour_runs import BENCH, COLD, ON_RESISTANCE, SPEED_LOOP, WHEELS, forward, run, text

PUSH = {f"rover.wheels.{name}.extra_drag": "1 N*m" for name in WHEELS}  # wheels that never turn
HELD = {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad"}
FULL_SPEED = "[{at: 0.1 s, left: 100 rad/s, right: 100 rad/s}]"  # asks for all the bus gives
ONE_CELL = {"rover.battery.cells_in_series": "1"}


def resets(result) -> list[float]:
    """Return the times at which the wheel controllers reset [s]."""
    return [e.time for e in result.events if e.kind == "reset" and "reset" in e.effect]


def held(change, duration="3 s", stalled=WHEELS):
    """Return a run with ``stalled`` wheels blocked at all the voltage there is, the others turning in the air."""
    free = {f"rover.wheels.{name}.driven": "false" for name in WHEELS if name not in stalled}
    blocked = {path: value for path, value in PUSH.items() if path.split(".")[2] in stalled}
    drive = f"{{{', '.join(f'{k}: {v}' for k, v in HELD.items())}, sensor: {{kind: ideal}}}}"
    return run(
        text(
            drive=drive, ground=BENCH, commands=FULL_SPEED, duration=duration, change=blocked | free | change
        )
    )


def test_a_pouch_cell_s_safe_current_is_its_c_rating_times_its_capacity():
    """650 mAh at 8 C: 5.2 A, twice that with two side by side; the caution comes exactly from there on."""
    result = held(COLD)
    drawn = float(result.traces["battery_current"].max())
    for capacity, told in ((drawn / 8 * 0.99, True), (drawn / 8 * 1.01, False)):
        cells = {"rover.battery.capacity": f"{capacity} A*h", "rover.battery.discharge_rating": "8"}
        said = [c for c in held(COLD | cells).summary["cautions"] if "the rating allows" in c]
        assert bool(said) == told
    half = {"rover.battery.capacity": f"{drawn / 8 * 0.6} A*h", "rover.battery.cells_in_parallel": "2"}
    assert not any("the rating allows" in c for c in held(COLD | half).summary["cautions"])


def test_a_board_that_just_reaches_its_limit_at_nominal_voltage_exceeds_it_on_a_full_pack():
    """Stalled at the nominal 3.7 V a cell to the limit; a full cell gives (4.1/3.7)² = 1.23 times the heat."""
    quick = {
        "rover.wheel.winding.heat_capacity": "0.05 J/K", "rover.battery.cell_resistance": "1 mohm",
        "rover.battery.capacity": "20 A*h", "rover.battery.electronics": "0 W",
    }  # fmt: skip
    table = {
        volts: {"rover.battery.open_circuit": f"[[0, {volts} V], [1, {volts} V]]"} for volts in (3.7, 4.1)
    }
    nominal = held(quick | table[3.7], "12 s").traces["winding_temperature"].values[-1].max()
    limit = {"rover.wheel.winding.limit": f"{nominal + 1} degC"}
    at_nominal, on_full = (held(quick | table[v] | limit, "12 s") for v in (3.7, 4.1))
    assert not any(c.startswith("Hot board") and "reached" in c for c in at_nominal.summary["cautions"])
    assert any(c.startswith("Hot board") and "reached" in c for c in on_full.summary["cautions"])


def test_brown_out_comes_first_when_several_wheels_stall_at_once():
    """The same weak pack carries one stalled wheel for ever and resets with four."""
    weak = COLD | {
        "rover.battery.cell_resistance": "0.35 ohm",
        "rover.wheel.driver.lockout": "{below: 6.2 V, above: 6.8 V, boot: 0.3 s}",
    }
    count = [len(resets(held(weak, stalled=WHEELS[:n]))) for n in (1, 2, 3, 4)]
    assert count[0] == 0
    assert count[3] >= 3
    assert count == sorted(count)


def test_a_stutter_comes_no_faster_than_the_controllers_boot():
    boots = {}
    for boot in (0.2, 0.5):
        weak = COLD | {
            "rover.battery.cell_resistance": "0.5 ohm",
            "rover.wheel.driver.lockout": f"{{below: 6.2 V, above: 6.8 V, boot: {boot} s}}",
        }
        times = resets(held(weak))
        assert len(times) >= 3
        boots[boot] = np.diff(times).min()
        assert boots[boot] >= boot
    assert boots[0.5] > boots[0.2]


def test_more_bus_capacitance_rides_through_a_longer_bounce():
    """C·(V0² − V1²)/(2·P): ten times the capacitance, ten times the time."""
    longest = {}
    for capacitance in (0.2, 2.0):
        for bounce in (1, 2, 4, 8, 16, 32, 64, 128):
            change = {
                "rover.battery.bus_capacitance": f"{capacitance} mF",
                "rover.wheel.driver.lockout": "{below: 5 V, above: 6 V}",
            }
            event = f"[{{at: 1 s, kind: battery_loose, lasts: {bounce} ms}}]"
            result = run(
                text(
                    drive=SPEED_LOOP,
                    ground=BENCH,
                    commands=forward(0.15),
                    duration="1.4 s",
                    events=event,
                    change=change,
                )
            )
            if resets(result):
                break
            longest[capacitance] = bounce
    assert 4 <= longest[2.0] / longest[0.2] <= 16


def test_a_current_limit_saves_the_bus_and_costs_torque():
    weak = COLD | {
        "rover.battery.cell_resistance": "0.5 ohm",
        "rover.wheel.driver.lockout": "{below: 6.2 V, above: 6.8 V, boot: 0.3 s}",
    }
    limited = held(weak | {"rover.wheel.driver.current_limit": "0.5 A"})
    assert len(resets(held(weak))) > 0
    assert resets(limited) == []
    torque = limited.traces["motor_torque"].isel(time=-1).values
    assert torque == pytest.approx(1.5 * 8 * 1.67e-3 * 0.5, rel=1e-3)  # 1.5·p·λ·î


def test_cut_back_keeps_a_stalled_board_below_its_end():
    quick = {"rover.wheel.winding.heat_capacity": "0.05 J/K"}
    free = held(quick, "10 s").traces["winding_temperature"].values.max()
    guarded = held(quick | {"rover.wheel.driver.cut_back": "{start: 60 degC, end: 80 degC}"}, "10 s")
    assert free > 90
    assert 60 < guarded.traces["winding_temperature"].values.max() < 80
    assert any(e.kind == "heat" for e in guarded.events)


def test_thinner_inner_copper_costs_torque():
    """An inner layer of 24.9 in place of 34.3 um: 1.378 times its resistance, and the torque falls as 1/R."""
    layers = "{{finish: {}, layers: [{{place: inner, count: 6, copper: 1 oz/ft^2, width: 0.15 mm, length: 120 mm}}]}}"
    torque = {}
    for finish in ("nominal", "thinnest"):
        change = COLD | {
            "rover.wheel.motor.terminal_resistance": "null",
            "rover.wheel.motor.conductor": layers.format(finish),
            "rover.battery.cell_resistance": "1 uohm",
        }
        found = held(change, "0.5 s")
        torque[finish] = float(found.traces["motor_torque"].isel(time=-1, wheel=0))
        R = 1.5 * 8 * 1.67e-3 * 0.5 * float(found.traces["bus_voltage"][-1]) / torque[finish] - ON_RESISTANCE
        torque[finish + " R"] = R
    assert torque["thinnest R"] / torque["nominal R"] == pytest.approx(34.33 / 24.92, rel=2e-3)
    assert torque["thinnest"] < torque["nominal"]


def test_one_more_cell_brings_the_torque_back_and_overheats_the_board():
    """A winding √2 times too resistive: with √2 times the voltage the torque is back, at √2 times the heat."""
    change = {"rover.battery.cell_resistance": "1 uohm", "rover.wheel.driver.on_resistance": "0 ohm"}
    flat = {v: {"rover.battery.open_circuit": f"[[0, {v} V], [1, {v} V]]"} for v in (3.7, 3.7 * sqrt(2))}
    drawn = held(COLD | change | flat[3.7], "0.5 s").traces
    high = COLD | change | {"rover.wheel.motor.terminal_resistance": f"{4.8 * sqrt(2)} ohm"}
    made = held(high | flat[3.7], "0.5 s").traces
    back = held(high | flat[3.7 * sqrt(2)], "0.5 s").traces
    for name, low, again in (("motor_torque", 1 / sqrt(2), 1.0), ("copper_loss", 1 / sqrt(2), sqrt(2))):
        reference = float(drawn[name].isel(time=-1, wheel=0))
        assert float(made[name].isel(time=-1, wheel=0)) == pytest.approx(low * reference, rel=1e-3)
        assert float(back[name].isel(time=-1, wheel=0)) == pytest.approx(again * reference, rel=1e-3)
