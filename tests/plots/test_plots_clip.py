"""Clips: what their frames say, how long they play, their size, and that they are whole or not there."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from drivesim.analysis.conditions import CONDITIONS
from drivesim.analysis.files import write_run
from drivesim.analysis.run import simulate
from drivesim.cli.main import main
from drivesim.errors import DrivesimError
from drivesim.plots.clip import FIRST, LAST, LONGEST, RATE, SHORTEST, Clip, speed_of, write_clip
from drivesim.plots.clip_views import FromAbove, FromTheSide
from drivesim.plots.palettes import palette
from drivesim.scenario import scenario_from_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def few(run, style="light", every=10) -> Clip:
    """Return a clip with only some of its frames, which is enough to look at."""
    clip = Clip(run, style)
    clip.frames = clip.frames[::every]
    return clip


@pytest.mark.parametrize("duration", [1e-3, 0.05, 1.0, 2.0, 5.0, 8.0, 8.1, 20.0, 90.0, 3600.0, 86400.0])
def test_playing_takes_seconds_whatever_the_run(duration):
    speed, playing = speed_of(duration), duration / speed_of(duration)
    assert SHORTEST * 0.999 <= playing <= LONGEST * 1.001
    assert speed == 1 or not SHORTEST <= duration <= LONGEST
    assert float(f"{speed:.2g}") == pytest.approx(speed)  # two digits say it


def test_frames_are_means_over_all_rows(rough):
    clip = Clip(rough)
    assert len(clip.frames) == RATE * 3  # 3 s as fast as life
    rows = np.diff([frame.row for frame in clip.frames] + [rough.traces.sizes["time"]])
    for name in ("load", "drive", "side"):
        trace = {"load": "normal_load", "drive": "drive_force", "side": "side_force"}[name]
        mean = np.average([getattr(frame, name) for frame in clip.frames], axis=0, weights=rows)
        assert mean == pytest.approx(rough.traces[trace].mean("time").values)
    frame, last = clip.frames[20], clip.frames[21]
    codes = rough.traces["condition"].values[frame.row : last.row]
    for i, code in enumerate(frame.code):
        counts = [(codes[:, i] == kind).sum() for kind in range(len(CONDITIONS))]
        assert counts[code] == max(counts)


def test_a_frame_shows_words_places_and_conditions(failing):
    clip = few(failing, every=len(Clip(failing).frames) - 1)
    frame = clip.frames[-1]
    list(clip.images())
    assert clip.clock.get_text() == f"{frame.time:.1f} s"
    side = next(view for view in clip.views if isinstance(view, FromTheSide))
    low, high = side.axes.get_xlim()
    words = " ".join(text.get_text() for text in clip.figure.texts)
    for body, i in zip(side.bodies, side.wheels, strict=True):
        x, z = body.get_center()
        assert z == pytest.approx(1e3 * failing.traces["hub_z"].values[frame.row, i])
        assert low < x < high
        look = list(palette("light").conditions.values())[frame.code[i]]
        assert (body.get_hatch() or "") == look.hatch
        assert f"left: {look.label}\nload {max(frame.load[i], 0):.2f} N" in words
    # the front left wheel has lost its tyre by then
    assert min(body.get_width() for body in side.bodies) < 0.99 * max(
        body.get_width() for body in side.bodies
    )


def test_arrows_lean_as_the_ground_does(failing):
    """On 20 deg of ground that rises ahead a load leans back, and a push forward points up the slope."""
    slope = np.radians(20)
    traces = failing.traces.assign(normal_x=0 * failing.traces["normal_x"] - np.sin(slope))
    clip = few(replace(failing, traces=traces))
    frame = clip.frames[0]
    side = next(view for view in clip.views if isinstance(view, FromTheSide))
    side.show(frame)
    load, force = side.load.quiver, side.force.quiver
    assert np.arctan2(-load.U, load.V / 1e3) == pytest.approx(np.full(len(side.wheels), slope))
    assert np.arctan(force.V / 1e3 / force.U) == pytest.approx(np.full(len(side.wheels), slope))
    feet = np.asarray(load.get_offsets()) - [body.get_center() for body in side.bodies]
    radii = side.radii[frame.row, side.wheels]
    assert feet[:, 0] == pytest.approx(radii * np.sin(slope))  # where wheel and slope touch
    assert feet[:, 1] == pytest.approx(-1e3 * radii * np.cos(slope))
    assert np.hypot(load.U, load.V / 1e3) == pytest.approx(side.scale * frame.load[side.wheels])


def test_the_pace_is_told_in_no_more_digits_than_mean_anything(spot):
    short = replace(spot, summary={**spot.summary, "duration_s": 0.012}, traces=spot.traces.isel(time=[0]))
    words = [text.get_text() for text in Clip(short).figure.texts]
    assert any(word.startswith("played 167 times slower;") for word in words)


def test_a_turning_rover_is_seen_from_above_with_all_its_tracks(spot):
    clip = few(spot, "dark", every=28)
    list(clip.images())
    (above,) = (view for view in clip.views if isinstance(view, FromAbove))
    axes = above.force.quiver.axes
    for values, (low, high) in ((above.x, axes.get_xlim()), (above.y, axes.get_ylim())):
        assert low < values.min() < values.max() < high
    scales = [
        np.ptp(ends) / inches
        for ends, inches in zip((axes.get_xlim(), axes.get_ylim()), axes.bbox.size, strict=True)
    ]
    assert scales[0] == pytest.approx(scales[1])
    assert len(above.tracks[0].get_xdata()) == clip.frames[-1].row + 1


@pytest.mark.parametrize("name", ["light", "print"])
def test_the_file_plays_as_it_says(rough, tmp_path, name):
    clip, told = few(rough, name), []
    path = write_clip(clip, tmp_path / "new" / "clip.gif", told.append)
    assert told == [1, 2, 3]
    assert [one.name for one in path.parent.iterdir()] == ["clip.gif"]
    with Image.open(path) as film:
        assert film.n_frames == 3
        assert film.size[0] == 640
        times, pages = [], []
        for k in range(film.n_frames):
            film.seek(k)
            times.append(film.info["duration"])
            pages.append(np.asarray(film.convert("RGB")))
        assert film.info["loop"] == 0
    assert times == [FIRST, 1000 // RATE, LAST]
    assert (pages[0] != pages[-1]).any(axis=2).mean() > 0.005
    assert (pages[0][0, 0] == 255).all()  # the page is white, no blend of it
    if name == "print":
        assert (np.ptp(pages[-1].astype(int), axis=2) == 0).all()
    # 30 frames of the roughest ground stay far below 2 MB
    assert path.stat().st_size / 3 * RATE * LONGEST < 2e6


def test_an_interrupt_leaves_the_older_clip(rough, tmp_path):
    (tmp_path / "clip.gif").write_bytes(b"old")

    def stop(done):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_clip(few(rough), tmp_path / "clip.gif", stop)
    with pytest.raises(KeyboardInterrupt):
        write_clip(few(rough), tmp_path / "new" / "clip.gif", stop)
    assert [path.name for path in tmp_path.iterdir()] == ["clip.gif"]
    assert (tmp_path / "clip.gif").read_bytes() == b"old"


def test_runs_without_a_story_get_a_still_or_one_line(spot, tmp_path):
    still = replace(spot, traces=spot.traces.isel(time=[0]))
    with Image.open(write_clip(Clip(still), tmp_path / "still.gif")) as film:
        assert getattr(film, "n_frames", 1) == 1
    wild = replace(spot, summary={**spot.summary, "ending": "not_finite"})
    with pytest.raises(DrivesimError, match=r"^clip: the run ended in numbers that are not finite"):
        Clip(wild)
    with pytest.raises(DrivesimError, match="nearest is print"):
        Clip(spot, "prnt")


def test_the_command_writes_clip_and_style(tmp_path, capsys):
    run = tmp_path / "run"
    run.mkdir()
    short = scenario_from_text("{base: bench_start.yaml, change: {duration: 40 ms}}", folder=SCENARIOS)
    write_run(simulate(short), run)
    before = {path.name for path in run.iterdir()}
    for words, code, new in (
        (["--style", "drak"], 2, set()),
        (["--clip", "--style", "dark", "--picture", "energy"], 0, {"clip.gif", "energy.png"}),
    ):
        with pytest.raises(SystemExit) as ended:
            main(["plot", str(run), *words])
        assert ended.value.code == code
        assert {path.name for path in run.iterdir()} - before == new
    assert capsys.readouterr().err == "--style: found 'drak', allowed: light, dark, print; nearest is dark\n"
    page = palette("dark").page
    for name in ("clip.gif", "energy.png"):
        with Image.open(run / name) as image:
            assert "#{:02X}{:02X}{:02X}".format(*image.convert("RGB").getpixel((2, 2))) == page
