"""Cautions about supply, heat paths, soil, frame and coordination: said with their figures where they apply only."""

import pytest
from analysis_runs import run, slope, text

QUIET = {"rover.battery.cells_in_series": "1", "drive.sensor.sensors": "3"}
HOUSED = {
    "rover.wheel.winding.thermal_resistance": "5 K/W",
    "rover.wheel.winding.heat_capacity": "0.02 J/K",
    "rover.wheel.winding.housing": "{thermal_resistance: 5 K/W, heat_capacity: 0.05 J/K}",
}
SAND = {"rover.wheel.tyre.width": "16 mm", "ground.soil": "{preset: dry_sand}"}


def said(title, scenario=None, **change):
    """Return what is said under ``title``."""
    scenario = scenario or text(duration=2, **(QUIET | change))
    return [c for c in run(scenario).summary["cautions"] if c.startswith(title)]


@pytest.mark.parametrize(("cells", "made_for", "told"), [(2, 1, True), (2, 2, False), (1, 1, False)])
def test_a_charger_for_another_pack(cells, made_for, told):
    found = said(
        "Lithium cells",
        **{"rover.battery.cells_in_series": str(cells), "rover.battery.charger_cells": str(made_for)},
    )
    assert len(found) == told
    if told:
        assert "made for 1 in series, the pack has 2: never connect them" in found[0]


@pytest.mark.parametrize(
    ("title", "setting", "rating"),
    [
        ("Battery connector", "rover.battery.connector_rating", "A"),
        ("Traces", "rover.wheel.winding.trace_rating", "A"),
    ],
)
def test_currents_over_a_rating(title, setting, rating):
    (found,) = said(title, **{setting: f"0.05 {rating}"})
    assert "rated 0.05 A" in found
    assert said(title, **{setting: f"20 {rating}"}) == []


def test_magnet_and_touch_follow_the_housing_where_there_is_one():
    scenario = text(ground=slope(12), duration=3, **(QUIET | HOUSED))
    peaks = run(scenario).traces[["winding_temperature", "housing_temperature"]].max()
    winding, housing = float(peaks["winding_temperature"]), float(peaks["housing_temperature"])
    assert winding > housing + 2
    between = (winding + housing) / 2
    limits = {"rover.wheel.winding.magnet_limit": f"{between!r} degC"}
    adhesive = {"rover.wheel.winding.adhesive_limit": f"{between!r} degC"}
    hot = text(ground=slope(12), duration=3, **(QUIET | HOUSED | limits | adhesive))
    assert not any("reached" in c for c in said("Hot magnets", hot))
    (found,) = said("Hot adhesive", hot)
    assert f"reached {winding:.0f} degC, its limit is {between:.0f} degC" in found
    touch = HOUSED["rover.wheel.winding.housing"].replace("}", f", touch_limit: {housing - 1!r} degC}}")
    hot = text(ground=slope(12), duration=3, **(QUIET | HOUSED | {"rover.wheel.winding.housing": touch}))
    assert said("Hot to touch", hot)[0].endswith(f"reached {housing:.0f} degC (over {housing - 1:.0f} degC).")


def test_a_controller_that_cuts_back_keeps_the_estimate_below_its_end():
    steep = {"rover.wheel.winding.thermal_resistance": "90 K/W"}
    free = text(ground=slope(15), duration=3, **(QUIET | steep))
    assert "would" in said("Hot board", free)[0]
    guarded = text(
        ground=slope(15), duration=3,
        **(QUIET | steep | {"rover.wheel.driver.cut_back": "{start: 80 degC, end: 105 degC}"}),
    )  # fmt: skip
    assert said("Hot board", guarded) == []


def test_soil_is_told_its_limits():
    assert said("Soil") == []
    (found,) = said("Soil", **SAND)
    assert "over 0.5 m across" in found
    assert said("Sunk", **SAND) == []
    (found,) = said("Sunk", **(SAND | {"rover.mass": "3 kg", "rover.wheel.tyre.radial_stiffness": "20 N/mm"}))
    assert "more than 25% of the wheel's radius" in found


def test_firm_soil_is_better_taken_as_hard_ground():
    clay = SAND | {"ground.soil": "{preset: heavy_clay}"}
    (found,) = said("Firm soil", **clay)
    assert "use hard ground" in found.lower()
    assert said("Firm soil", **SAND) == []


def test_droop_that_swings_by_itself():
    kp, R = 0.12, 2.4  # the shipped loop's gain and the shipped winding's resistance
    for gain, told in ((0.9 * R / kp, 0), (1.1 * R / kp, 1)):
        assert (
            len(said("Droop", **{"drive.coordination": f"{{kind: droop, per_current: {gain} rad/s/A}}"}))
            == told
        )


def test_a_single_sensor_cannot_commutate_from_every_angle():
    single = {"drive.sensor.sensors": "1", "drive.sensor.commutation": "interpolated"}
    assert len(said("A single Hall sensor", **single)) == 1
    assert said("A single Hall sensor", **(single | {"drive.sensor.sensors": "3"})) == []
    assert said("A single Hall sensor", **(single | {"drive.sensor.commutation": "ideal"})) == []
