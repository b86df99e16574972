"""A run's folder: whole or not at all, read back equal; the names in it that others script against."""

import csv
import json
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from analysis_runs import KERB, LOCKED, SCENARIOS, WHEELS, run, text

from drivesim import read_run, scenario_from_text, simulate
from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.files import check_target, free_folder, write_run, writing
from drivesim.analysis.ledger import PARTS
from drivesim.engine.channels import BODY_CHANNELS, WHEEL_CHANNELS
from drivesim.errors import RunError, ScenarioError

SHORT = text(duration=1)


def saved(result, folder, **how):
    with writing(folder) as partial:
        write_run(result, partial, **how)
    return folder


# -- whole or not at all


def test_nothing_is_left_when_writing_breaks_off(tmp_path):
    with pytest.raises(ZeroDivisionError), writing(tmp_path / "run") as partial:  # noqa: PT012 - breaks off half way
        write_run(run(SHORT), partial)
        assert partial.parent == tmp_path  # on the same disk, so that putting it in place is one step
        1 / 0  # noqa: B018
    assert list(tmp_path.iterdir()) == []


def test_an_older_run_survives_when_its_replacement_breaks_off(tmp_path):
    folder = saved(run(SHORT), tmp_path / "run")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(KeyboardInterrupt), writing(folder, force=True) as partial:  # noqa: PT012
        (partial / "summary.json").write_text("{}", encoding="utf-8")
        raise KeyboardInterrupt
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert list(tmp_path.iterdir()) == [folder]


def test_only_a_run_s_folder_can_be_replaced_and_only_when_asked(tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("precious", encoding="utf-8")
    folder = saved(run(SHORT), tmp_path / "run")
    for target, force, words in (
        (mine, False, "exists already; give another --output, or --force"),
        (mine, True, "is not a run of drivesim; it is left alone even with --force"),
        (mine / "thesis.txt", True, "is not a run of drivesim"),
        (folder, False, "exists already"),
    ):
        with pytest.raises(RunError, match=words), writing(target, force=force):
            pytest.fail("nothing may be asked for before the target is known to be free")
    assert (mine / "thesis.txt").read_text(encoding="utf-8") == "precious"
    (folder / "old picture.png").write_bytes(b"old")
    with writing(folder, force=True) as partial:
        write_run(run(SHORT), partial)
    assert "old picture.png" not in {path.name for path in folder.iterdir()}
    assert {path.name for path in tmp_path.iterdir()} == {"mine", "run"}
    check_target(tmp_path / "new", force=False)


def test_what_an_event_ends_comes_back(tmp_path):
    """Two faults of one wheel, the longer one first: each end belongs to its own begin."""
    events = (
        "events: [{at: 1 s, kind: sensor_sticks, wheel: rear_left, lasts: 1.5 s}, "
        "{at: 2 s, kind: sensor_sticks, wheel: rear_left, lasts: 0.2 s}]\n"
    )
    result = run(text(duration=3) + events)
    again = read_run(saved(result, tmp_path / "run"))
    for found in (result, again):
        ends = [(e.time, e.ends.time) for e in found.events if e.ends is not None]
        assert ends == [
            (pytest.approx(2.2, abs=1e-3), pytest.approx(2.0, abs=1e-3)),
            (pytest.approx(2.5, abs=1e-3), pytest.approx(1.0, abs=1e-3)),
        ]


@pytest.mark.parametrize("way", ["here", "link"])
def test_a_run_is_replaced_also_from_inside_and_through_a_link(tmp_path, monkeypatch, way):
    folder = saved(run(SHORT), tmp_path / "run")
    (folder / "old picture.png").write_bytes(b"old")
    target = Path()
    if way == "here":
        monkeypatch.chdir(folder)
    else:
        target = tmp_path / "link"
        target.symlink_to(folder)
    with writing(target, force=True) as partial:
        write_run(run(SHORT), partial)
    assert read_run(folder).verdict == run(SHORT).verdict
    assert "old picture.png" not in {path.name for path in folder.iterdir()}


def test_a_place_that_cannot_be_written_gets_one_line(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(RunError, match="cannot be written") as error, writing(tmp_path / "file" / "run"):
        pytest.fail("not reached")
    assert "\n" not in str(error.value)


def test_the_next_free_folder(tmp_path):
    assert free_folder(tmp_path / "run") == tmp_path / "run"
    for name in ("run", "run-2"):
        (tmp_path / name).mkdir()
    assert free_folder(tmp_path / "run") == tmp_path / "run-3"


# -- read back


@pytest.mark.parametrize("drive", ["drives/speed_loop.yaml", LOCKED])
def test_a_run_reads_back_equal(tmp_path, drive):
    result = run(text(drive=drive, ground=KERB, duration=3))
    again = read_run(saved(result, tmp_path / "run"))
    xr.testing.assert_identical(again.traces, result.traces)
    for name, channel in result.traces.data_vars.items():
        assert again.traces[name].dtype == channel.dtype, name
    assert again.summary == json.loads(json.dumps(result.summary)) == result.summary
    assert again.scenario == result.scenario
    assert again.verdict == result.verdict
    assert [(e.kind, e.text, e.wheel) for e in again.events] == [
        (e.kind, e.text, e.wheel) for e in result.events
    ]
    assert [e.time for e in again.events] == pytest.approx([e.time for e in result.events], rel=1e-5)
    for name in ("heights", "surface", "fields"):
        assert np.array_equal(getattr(again.ground, name), getattr(result.ground, name))
    # and what was read runs to the same numbers
    xr.testing.assert_identical(simulate(again.scenario).traces, result.traces)


def test_a_ground_s_own_file_goes_with_the_run(tmp_path):
    (tmp_path / "dip.csv").write_text("x [m], z [mm]\n0, 0\n0.1, 12\n0.2, 0\n", encoding="utf-8")
    profile = f"{{kind: profile, file: {tmp_path}/dip.csv, start: 0.3 m, label: the bump}}"
    ground = f"{{length: 2 m, features: [{profile}, {{kind: step, at: 1.5 m, height: 1 mm}}]}}"
    result = simulate(scenario_from_text(text(ground=ground, duration=4), folder=SCENARIOS))
    folder = saved(result, tmp_path / "run")
    (tmp_path / "dip.csv").unlink()
    folder = folder.rename(tmp_path / "moved")
    again = read_run(folder)
    assert np.array_equal(again.ground.heights, result.ground.heights)
    assert again.ground.heights.max() == pytest.approx(0.012, rel=0.05)
    xr.testing.assert_identical(simulate(again.scenario).traces, result.traces)


def test_what_is_no_run_or_was_damaged_is_refused_in_one_line(tmp_path):
    with pytest.raises(RunError, match=r"is not a run's folder: summary.json is missing"):
        read_run(tmp_path)
    for name, content, words in (
        ("summary.json", b"{", "cannot be read"),
        ("traces.nc", b"CDF\x01 nonsense", "cannot be read"),
        ("events.csv", b"time_s,kind\nsoon,what\n", "cannot be read"),
        ("events.csv", b"\xff\xfe", "cannot be read"),
    ):
        folder = saved(run(SHORT), free_folder(tmp_path / "run"))
        (folder / name).write_bytes(content)
        with pytest.raises(RunError, match=words) as error:
            read_run(folder)
        assert "\n" not in str(error.value), name
    folder = saved(run(SHORT), free_folder(tmp_path / "run"))
    (folder / "traces.nc").unlink()
    with pytest.raises(RunError, match=r"traces.nc is missing"):
        read_run(folder)
    folder = saved(run(SHORT), free_folder(tmp_path / "run"))
    scenario = folder / "scenario.yaml"
    scenario.write_text(scenario.read_text(encoding="utf-8").replace("mass:", "mas:"), encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"rover.mas: .*mass"):
        read_run(folder)


def test_csv_traces_hold_every_channel_with_its_unit(tmp_path):
    result = run(SHORT)
    with (saved(result, tmp_path / "run", csv_traces=True) / "traces.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    header, table = rows[0], np.array(rows[1:], dtype=float)
    assert header[0] == "time [s]"
    assert len(header) == 1 + 4 * (len(WHEEL_CHANNELS) + 2) + len(BODY_CHANNELS)
    column = table[:, header.index("wheel_speed rear_left [rad/s]")]
    assert column == pytest.approx(
        result.traces["wheel_speed"].sel(wheel="rear_left").values, rel=1e-8, abs=1e-300
    )
    assert table[:, header.index("bus_voltage [V]")] == pytest.approx(
        result.traces["bus_voltage"].values, rel=1e-8
    )


# -- names that others script against

SUMMARY = {
    "name": str,
    "verdict": str,
    "duration_s": float,
    "distance_m": float,
    "stuck_s": (int, float),
    "stuck_at_m": list,
    "overturned": bool,
    "energy_drawn_J": float,
    "energy_per_metre_J": (float, type(None)),
    "ledger": dict,
    "fighting": dict,
    "wheels": dict,
    "cautions": list,
    "step_s": float,
    "real_time_factor": float,
    "seed": int,
    "versions": dict,
}
WHEEL_TRACES = {
    "commanded_speed": "rad/s",
    "measured_speed": "rad/s",
    "wheel_speed": "rad/s",
    "slip_ratio": "1",
    "slip_speed": "m/s",
    "normal_load": "N",
    "drive_force": "N",
    "side_force": "N",
    "friction_limit": "N",
    "motor_torque": "N*m",
    "current_d": "A",
    "current_q": "A",
    "phase_voltage": "V",
    "load_angle": "rad",
    "winding_temperature": "degC",
}
BODY_TRACES = {
    "x": "m",
    "y": "m",
    "z": "m",
    "roll": "rad",
    "pitch": "rad",
    "yaw": "rad",
    "speed": "m/s",
    "bus_voltage": "V",
    "battery_current": "A",
    "state_of_charge": "1",
    "circulating_force": "N",
    "circulating_power": "W",
}


def test_the_summary_s_keys(tmp_path):
    folder = saved(run(text(ground=KERB, duration=6)), tmp_path / "run")
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    for key, kind in SUMMARY.items():
        assert isinstance(summary[key], kind), key
    assert {"drawn", "remainder_fraction", *PARTS} <= set(summary["ledger"])
    assert {"force_mean_N", "force_peak_N", "power_mean_W", "share_of_drive_power"} <= set(
        summary["fighting"]
    )
    assert tuple(summary["wheels"]) == WHEELS
    for wheel in summary["wheels"].values():
        assert {*CONDITIONS, "pole_slips", "peak_temperature_degC", "first_stall_s"} <= set(wheel)
        assert sum(wheel[condition] for condition in CONDITIONS) == pytest.approx(1)
    assert (summary["name"], summary["seed"], summary["overturned"]) == ("small run", 1, False)
    assert summary["versions"]["drivesim"] == version("drivesim")
    assert {"numpy", "numba", "python", "sources"} <= set(summary["versions"])
    assert summary["stuck_at_m"]
    assert summary["energy_per_metre_J"] == pytest.approx(summary["energy_drawn_J"] / summary["progress_m"])


def test_the_traces_names_and_units():
    traces = run(SHORT).traces
    for channel in WHEEL_CHANNELS:
        assert traces[channel.name].dims == ("time", "wheel")
        assert traces[channel.name].attrs["units"] == channel.unit
    for channel in BODY_CHANNELS:
        assert traces[channel.name].dims == ("time",)
        assert traces[channel.name].attrs["units"] == channel.unit
    for names, dims in ((WHEEL_TRACES, ("time", "wheel")), (BODY_TRACES, ("time",))):
        assert {name: traces[name].attrs["units"] for name in names} == names
        assert {traces[name].dims for name in names} == {dims}
    assert traces["condition"].dims == ("time", "wheel")
    assert traces["condition"].attrs["flag_meanings"].split() == list(CONDITIONS)
    assert traces["time"].attrs["units"] == "s"
    assert tuple(traces["wheel"].values) == WHEELS


def test_pull_out_torque_is_told_for_forced_wheels_only():
    assert np.isnan(run(SHORT).traces["pull_out_torque"].values).all()
    forced = run(text(drive=LOCKED, duration=1)).traces
    standing = forced["pull_out_torque"].sel(time=slice(0.05, 0.15)).values
    assert standing == pytest.approx(1.5 * 8 * 1.67e-3 * 3.2 / (2.4 * (1 + 0.00393 * 2) + 0.15), rel=2e-3)
