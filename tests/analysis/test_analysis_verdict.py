"""When a rover was stuck, and the one sentence for each way a run can end."""

import re

import numpy as np
import pytest
from analysis_runs import AHEAD, GRIP, KERB, LOCKED, LOCKED_BEARINGS, run, slope, stuck_traces, text

from drivesim import DrivesimError
from drivesim.analysis.asides import no_farther
from drivesim.analysis.episodes import stuck_episodes
from drivesim.analysis.told import Told

# -- coming no farther


def way_told(speed):
    """Return what is told of a rover that is to drive 0.12 m/s and has these speeds, every 10 ms."""
    speed = np.asarray(speed, dtype=float)
    return Told(np.full((speed.size, 4), 3.0), np.full(speed.size, 0.12), speed, 0.01)


def test_a_rover_that_shakes_before_an_obstacle_comes_no_farther():
    """13 mm to and fro, twice a second, after 3 s of driving: more than the clock of being stuck takes for standing."""
    time = np.arange(800) * 0.01
    shaking = 0.0065 * 4 * np.pi * np.cos(4 * np.pi * time)
    words = no_farther(way_told(np.where(time < 3.0, 0.1, shaking)), time)
    after = float(re.fullmatch(r", came no farther after (\S+) s", words)[1])
    assert after == pytest.approx(3.0, abs=0.15)


@pytest.mark.parametrize("share", [0.06, 0.5, 1.0])
def test_a_rover_that_creeps_comes_farther(share):
    time = np.arange(800) * 0.01
    assert no_farther(way_told(np.full(800, share * 0.12)), time) == ""


def test_a_short_halt_at_the_end_is_not_worth_a_word():
    time = np.arange(800) * 0.01
    assert no_farther(way_told(np.where(time < 6.5, 0.1, 0.0)), time) == ""
    words = no_farther(way_told(np.where(time < 5.5, 0.1, 0.0)), time)
    assert words == ", came no farther after 5.4 s"  # from where the last 6 mm begin


# -- being stuck


def test_being_stuck_counts_from_when_the_rover_stopped():
    """The flag goes up a second after the stop, so the episode begins a second before the flag."""
    flags = [0.0] * 20 + [1.0] * 15 + [0.0] * 20 + [1.0] * 5
    (first, second) = stuck_episodes(stuck_traces(flags, x=list(np.linspace(0, 0.59, 60))))
    assert (first.start, first.end, first.x) == pytest.approx((1.0, 3.5, 0.20))
    assert (second.start, second.end, second.x) == pytest.approx((4.5, 6.0, 0.55))


def test_a_row_that_is_stuck_for_less_than_half_of_it_does_not_count():
    assert stuck_episodes(stuck_traces([0.0, 0.49, 0.0] * 5, x=[0.0] * 15)) == []
    (only,) = stuck_episodes(stuck_traces([0.0] * 12 + [0.51] + [0.0] * 2, x=[0.0] * 15))
    assert (only.start, only.end) == pytest.approx((0.2, 1.3))


def test_a_run_that_begins_stuck_is_not_stuck_before_its_start():
    (only,) = stuck_episodes(stuck_traces([1.0] * 10, x=[0.0] * 10))
    assert only.start == 0.0


def test_a_rover_before_a_kerb_is_stuck_from_its_stop_to_the_end():
    result = run(text(ground=KERB, duration=6, **{"drive.sensor.sensors": "3"}))
    (episode,) = stuck_episodes(result.traces)
    x = result.traces["x"]
    assert episode.end == pytest.approx(6.0)
    assert (
        np.ptp(x.sel(time=slice(episode.start, None)).values) < 0.05 * 0.15
    )  # 5 % of the command in a second
    assert (
        np.ptp(x.sel(time=slice(episode.start - 0.5, episode.start)).values) > 0.3 * 0.5 * 0.15
    )  # came until then
    assert result.summary["stuck_s"] == pytest.approx(episode.end - episode.start)
    assert result.summary["stuck_at_m"] == [round(episode.x, 4)]


# -- the verdict

STEEP_AND_TALL = {"rover.centre_of_gravity": "[0 mm, 0 mm, 120 mm]"} | GRIP
BACK = "[{at: 0.2 s, forward: -0.15 m/s, ramp: 0.3 s}]"
ENDINGS = {
    "moved": (
        text(**{"drive.sensor.sensors": "3"}),
        "finished",
        r"moved: 0\.\d\d m in 3\.0 s, (99|10\d)% of the way commanded"
    ),
    "hunting": (text(), "finished", r"moved: .* commanded, swinging between 0\.\d\d and 0\.\d\d m/s"),
    "not turning": (
        text(commands="[{at: 0.2 s, forward: 0.15 m/s, turn: 60 deg/s}]"), "finished",
        r"did not turn as told: 0\.\d\d m in 3\.0 s, turned -?\d+ of 168 deg, \d+% of the way commanded.*",
    ),
    "running away": (
        text(ground=slope(-3)), "finished", r"ran ahead of its command: 0\.\d\d m in 3\.0 s, \d{3}% of the way .*",
    ),
    "turned": (
        text(commands="[{at: 0.2 s, turn: 90 deg/s}]", duration=4, **{"ground.friction_factor": "0.3"}),
        "finished",
        r".*: -?0\.0\d m in 4\.0 s, turned \d+ of 342 deg, \d+% of the way commanded.*",
    ),
    "interrupted": (
        text(
            ground=KERB,
            duration=8,
            commands=AHEAD.replace("0.15", "0.12"),
            **{"ground.features.0.height": "16 mm"},
        ),
        "finished",
        r"moved: .* commanded.*, but stuck once for \d\.\d s \(longest at x = 0\.\d\d m: .* against the kerb.*\)",
    ),
    "fell behind": (
        text(ground=slope(24, start=0.25), duration=4, **GRIP),
        "finished",
        r"fell behind: 0\.\d\d m in 4\.0 s, \d\d% of the way commanded.*; "
        r"\w+ hesitated against the ramp: its drive gave \d\d\.?\d? mN·m on average at the end",
    ),
    "stuck": (
        text(ground=KERB, duration=6),
        "finished",
        r"stuck at x = 0\.2\d m after \d\.\d s: \w+_(left|right) stalled against the kerb at full bus voltage",
    ),
    "stuck at its start": (
        text(drive=LOCKED, **LOCKED_BEARINGS),
        "finished",
        r"stuck at its start after 0\.\d s: \w+ fell out of step \(5\.[4-8] poles slipped a second\)",  # 5.62 Hz
    ),
    "overturned": (
        text(ground=slope(40), **STEEP_AND_TALL),
        "overturned",
        r"overturned at x = -?\d\.\d\d m after 0\.\d s: it tipped over backwards( on the ramp)?",
    ),
    "collapsed": (
        text(commands="[{at: 0.2 s, turn: 60 deg/s}]", **{"rover.battery.cell_resistance": "10 ohm"}),
        "collapsed",
        r"supply collapsed after \d\.\d s at x = 0\.00 m: [\d.]+ A were asked of it and the bus fell to [\d.]+ V",
    ),
    "left ground": (
        text(ground="{length: 0.3 m, behind: 0.3 m}", **{"drive.sensor.sensors": "3"}),
        "left_ground",
        r"came through: reached the end of the ground after 1\.\d s",
    ),
    "left ground backwards as told": (
        text(ground="{length: 0.3 m, behind: 0.3 m}", commands=BACK, **{"drive.sensor.sensors": "3"}),
        "left_ground",
        r"came through: reached the start of the ground after 1\.\d s",
    ),
    "rolled back": (
        text(ground=slope(40), **GRIP),
        "left_ground",
        r"went backwards off the start of the ground at x = -0\.9\d m after 0\.\d s",
    ),
    "rolled away": (
        text(ground=slope(-30), commands="[{at: 2 s, forward: 0.15 m/s}]"),
        "left_ground",
        r"went off the end of the ground at x = 2\.9\d m after 1\.\d s without a command",
    ),
    "over the side": (
        text(ground="{length: 3 m, width: 0.4 m}", start="{heading: 40 deg}"),
        "left_ground",
        r"went off the left side of the ground at x = 0\.\d\d m after \d\.\d s",
    ),
    "stood": (
        text(commands="[{at: 0.2 s, forward: 0 m/s}]"),
        "finished",
        r"stood as told for 3\.0 s and moved 0 mm",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("scenario", "ending", "words"), ENDINGS.values(), ids=ENDINGS)
def test_each_ending_has_its_sentence(scenario, ending, words):
    result = run(scenario)
    assert result.summary["ending"] == ending
    assert re.fullmatch(words, result.verdict), result.verdict
    assert "-0.00" not in result.verdict
    assert result.summary["overturned"] == (ending == "overturned")
    assert result.events[-1].kind == "end"


def test_a_loop_that_winds_up_slowly_is_judged_by_what_it_gives_in_the_end():
    """Half a second after the stop this loop gives little; in the end all wheels stand at full voltage."""
    slow = {"drive.integral": "0.4 V/rad", "drive.sensor": "{kind: ideal}"}
    result = run(text(**slow, **LOCKED_BEARINGS))
    limited = result.traces["voltage_limited"]
    assert float(limited.sel(time=slice(0.8, None)).mean()) < 0.5
    assert float(limited.sel(time=slice(2.5, None)).min()) == 1.0
    assert result.verdict == "stuck at its start after 0.2 s: front_left stalled at full bus voltage"


def test_rows_farther_apart_than_the_time_a_reason_is_looked_for_in():
    behind = run(text(ground=slope(24, start=0.25), duration=6, **GRIP) + "record_every: 4 s\n")
    assert behind.traces.sizes["time"] == 1
    assert re.match(r"(moved|fell behind): .* of the way commanded", behind.verdict)


def test_a_run_too_short_to_record_anything_says_so():
    falling = text(
        ground="{length: 3 m, behind: 0.0700001 m}",
        commands=BACK.replace("0.15", "20").replace("0.3 s", "0 s"),
    )
    with pytest.raises(
        DrivesimError, match=r"anything was recorded: left ground; start farther from the end"
    ):
        run(falling.replace("at: 0.2 s", "at: 0 s") + "record_every: 2 s\n")


def test_events_tell_each_change_of_a_wheel_s_condition():
    result = run(text(ground=KERB, duration=6))
    kinds = [event.kind for event in result.events]
    assert kinds[0] == "command"
    assert [e.time for e in result.events] == sorted(e.time for e in result.events)
    stalls = [
        e for e in result.events if e.kind == "condition" and e.effect == "stalled" and e.wheel == "rear_left"
    ]
    assert stalls[0].time == pytest.approx(result.summary["wheels"]["rear_left"]["first_stall_s"])
    assert not [e for e in run(text()).events if e.effect == "stalled"]  # none on the bench


def test_events_tell_when_the_rover_got_stuck_and_each_condition_s_reason():
    result = run(text(ground=KERB, duration=6))
    (stuck,) = [e for e in result.events if e.kind == "stuck"]
    assert f"after {stuck.time:.1f} s: {stuck.cause}" in result.verdict
    assert stuck.effect == f"stuck at x = {result.summary['stuck_at_m'][0]:.2f} m until 6.0 s"
    conditions = [e for e in result.events if e.kind == "condition"]
    assert all(e.cause and e.effect for e in conditions)
    assert [e.cause for e in conditions if e.wheel == stuck.wheel][-1] == "held at full voltage"


def test_a_rover_off_its_line_is_told_with_side_and_scale():
    across = slope(0).replace("slope: 0 deg", "slope: 3 deg, cross_slope: 15 deg")
    result = run(text(ground=across, duration=10, **{"ground.surface": "wet_concrete"}))
    y = result.traces["y"].values
    words = re.search(r"drifted (\d\.\d\d) m to the (left|right) \((\d\.\d) of its track\)", result.verdict)
    assert words, result.verdict
    assert float(words[1]) == pytest.approx(abs(y[-1] - y[0]), abs=0.006)
    assert words[2] == ("left" if y[-1] > y[0] else "right")
    assert float(words[3]) == pytest.approx(float(words[1]) / 0.13, abs=0.06)
    assert "drifted" not in run(text()).verdict
