"""Wheel fighting on hand-made numbers, and the energy ledger against sums over the traces."""

import numpy as np
import pytest
from analysis_runs import GRIP, LOCKED, recording, run, slope, text

from drivesim.analysis.dataset import traces
from drivesim.analysis.ledger import PARTS, ledger
from drivesim.analysis.measures import measures
from drivesim.analysis.summary import fighting
from drivesim.engine import records
from drivesim.engine.channels import BODY_LOG
from drivesim.engine.kernel import record_fighting


def circulating(commands, forces, hub_speeds):
    """Return (circulating force, circulating power, drive power) of one moment."""
    states, contacts = np.zeros(len(commands), records.WHEEL_STATE), np.zeros(len(commands), records.CONTACT)
    sums = np.zeros(1, BODY_LOG)
    states["command"], states["drive_force"], contacts["hub_speed"] = commands, forces, hub_speeds
    record_fighting(sums[0], states, contacts)
    return tuple(float(sums[name][0]) for name in ("circulating_force", "circulating_power", "drive_power"))


@pytest.mark.parametrize(
    ("commands", "forces", "speeds", "expected"),
    [
        # all pull: nothing circulates
        ([4, 4, 4, 4], [1, 2, 3, 4], [0.1] * 4, (0.0, 0.0, 1.0)),
        # one is dragged along with 1 N: it takes 1 N and 0.1 W out of what the others give
        ([4, 4, 4, 4], [1, 1, 1, -1], [0.1] * 4, (1.0, 0.1, 0.4)),
        # pure fight, no pull left over
        ([4, 4, 4, 4], [2, -2, 1, -1], [0.1] * 4, (3.0, 0.3, 0.6)),
        # a deliberate skid turn: left backwards, right forwards, each along its own command
        ([-4, 4, -4, 4], [-2, 2, -2, 2], [-0.1, 0.1, -0.1, 0.1], (0.0, 0.0, 0.8)),
        # in that turn a left wheel that pushes forwards does fight
        ([-4, 4, -4, 4], [1, 2, -2, 2], [-0.1, 0.1, -0.1, 0.1], (1.0, 0.1, 0.7)),
        # without a command there is no direction to fight along, but power can circulate
        ([0, 0, 0, 0], [1, -1, 1, -1], [0.1] * 4, (0.0, 0.2, 0.4)),
        # going down a hill with all wheels held back by their drives: no fight
        ([4, 4, 4, 4], [-1, -1, -1, -1], [0.1] * 4, (0.0, 0.0, 0.4)),
    ],
)
def test_circulating_force_and_power_on_hand_made_numbers(commands, forces, speeds, expected):
    """½(Σ|F| − |ΣF|), F along each wheel's own commanded direction; ½(Σ|P| − |ΣP|), P = F·v."""
    assert circulating(commands, forces, speeds) == pytest.approx(expected, abs=1e-12)


def test_fighting_is_mean_peak_and_share_of_the_drive_power():
    rows = {
        "circulating_force": [0.0, 1.0, 5.0],
        "circulating_power": [0.0, 0.1, 0.5],
        "drive_power": [1.0, 2.0, 3.0],
    }
    result = recording(text(duration=0.5))
    for share, factor in ((0.1, 1.0), (0.0, 0.0)):
        for name, values in rows.items():
            result.body[name] = np.resize(values, len(result.body)) * factor
        result.body["circulating_force"][0] = 5.0
        found = measures(result)
        assert found["circulating_power"] == pytest.approx(result.body["circulating_power"].mean())
        assert found["fighting_share"] == pytest.approx(share, rel=0.05)
        assert fighting(traces(result), found) == {
            "force_mean_N": found["circulating_force"], "force_peak_N": 5.0,
            "power_mean_W": found["circulating_power"], "share_of_drive_power": found["fighting_share"],
        }  # fmt: skip


def test_a_real_skid_turn_is_no_fight_though_left_and_right_pull_against_each_other():
    result = run(
        text(
            commands="[{at: 0.2 s, turn: 60 deg/s, ramp: 0.3 s}]",
            duration=5,
            **{"ground.friction_factor": "0.4"},
        )
    )
    forces = result.traces["drive_force"].sel(time=slice(2, None)).mean("time").values
    assert max(forces[0], forces[2]) < -0.2
    assert min(forces[1], forces[3]) > 0.2
    assert result.summary["fighting"]["force_mean_N"] < 0.02
    assert result.summary["fighting"]["share_of_drive_power"] < 0.02


@pytest.mark.parametrize("drive", ["drives/speed_loop.yaml", LOCKED])
def test_the_ledger_s_parts_are_those_that_the_traces_add_up_to(drive):
    rec = recording(text(drive=drive, ground=slope(12, start=0.2), duration=4, **GRIP))
    found = ledger(rec)
    interval = float(rec.model.params["record_ticks"][0] * rec.model.step)
    copper = rec.wheels["copper_loss"].sum() * interval
    current = rec.body["battery_current"]
    # the driver: 30 mW each always, and the on-resistance beside the winding's R(T)
    winding = 2.4 * (1 + 0.00393 * (rec.wheels["winding_temperature"] - 20))
    driver = 4 * 0.03 * rec.end_time + (rec.wheels["copper_loss"] * 0.15 / winding).sum() * interval
    bearing = (
        np.abs(rec.wheels["wheel_speed"]) * (0.4e-3 + 10e-6 * np.abs(rec.wheels["wheel_speed"]))
    ).sum() * interval
    rise = rec.body["z"][-1] - rec.body["z"][0]
    assert found["copper"] == pytest.approx(copper, rel=1e-3)
    assert found["electronics"] == pytest.approx(0.6 * rec.end_time, rel=1e-9)
    assert found["driver"] == pytest.approx(driver, rel=1e-3)
    assert found["battery"] == pytest.approx(0.14 * (current**2).sum() * interval, rel=0.02)
    assert found["bearing"] == pytest.approx(bearing, rel=0.05)
    assert found["height"] == pytest.approx(0.62 * 9.81 * rise, rel=0.02, abs=0.01)


@pytest.mark.parametrize(
    "scenario",
    [
        text(drive=LOCKED, duration=2),
        text(ground=slope(12, start=0.2), duration=4, **GRIP),
        text(ground=slope(-15), duration=2),  # down a hill
        text(commands="[{at: 0.2 s, turn: 60 deg/s}]", duration=2),
    ],
)
def test_what_was_drawn_is_the_sum_of_all_parts_and_hardly_anything_is_left_over(scenario):
    found = run(scenario).summary["ledger"]
    assert set(found) == {"drawn", "remainder_fraction", *PARTS}
    assert found["drawn"] == pytest.approx(sum(found[part] for part in PARTS), rel=1e-12)
    assert found["remainder_fraction"] == pytest.approx(found["remainder"] / found["drawn"], rel=1e-12)
    assert abs(found["remainder_fraction"]) < 0.005
    losses = ("copper", "driver", "electronics", "battery", "bearing", "rolling", "contact_damping")
    assert all(found[part] >= 0 for part in losses)
