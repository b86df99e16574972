"""Pictures as files: all or none, the same every time, and nothing of matplotlib changed after."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from drivesim.errors import DrivesimError
from drivesim.ground.surface import height_and_slopes
from drivesim.plots import PICTURES, draw, files, write_pictures
from drivesim.plots.way import height_at


def test_writes_every_applicable_picture_at_the_promised_size(spot, tmp_path):
    folder = tmp_path / "new" / "folder"
    paths = write_pictures(spot, folder)
    assert [path.stem for path in paths] == [name for name in PICTURES if name != "load_angle"]
    assert sorted(path.name for path in (tmp_path / "new" / "folder").iterdir()) == sorted(
        p.name for p in paths
    )
    for path in paths:
        with Image.open(path) as picture:
            assert picture.size[0] == 1080
            assert np.asarray(picture.convert("L")).std() > 5  # not an empty page


def test_same_run_gives_the_same_bytes_from_any_thread(rough, tmp_path):
    names, forms = ["speeds", "path"], ("png", "svg")
    write_pictures(rough, tmp_path / "alone", forms, names)
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(lambda k: write_pictures(rough, tmp_path / str(k), forms, names), range(3)))
    for path in (tmp_path / "alone").iterdir():
        assert all((tmp_path / str(k) / path.name).read_bytes() == path.read_bytes() for k in range(3))


def test_settings_of_matplotlib_are_left_as_they_were(rough):
    with mpl.rc_context({"font.size": 13.0, "axes.spines.top": True, "text.parse_math": True}):
        before = dict(mpl.rcParams)
        draw(rough, "energy")
        assert dict(mpl.rcParams) == before


def test_failure_leaves_old_files_and_no_new_ones(rough, tmp_path, monkeypatch):
    (tmp_path / "speeds.png").write_bytes(b"old")
    real = files.pack

    def failing(image, path):
        if path.stem == "energy":
            path.write_bytes(b"half")
            raise OSError("no space left")
        real(image, path)

    monkeypatch.setattr(files, "pack", failing)
    with pytest.raises(OSError, match="no space"):
        write_pictures(rough, tmp_path, names=["speeds", "energy", "loads"])
    assert [path.name for path in tmp_path.iterdir()] == ["speeds.png"]
    assert (tmp_path / "speeds.png").read_bytes() == b"old"
    with pytest.raises(OSError, match="no space"):
        write_pictures(rough, tmp_path / "new", names=["energy"])
    assert not (tmp_path / "new").exists()


def test_mistakes_get_one_line_with_what_is_allowed(rough, spot, tmp_path):
    with pytest.raises(DrivesimError, match=r"found 'speed', allowed: speeds, .*nearest is speeds"):
        write_pictures(rough, tmp_path, names=["speed"])
    with pytest.raises(DrivesimError, match=r"'load_angle' says nothing about this run, allowed: speeds"):
        draw(spot, "load_angle")
    with pytest.raises(DrivesimError, match="found 'bmp', allowed: png, svg, pdf"):
        write_pictures(rough, tmp_path, formats=["bmp"])
    assert not list(tmp_path.iterdir())


def test_rows_that_are_not_numbers_are_left_out(spot):
    traces = spot.traces.copy(deep=True)
    traces["wheel_speed"][-1, 0] = np.nan
    traces["hub_z"][-2, 1] = np.inf
    wild = replace(spot, traces=traces)
    for name in ("speeds", "path"):
        line = max(draw(wild, name).axes[0].lines, key=lambda line: len(line.get_xdata()))
        assert len(line.get_xdata()) == spot.traces.sizes["time"] - 2
    traces["x"][:] = np.nan
    with pytest.raises(DrivesimError, match="no finite numbers"):
        draw(wild, "speeds")


@pytest.mark.parametrize(
    "name", [r"costs $5 and \nonsense$ {_", "路面 в пути", "x" * 120, "two\nlines\tand \\frac"]
)
def test_any_name_can_be_a_title(spot, tmp_path, name):
    named = replace(spot, scenario=spot.scenario.model_copy(update={"name": name}))
    assert write_pictures(named, tmp_path, ("png", "svg"), ["energy"])


def test_ground_is_looked_up_as_the_engine_does(rough):
    g, rng = rough.ground, np.random.default_rng(1)
    x, y = rng.uniform(-1, 3, 200), rng.uniform(-0.6, 0.6, 200)  # also beyond the border
    engine = [
        height_and_slopes(g.heights, g.x0, g.y0, g.dx, g.dy, a, b)[0] for a, b in zip(x, y, strict=True)
    ]
    assert height_at(g, x, y) == pytest.approx(engine, abs=1e-12)


def test_registry_costs_no_import_of_matplotlib_and_drawing_none_of_pyplot():
    code = (
        "import sys, drivesim.plots; assert 'matplotlib' not in sys.modules and 'numba' not in sys.modules; "
        "import drivesim.plots.files, drivesim.plots.path; assert 'matplotlib.pyplot' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
