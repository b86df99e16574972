"""Events that the scenario injects, limits that are watched, and the supervisors of supply and temperature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, WHEELS, G, each_wheel, held_up, ideal, same_bytes

from drivesim.analysis.ledger import ledger
from drivesim.engine import faults
from drivesim.engine.build import build
from drivesim.engine.energy import stored_energy
from drivesim.engine.simulate import Recording, run_model, simulate
from drivesim.engine.timeline import Timeline
from drivesim.physics.body import rotation

DT = 1e-3
ROWS = {"step": f"{DT} s", "record_every": f"{DT} s"}
AIR = IN_THE_AIR | ROWS


def in_the_air(changes) -> Recording:
    """Run a rover that hangs in the air."""
    return run_model(held_up(ideal(AIR | changes)))


def told(recording: Recording, *kinds: str) -> list[tuple[float, str]]:
    """Return time and text of all events of some kinds."""
    return [(round(e.time, 9), e.text) for e in recording.events if e.kind in kinds]


def both(at: float, speed: float, ramp: float = 0.0) -> dict[str, str]:
    """Return a command for both sides."""
    return {"at": f"{at!r} s", "left": f"{speed!r} rad/s", "right": f"{speed!r} rad/s", "ramp": f"{ramp!r} s"}


# --- wheels


@pytest.mark.parametrize("phases", ["open", "shorted"])
def test_a_dead_driver_leaves_its_wheel_to_itself_or_brakes_it(phases):
    """Spinning freely a wheel keeps its speed; short-circuited it loses it with τ = J·R/(1.5·p²·λ²).

    Afterwards the controller begins with the ramp of the command, from zero.
    """
    changes = {
        "commands": [both(0.0, 5.0, 0.1)],
        "drive.voltage_per_speed": "0.02 V*s/rad",
        "events": [
            {"at": "0.5 s", "kind": "driver_dies", "wheel": "front_right", "phases": phases, "lasts": "0.2 s"}
        ],
        "duration": "1 s",
    }
    recording = in_the_air(changes)
    assert told(recording, "fault") == [
        (0.5, f"at 0.5 s, as scripted: front_right: driver dead, phases {phases}"),
        (0.7, "0.2 s later, as scripted: front_right: driver works again"),
    ]
    assert {e.wheel for e in recording.events if e.kind == "fault"} == {"front_right"}
    dead, whole = recording.wheels[500:700, 1], recording.wheels[500:700, 0]
    assert (dead["powered"] == 0).all()
    assert (whole["powered"] == 1).all()
    spin = dead["wheel_speed"]
    if phases == "open":
        assert (dead["current_q"] == 0).all()
        assert spin == pytest.approx(spin[0], rel=1e-9)
    else:
        tau = 1e-4 * 1.0 / (1.5 * 7**2 * 2e-3**2)
        assert spin[-1] / spin[0] == pytest.approx(math.exp(-199 * DT / tau), rel=2e-3)
    after = recording.wheels["commanded_speed"][700:, 1]
    assert after[:100] == pytest.approx(5.0 * np.arange(1, 101) / 100)
    assert (recording.wheels["commanded_speed"][700:, 0] == 5.0).all()


#: a speed loop that knows its speed from three Hall sensors alone
HALL = {
    "drive": {
        "strategy": "speed_loop",
        "proportional": "0.01 V*s/rad",
        "integral": "0.02 V/rad",
        "feed_forward": "0.014 V*s/rad",
        "sensor": {"kind": "hall", "sensors": 3, "timeout": "0.1 s"},
    },
    "rover.wheel.motor.flux_linkage": "10 mWb",
    "commands": [both(0.0, 10.0)],
    "start.rotors": "aligned",
}


def test_a_stuck_sensor_tells_no_speed_until_it_works_again():
    changes = HALL | {
        "events": [{"at": "1 s", "kind": "sensor_sticks", "wheel": "rear_left", "lasts": "0.5 s"}],
        "duration": "3 s",
    }
    recording = in_the_air(changes)
    assert told(recording, "fault") == [
        (1.0, "at 1 s, as scripted: rear_left: sensor stuck, no more edges"),
        (1.5, "0.5 s later, as scripted: rear_left: sensor works again"),
    ]
    measured = recording.wheels["measured_speed"]
    assert (measured[950:1000] > 3).all()
    stuck = measured[1150:1495, 2]
    assert (stuck == 0).all()
    assert (measured[1150:1495, [0, 1, 3]] > 3).all()
    assert (measured[1650:, 2] > 3).all()


def test_missed_edges_make_the_measured_speed_too_low_at_times():
    """One edge in three is not seen: the period then counts two or more spacings as one."""
    changes = HALL | {
        "events": [{"at": "1 s", "kind": "edges_lost", "wheel": "rear_left", "share": "1/3", "lasts": "1 s"}],
        "duration": "2 s",
    }
    changes["events"][0]["share"] = 0.3333
    recording = in_the_air(changes)
    assert told(recording, "fault") == [(1.0, "at 1 s, as scripted: rear_left: missed edges 0 → 33.3 %")]
    ratio = recording.wheels["measured_speed"] / recording.wheels["wheel_speed"]
    assert (ratio[500:1000] > 0.7).all()
    assert (ratio[1000:, 0] > 0.7).all()
    assert 0.1 < (ratio[1000:, 2] < 0.7).mean() < 0.7


def test_a_seized_bearing_holds_its_wheel_and_lets_go():
    changes = {
        "rover.wheel.bearing.dry": "0.4 mN*m",
        "commands": [both(0.0, 20.0)],
        "events": [
            {"at": "0.2 s", "kind": "bearing_seizes", "wheel": "front_left", "drag": "25 mN*m", "lasts": "0.3 s"},
            {"at": "0.3 s", "kind": "bearing_seizes", "wheel": "front_left", "drag": "9 N*m", "lasts": "0.3 s"},
        ],
        "duration": "1 s",
    }  # fmt: skip
    recording = in_the_air(changes)
    assert [text.split(": ", 1)[1] for _, text in told(recording, "fault")] == [
        "front_left: bearing drag 0.4 → 25.4 mN·m",
        "front_left: bearing drag 25.4 → 9.03e+03 mN·m",
        "front_left: bearing drag back to 9e+03 mN·m",
        "front_left: bearing drag back to 0.4 mN·m",
    ]
    speed = recording.wheels["wheel_speed"]
    assert np.abs(speed[310:600, 0]).max() < 1e-12
    assert speed[-1, 0] > 1
    assert recording.model.wheels["bearing_dry"] == pytest.approx([4e-4] * 4, rel=1e-9)


# --- masses and tyres


def test_a_rover_without_its_rear_tyres_stands_on_its_rims():
    """Both rear hubs come down by the 10 mm that are missing: asin(10 mm / 0.2 m) of pitch."""
    lost = [{"at": "0.1 s", "kind": "tyre_off", "wheel": w, "radius": "40 mm"} for w in WHEELS[2:]]
    recording = simulate(ideal({"events": lost, "duration": "3 s"}))
    assert told(recording, "fault")[0] == (
        pytest.approx(0.1, abs=1e-3),
        "at 0.1 s, as scripted: rear_left: tyre off, radius 50 → 40 mm, friction 0.4",
    )
    assert recording.body["pitch"][5] == pytest.approx(0.0, abs=1e-6)
    assert recording.body["pitch"][-1] == pytest.approx(-math.asin(0.01 / 0.2), rel=1e-3)
    assert recording.wheels["hub_z"][-1] == pytest.approx([0.0495] * 2 + [0.0395] * 2, abs=1e-4)
    assert recording.wheels["friction_limit"][-1] == pytest.approx(
        recording.wheels["normal_load"][-1] * [0.8, 0.8, 0.4, 0.4], rel=1e-6
    )


@pytest.mark.parametrize(("radius", "left"), [("45 mm", 0.040), ("40 mm", 0.040), ("35 mm", 0.035)])
def test_a_wheel_that_loses_its_tyre_twice_never_grows(radius, left):
    """A second loss to a larger rim changes nothing; to a smaller one the hub comes down by the rest."""
    second = {"at": "1 s", "kind": "tyre_off", "wheel": "rear_left", "radius": radius, "friction": 0.7}
    lost = [{"at": "0.1 s", "kind": "tyre_off", "wheel": "rear_left", "radius": "40 mm"}, second]
    recording = simulate(ideal({"events": lost, "duration": "2 s"}))
    wheel = recording.model.wheels[2]
    assert wheel["radius"] == pytest.approx(left)
    assert wheel["radius"] + wheel["hub_lower"] == pytest.approx(0.05)
    assert wheel["friction"] == (0.7 if left < 0.04 else 0.4)
    if left < 0.04:
        assert "tyre off, radius 40 → 35 mm" in told(recording, "fault")[1][1]
    else:
        assert told(recording, "unchanged") == [
            (1.0, "at 1 s, as scripted: nothing changes: it was so already")
        ]


def test_a_rim_rolls_farther_behind_its_wheel_than_a_tyre():
    """The command in m/s is worked out for whole tyres; a rover on four rims goes at 40/50 of it."""
    lost = [{"at": "0 s", "kind": "tyre_off", "wheel": w, "radius": "40 mm", "friction": 0.8} for w in WHEELS]
    changes = {
        "rover.wheel.motor.flux_linkage": "20 mWb",
        "drive.voltage_per_speed": "0.14 V*s/rad",
        "commands": [{"at": "0.5 s", "forward": "0.2 m/s"}],
        "events": lost,
        "duration": "2 s",
    }
    recording = simulate(ideal(changes))
    assert recording.body["speed"][-1] == pytest.approx(0.2 * 40 / 50, rel=1e-3)


def test_a_payload_loads_the_wheels_by_the_rule_of_the_lever():
    """1 kg and 0.5 kg laid 0.06 m ahead, 0.04 m to the left: loads from the moments about the frame's centre."""
    payload = {"at": "0.2 s", "kind": "payload", "mass": "0.5 kg", "place": ["60 mm", "40 mm", "20 mm"]}
    recording = simulate(ideal({"events": [payload], "duration": "3 s"}))
    loads = recording.wheels["normal_load"][-1]
    fore, side = 0.5 * G * 0.06 / 0.2, 0.5 * G * 0.04 / 0.16  # from the rear to the front pair, right to left
    quarter = 1.5 * G / 4
    by_hand = quarter + np.array([fore + side, fore - side, -fore + side, -fore - side]) / 2
    assert loads == pytest.approx(by_hand, rel=2e-3)
    assert told(recording, "fault")[0][1] == (
        "at 0.2 s, as scripted: payload of 500 g: mass 1000 → 1500 g, centre of gravity at (20, 13.3, 6.67) mm"
    )


@pytest.fixture
def moving():
    """Return a timeline whose rover tumbles through the air, its centre of gravity off the frame's centre."""
    model = build(ideal({"rover.centre_of_gravity": ["10 mm", "-5 mm", "3 mm"]}))
    b = model.bodies[0]
    for name, value in zip(
        ("vx", "vy", "vz", "wx", "wy", "wz"), (0.3, -0.1, 0.2, 1.0, -2.0, 3.0), strict=True
    ):
        b[name] = value
    b["q0"], b["q1"], b["q2"], b["q3"] = np.array([0.9, 0.1, -0.2, 0.3]) / math.sqrt(0.95)
    return Timeline(model)


def hubs(model) -> np.ndarray:
    """Return places and velocities of all hubs in world axes, (wheels, 6)."""
    b = model.bodies[0]
    rot = np.array(rotation(b["q0"], b["q1"], b["q2"], b["q3"])).reshape(3, 3)
    arms = np.column_stack([model.wheels[axis] for axis in "xyz"])
    spin = np.array([b["wx"], b["wy"], b["wz"]])
    places = np.array([b["x"], b["y"], b["z"]]) + arms @ rot.T
    return np.hstack([places, np.array([b["vx"], b["vy"], b["vz"]]) + np.cross(spin, arms) @ rot.T])


def test_a_payload_moves_nothing_and_its_energy_is_counted_as_added(moving):
    """Inertia about the common centre by the parallel-axis theorem, body and payload each on its own arm."""
    model = moving.model
    before, held = hubs(model), stored_energy(model)
    place = np.array([0.05, 0.03, 0.02])
    event = ideal(
        {"events": [{"at": "0 s", "kind": "payload", "mass": "0.25 kg", "place": [f"{c} m" for c in place]}]}
    ).events[0]
    faults.payload(moving, event)
    assert hubs(model) == pytest.approx(before, abs=1e-12)
    own = np.array([0.01, -0.005, 0.003])
    common = (own + 0.25 * place) / 1.25
    expected = np.array([4e-3, 5e-3, 8e-3])
    for mass, at in ((1.0, own), (0.25, place)):
        arm = at - common
        expected += mass * ((arm**2).sum() - arm**2)
    assert [model.params[f"inertia_{a}"][0] for a in "xyz"] == pytest.approx(expected)
    now = stored_energy(model)
    assert now.height - held.height != 0
    added = sum(vars(now).values()) - sum(vars(held).values())
    assert model.bodies["added_energy"][0] == pytest.approx(added)
    faults.payload(moving, event)
    assert moving.centre == pytest.approx((own + 0.5 * place) / 1.5)


# --- supply

#: 8 V behind 0.1 ohm, 10 W drawn by the electronics and nothing by the wheels
SUPPLY = AIR | {
    "rover.battery": {
        "capacity": "1e6 A*h",
        "cell_resistance": "0.1 ohm",
        "open_circuit": [[0, "8 V"], [1, "8 V"]],
        "bus_capacitance": "1 uF",
        "electronics": "10 W",
    },
    "drive.voltage_per_speed": "0 V*s/rad",
}


def bus(E: float, R: float, P: float) -> float:
    """Return the bus voltage [V] under a constant power: V² − E·V + P·R = 0."""
    return E / 2 + math.sqrt(E**2 / 4 - P * R)


def test_a_sagging_cell_lowers_the_bus_and_recovers():
    sag = {
        "at": "0.2 s",
        "kind": "cell_sags",
        "resistance_factor": 3,
        "voltage_drop": "0.5 V",
        "lasts": "0.2 s",
    }
    recording = run_model(held_up(ideal(SUPPLY | {"events": [sag], "duration": "0.6 s"})))
    assert told(recording, "fault") == [
        (0.2, "at 0.2 s, as scripted: battery: resistance 100 → 300 mΩ, 0.5 V lower"),
        (0.4, "0.2 s later, as scripted: battery: resistance back to 100 mΩ"),
    ]
    volts = recording.body["bus_voltage"]
    assert volts[199] == pytest.approx(bus(8.0, 0.1, 10.0), rel=1e-6)
    assert volts[399] == pytest.approx(bus(7.5, 0.3, 10.0), rel=1e-6)
    assert volts[599] == pytest.approx(bus(8.0, 0.1, 10.0), rel=1e-6)


#: 10 mF feed 2 W for a while when the battery is off; the controllers give up below 6 V
LOCKED = SUPPLY | {
    "rover.battery.bus_capacitance": "10 mF",
    "rover.battery.electronics": "2 W",
    "rover.battery.cell_resistance": "10 mohm",
    "rover.wheel.driver.lockout": {"below": "6 V", "above": "7 V", "boot": "0.15 s"},
    "commands": [both(0.0, 4.0, 0.1)],
}


def test_a_loose_battery_resets_the_controllers_and_they_boot_again():
    """The bus falls as √(V² − 2·P·t/C): 6 V after C·(V² − 6²)/(2·P).  Back at once, booted 0.15 s later."""
    loose = {"at": "0.3 s", "kind": "battery_loose", "lasts": "0.1 s"}
    recording = run_model(held_up(ideal(LOCKED | {"events": [loose], "duration": "1 s"})))
    (lost, _), (back, _) = told(recording, "fault")
    assert (lost, back) == pytest.approx((0.3, 0.4))
    (reset, why), (booted, how) = told(recording, "reset")
    full = bus(8.0, 0.01, 2.0)
    assert reset - lost == pytest.approx(0.01 * (full**2 - 36) / (2 * 2.0), abs=2 * DT)
    assert why == "bus fell to 5.99 V, below the lockout of 6 V: all wheel controllers reset"
    assert booted - back == pytest.approx(0.15, abs=2 * DT)
    assert how == "bus above 7 V for 0.15 s: controllers boot again, command from zero"
    low = recording.body["bus_voltage"][round(reset / DT) + 1 : round(back / DT)]
    assert low == pytest.approx(low[0], rel=1e-3)  # nothing draws any more, however long it lasts
    powered = recording.wheels["powered"]
    down = slice(round(reset / DT), round(booted / DT))
    assert (powered[down] == 0).all()
    assert powered.sum() == 4 * (1000 - (down.stop - down.start))
    speed = recording.wheels["commanded_speed"]
    assert (speed[down] == 0).all()
    assert speed[down.stop : down.stop + 100, 0] == pytest.approx(4.0 * np.arange(1, 101) / 100)
    assert (speed[down.stop + 101 :] == 4.0).all()


def test_a_short_interruption_is_bridged_by_the_bus():
    loose = {"at": "0.3 s", "kind": "battery_loose", "lasts": "0.05 s"}
    recording = run_model(held_up(ideal(LOCKED | {"events": [loose], "duration": "0.5 s"})))
    assert told(recording, "reset") == []
    assert recording.body["bus_voltage"].min() > 6.0


def test_a_dead_driver_stays_off_after_a_reset():
    changes = {
        "events": [
            {"at": "0.3 s", "kind": "battery_loose", "lasts": "0.1 s"},
            {"at": "0.2 s", "kind": "driver_dies", "wheel": "rear_right"},
            {"at": "0.2 s", "kind": "driver_dies", "wheel": "rear_left", "lasts": "0.25 s"},
        ],
        "duration": "1 s",
    }
    recording = run_model(held_up(ideal(LOCKED | changes)))
    assert recording.wheels["powered"][-1].tolist() == [1, 1, 1, 0]
    assert (recording.wheels["powered"][460:540] == 0).all()
    assert "rear_left: driver works again, but stays off" in told(recording, "fault")[-1][1]


def test_the_energy_of_a_run_with_everything_that_can_go_wrong_is_accounted_for():
    changes = {
        "rover.battery": LOCKED["rover.battery"],
        "rover.battery.bus_capacitance": "1 mF",
        "rover.battery.electronics": "1 W",
        "rover.wheel.driver.lockout": {"below": "5 V", "above": "6 V"},
        "rover.wheel.motor.flux_linkage": "20 mWb",
        "drive.voltage_per_speed": "0.14 V*s/rad",
        "commands": [{"at": "0 s", "forward": "0.2 m/s", "ramp": "0.5 s"}],
        "events": [
            {"at": "1 s", "kind": "driver_dies", "wheel": "rear_left", "lasts": "0.5 s"},
            {"at": "1.2 s", "kind": "payload", "mass": "300 g", "place": ["10 mm", "0 mm", "20 mm"]},
            {"at": "1.5 s", "kind": "tyre_off", "wheel": "front_left", "radius": "42 mm"},
            {"at": "1.8 s", "kind": "bearing_seizes", "wheel": "rear_right", "drag": "5 mN*m"},
            {"at": "2 s", "kind": "battery_loose", "lasts": "0.5 s"},
            {"at": "3 s", "kind": "cell_sags", "resistance_factor": 3, "lasts": "0.5 s"},
        ],
        "duration": "4 s",
    }
    recording = simulate(ideal(changes))
    assert recording.ending == "finished"
    assert len(told(recording, "reset")) == 2
    parts = ledger(recording)
    assert parts["added"] < -0.1  # the payload's height
    assert abs(parts["remainder_fraction"]) < 5e-3


def test_a_weak_pack_stutters():
    """Blocked wheels ask for more than the cell gives: reset, boot, ramp up, reset …, each round like the last."""
    changes = {
        "rover.battery": {
            "capacity": "1e6 A*h",
            "cell_resistance": "1 ohm",
            "open_circuit": [[0, "8 V"], [1, "8 V"]],
        },
        "rover.wheel.driver.lockout": {"below": "5 V", "above": "7 V", "boot": "0.2 s"},
        "drive.voltage_per_speed": "0.1 V*s/rad",
        "commands": [both(0.0, 20.0, 0.5)],
        "duration": "4 s",
    }
    recording = simulate(ideal(ROWS | changes | each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)))
    assert recording.ending == "finished"
    resets = [e.time for e in recording.events if e.effect == "all wheel controllers reset"]
    boots = [e.time for e in recording.events if e.effect.startswith("controllers boot")]
    assert len(resets) >= 5
    assert np.subtract(boots, resets[: len(boots)]) == pytest.approx(0.2, abs=3 * DT)
    assert np.diff(resets) == pytest.approx(resets[0] + 0.2, abs=5 * DT)


# --- heat

#: blocked wheels under 1 V and 1 ohm: 1.5 W into 0.1 J/K that lose 0.05 W/K
HOT = each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4) | {
    "step": f"{DT} s",
    "ambient": "20 degC",
    "rover.wheel.winding": {
        "thermal_resistance": "20 K/W",
        "heat_capacity": "0.1 J/K",
        "temperature_coefficient": "0 1/K",
    },
    "drive.voltage_per_speed": "0.1 V*s/rad",
    "commands": [both(0.0, 10.0)],
    "duration": "6 s",
}


def warm(start: float, end: float, toward: float, tau: float = 2.0) -> float:
    """Return how long one node of heat takes from one temperature to another on its way ``toward`` a third [s]."""
    return tau * math.log((start - toward) / (end - toward))


def test_a_trip_switches_off_and_on_as_the_winding_warms_and_cools():
    """First order, τ = R_th·C = 2 s, toward 20 + 1.5 W · 20 K/W = 50 degC under power, 20 degC without."""
    recording = simulate(
        ideal(HOT | {"rover.wheel.driver.trip": {"above": "45 degC", "resume": "35 degC"}, "duration": "7 s"})
    )
    mine = [e for e in recording.events if e.kind == "trip" and e.wheel == "rear_left"]
    times = [warm(20, 45, 50)]
    times.append(times[0] + warm(45, 35, 20))
    times.append(times[1] + warm(35, 45, 50))
    assert [e.time for e in mine] == pytest.approx(times, abs=0.01)
    assert [e.text for e in mine[:2]] == [
        "rear_left winding at 45 degC, above the trip of 45 degC: driver off",
        "rear_left winding at 35 degC, below 35 degC: driver on again",
    ]


def test_a_trip_without_resume_is_for_good():
    recording = simulate(ideal(HOT | {"rover.wheel.driver.trip": {"above": "45 degC"}}))
    assert [e.effect for e in recording.events if e.kind == "trip"] == ["driver off for good"] * 4
    assert (recording.wheels["powered"][-1] == 0).all()


def test_a_cut_back_is_told_once_for_each_wheel():
    changes = {"rover.wheel.driver.cut_back": {"start": "30 degC", "end": "40 degC"}}
    recording = simulate(ideal(HOT | changes))
    heat = [e for e in recording.events if e.kind == "heat"]
    assert [e.wheel for e in heat] == list(WHEELS)
    assert heat[0].text == (
        "front_left winding above 30 degC: allowed voltage cut back, to nothing at 40 degC"
    )
    assert [e.time for e in heat] == pytest.approx([warm(20, 30, 50)] * 4, abs=0.01)


# --- conditions and order


def test_a_condition_must_hold_for_as_long_as_it_says():
    """The bus is low from 0.1 s for 30 ms, too short, and from 0.2 s for 100 ms: true at 0.25 s."""
    sag = {"kind": "cell_sags", "voltage_drop": "1 V"}
    die = {"kind": "driver_dies", "wheel": "rear_left"}
    changes = {
        "events": [
            sag | {"at": "0.1 s", "lasts": "30 ms"},
            sag | {"at": "0.2 s", "lasts": "100 ms"},
            die | {"when": "bus_voltage < 7.5 V for 50 ms"},
            die | {"when": "bus_voltage < 7.5 V", "wheel": "front_left"},
            die | {"when": "bus_voltage < 2 V", "wheel": "front_right"},
        ],
        "duration": "0.5 s",
    }
    recording = run_model(held_up(ideal(SUPPLY | changes)))
    died = [(e.time, e.cause, e.wheel) for e in recording.events if "driver dead" in e.effect]
    assert died == [
        (pytest.approx(0.1, abs=2 * DT), "bus_voltage < 7.5 V", "front_left"),
        (pytest.approx(0.25, abs=2 * DT), "bus_voltage < 7.5 V for 50 ms", "rear_left"),
    ]


@pytest.mark.parametrize(
    ("condition", "channel", "wheel"),
    [
        ("x > 0.1 m", "x", None),
        ("speed > 0.1 m/s", "speed", None),
        ("y > 10 mm", "y", None),
        ("rear_right speed > 3 rad/s", "wheel_speed", 3),
        ("front_left current > 0.5 A", "current_q", 0),
        ("front_right load < 2.4 N", "normal_load", 1),
        ("rear_left temperature > 30 degC", "winding_temperature", 2),
        ("battery_current > 0.3 A", "battery_current", None),
        ("state_of_charge < 99.99 %", "state_of_charge", None),
    ],
)
def test_a_condition_is_found_when_the_traces_cross_it(condition, channel, wheel):
    changes = ROWS | {
        "rover.wheel.motor.flux_linkage": "20 mWb",
        "rover.wheel.winding.heat_capacity": "0.01 J/K",
        "rover.wheel.winding.thermal_resistance": "100 K/W",
        "rover.battery": {
            "capacity": "0.1 A*h",
            "cell_resistance": "10 mohm",
            "open_circuit": [[0, "4 V"], [1, "4 V"]],
        },
        "drive.voltage_per_speed": "0.14 V*s/rad",
        "start.heading": "10 deg",
        "commands": [both(0.0, 4.0, 0.3), {"at": "1 s", "left": "8 rad/s", "right": "2 rad/s"}],
        "events": [{"when": condition, "kind": "battery_loose", "lasts": "1 ms"}],
        "duration": "2 s",
    }
    recording = simulate(ideal(changes))
    when, *_ = [e.time for e in recording.events if e.cause == condition]
    values = recording.body[channel] if wheel is None else recording.wheels[channel][:, wheel]
    limit = ideal(changes).events[0].when
    crossed = (values - limit.threshold) * (1 if limit.above else -1) > 0
    assert np.flatnonzero(crossed)[0] * DT == pytest.approx(when, abs=2.5 * DT)
    assert 0.005 < when < 1.9


def test_at_one_tick_faults_come_first_and_at_the_last_none():
    events = [
        {"at": "0.05 s", "kind": "driver_dies", "wheel": "front_left"},
        {"at": "0.1 s", "kind": "driver_dies", "wheel": "rear_left"},
        {"at": "0 s", "kind": "driver_dies", "wheel": "front_right"},
    ]
    recording = in_the_air(
        {"commands": [both(0.0, 1.0), both(0.05, 2.0)], "events": events, "duration": "0.1 s"}
    )
    assert [(e.time, e.kind, e.wheel) for e in recording.events] == [
        (0.0, "fault", "front_right"),
        (0.0, "command", ""),
        (0.05, "fault", "front_left"),
        (0.05, "command", ""),
        (0.1, "end", ""),
    ]
    assert recording.wheels["powered"][-1].tolist() == [0, 0, 1, 1]
    assert (recording.wheels["powered"][:50, 0] == 1).all()


def test_the_same_run_twice_is_the_same_to_the_last_bit():
    changes = LOCKED | {
        "events": [
            {"at": "0.3 s", "kind": "battery_loose", "lasts": "0.1 s"},
            {"at": "0.2 s", "kind": "driver_dies", "wheel": "rear_right", "lasts": "0.3 s"},
        ],
        "link": {"loss": 0.4, "fail_safe": "50 ms"},
        "duration": "1 s",
    }
    one, two = (run_model(held_up(ideal(changes))) for _ in range(2))
    assert one.events == two.events
    assert same_bytes(one, two)
