"""What the trade knows of tyres, soil, frames and dead wheels (common practice, no source), on the shipped rover."""

import numpy as np
import pytest
from behaviour_runs import (
    BENCH,
    COLD,
    FLUX,
    ON_RESISTANCE,
    PHASE_RESISTANCE,
    POLE_PAIRS,
    RADIUS,
    SPEED_LOOP,
    WHEELS,
    falls,
    forward,
    mean_over,
    run,
    share_of_way,
    text,
)

SAND = {"rover.wheel.tyre.width": "16 mm", "ground.soil": "{preset: dry_sand}"}


def climbs(height: float, change: dict[str, str]) -> bool:
    """Tell whether the rover gets its front wheels over a joist of ``height`` [m]."""
    step = f"{{kind: step, at: 0.2 m, height: {height} m}}"
    ground = f"{{length: 1.2 m, width: 0.8 m, friction_factor: 0.5, features: [{step}]}}"
    result = run(
        text(drive=SPEED_LOOP, ground=ground, commands=forward(0.12), duration="5 s", change=COLD | change)
    )
    return float(result.traces["hub_x"].sel(wheel="front_left").max()) > 0.24


def test_spike_tyres_climb_higher_steps_than_smooth_ones_of_the_same_radius():
    smooth = falls(lambda h: climbs(h, {}), 0.002, 0.03, 0.001)
    spiked = falls(lambda h: climbs(h, {"rover.wheel.tyre.bite": "0.3"}), 0.002, 0.034, 0.001)
    assert spiked > 1.2 * smooth


def test_spikes_bring_nothing_on_a_smooth_floor():
    ramp = "{kind: ramp, start: 0.2 m, end: 3 m, slope: 12 deg}"
    slope = f"{{length: 3 m, behind: 1 m, friction_factor: 0.3, features: [{ramp}]}}"
    ways = [
        float(
            run(
                text(drive=SPEED_LOOP, ground=slope, commands=forward(0.12), duration="4 s", change=COLD | c)
            ).traces["x"][-1]
        )
        for c in ({}, {"rover.wheel.tyre.bite": "0.5"})
    ]
    assert ways[0] == ways[1]


def test_removing_the_preload_from_a_skewed_frame_lengthens_the_way():
    """Over the same eight rubble grounds: 5 mm skew that presses on the bearings against the frame made true."""
    ways = {}
    for skew in (5, 0):
        frame = {"rover.frame": f"{{skew: {skew} mm, drag_per_angle: 4 mN*m/deg}}"}
        ways[skew] = [
            share_of_way(run(text("rubble_speed_loop.yaml", COLD | frame, seed=seed, duration="8 s")))
            for seed in range(1, 9)
        ]
    assert np.mean(ways[0]) > 1.1 * np.mean(ways[5])
    assert sum(true > skewed for true, skewed in zip(ways[0], ways[5], strict=True)) >= 6


def test_a_frame_that_twists_lifts_fewer_wheels():
    """Over the same eight rubble grounds the softer frame keeps all wheels down for more of the time."""
    airborne = {}
    for stiffness in ("20 N/mm", "0.3 N/mm"):
        frame = {"rover.frame": f"{{torsion_stiffness: {stiffness}, damping_ratio: 20 %}}"}
        airborne[stiffness] = [
            np.mean(
                [
                    w["airborne"]
                    for w in run(text("rubble_speed_loop.yaml", COLD | frame, seed=s, duration="8 s"))
                    .summary["wheels"]
                    .values()
                ]
            )
            for s in range(1, 9)
        ]
    assert np.mean(airborne["0.3 N/mm"]) < 0.8 * np.mean(airborne["20 N/mm"])


def test_four_driven_wheels_pull_more_than_two_of_the_same():
    """The steepest slope of friction 0.3 that is climbed: atan(µ) with four, less with either axle alone."""

    def steepest(undriven):
        off = {f"rover.wheels.{name}.driven": "false" for name in undriven}
        weak = COLD | off | {"rover.wheel.tyre.friction": "0.3", "rover.wheel.tyre.sliding_friction": "0.3"}

        def moves(degrees):
            ramp = f"{{kind: ramp, start: 0.15 m, end: 3 m, slope: {degrees} deg}}"
            ground = f"{{length: 3 m, behind: 1 m, features: [{ramp}]}}"
            result = run(
                text(drive=SPEED_LOOP, ground=ground, commands=forward(0.1), duration="8 s", change=weak)
            )
            return float(result.traces["x"].max()) > 0.45

        return falls(moves, 1.0, 25.0, 0.5)

    all_four, rear, front = steepest(()), steepest(WHEELS[:2]), steepest(WHEELS[2:])
    assert all_four == pytest.approx(np.degrees(np.arctan(0.3)), abs=1.5)
    assert all_four > 1.5 * rear > 1.5 * front


def test_lugs_and_width_pull_more_on_loose_sand():
    slope = "{length: 3 m, behind: 1 m, features: [{kind: ramp, start: -0.9 m, end: 3 m, slope: 6 deg}]}"

    def way(change):
        result = run(
            text(
                drive=SPEED_LOOP,
                ground=slope,
                commands=forward(0.12),
                duration="6 s",
                change=COLD | SAND | change,
            )
        )
        return float(result.traces["x"][-1] - result.traces["x"][0])

    plain, lugs, wide = (
        way({}),
        way({"rover.wheel.tyre.lug_height": "6 mm"}),
        way({"rover.wheel.tyre.width": "30 mm"}),
    )
    assert lugs > 1.1 * plain
    assert wide > 1.1 * plain


def test_lugs_pull_more_on_wet_clay():
    """On 2 deg of clay of little cohesion a 16 mm tyre without lugs stands; with lugs of 6 mm it climbs."""
    ramp = "{kind: ramp, start: -0.9 m, end: 3 m, slope: 2 deg}"
    clay = {"rover.wheel.tyre.width": "16 mm", "ground.soil": "{preset: clay_thailand_55}"}
    plain, lugged = (
        run(
            text(
                drive=SPEED_LOOP, ground=f"{{length: 3 m, behind: 1 m, features: [{ramp}]}}",
                commands=forward(0.12), duration="4 s", change=COLD | clay | {"rover.wheel.tyre.lug_height": lugs},
            )
        ).traces["x"]
        for lugs in ("0 mm", "6 mm")
    )  # fmt: skip
    assert float(plain[-1] - plain[0]) < 0.05
    assert float(lugged[-1] - lugged[0]) > 0.1


def test_soft_ground_eats_energy_that_hard_ground_does_not():
    drawn = {
        name: run(
            text(drive=SPEED_LOOP, ground=BENCH, commands=forward(0.12), duration="5 s", change=COLD | soil)
        ).summary
        for name, soil in (("hard", {}), ("soft", SAND))
    }
    assert drawn["soft"]["energy_per_metre_J"] > 1.5 * drawn["hard"]["energy_per_metre_J"]
    assert drawn["soft"]["ledger"]["soil"] > 5 * drawn["hard"]["ledger"]["rolling"]


def level(events: str, **change: str):
    """Return a straight drive on the bench with ``events``."""
    return run(
        text(
            drive=SPEED_LOOP,
            ground=BENCH,
            commands=forward(0.15),
            duration="5 s",
            events=events,
            change=COLD | change,
        )
    )


def test_a_dead_driver_is_dragged_and_a_shorted_one_brakes():
    """The other three push an open wheel against its bearing; a shorted one brakes by 1.5·(p·λ)²·ω/R more."""
    pull = {}
    for phases in ("open", "shorted"):
        result = level(f"[{{at: 2 s, kind: driver_dies, wheel: rear_left, phases: {phases}}}]")
        pull[phases] = -mean_over(result, "drive_force", 3.0)[2]
    assert 0 < pull["open"] < 0.1  # N: bearing and rolling resistance
    speed = mean_over(result, "wheel_speed", 3.0)[2]  # of the shorted one
    braking = 1.5 * (POLE_PAIRS * FLUX) ** 2 * speed / (PHASE_RESISTANCE + ON_RESISTANCE) / RADIUS
    assert pull["shorted"] - pull["open"] == pytest.approx(braking, rel=0.05)


def test_a_stuck_hall_sensor_makes_a_speed_loop_push_at_full_voltage():
    """No edges read as standstill: the loop winds up until the bus holds it, and the wheel runs away."""
    result = level("[{at: 2 s, kind: sensor_sticks, wheel: rear_left}]")
    assert mean_over(result, "voltage_limited", 4.0)[2] > 0.9
    assert mean_over(result, "measured_speed", 4.0)[2] == 0
    assert mean_over(result, "wheel_speed", 4.0)[2] > 2 * 0.15 / 0.034


def test_one_wheel_in_the_air_starves_the_others_under_equal_current():
    """Like an open differential: the mean speed is as told, so the current stays low and the loaded wheels stall."""
    kerb = "{length: 1.5 m, features: [{kind: step, at: 0.3 m, height: 14 mm}]}"
    lifted = {"rover.wheels.rear_left.drop": "-6 mm", "rover.centre_of_gravity": "[10 mm, -20 mm, 12 mm]"}
    host = {
        "drive.coordination": "{kind: equal_current, proportional: 0.05 A*s/rad, integral: 0.5 A/rad, most: 1.5 A}"
    }
    alone, shared = (
        run(
            text(
                drive=SPEED_LOOP,
                ground=kerb,
                commands=forward(0.12),
                duration="6 s",
                change=COLD | lifted | more,
            )
        )
        for more in ({}, host)
    )
    assert float(alone.traces["x"][-1]) > float(shared.traces["x"][-1]) + 0.1
    assert shared.summary["wheels"]["rear_left"]["airborne"] > 0.5
    currents = mean_over(shared, "current_q", 4.0)
    assert currents == pytest.approx(currents.mean(), abs=0.05)
    assert currents.mean() < 0.5 * mean_over(alone, "current_q", 1.0).max()
