"""The pictures say what the traces say, with labels, and legibly."""

import itertools
import re

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from drivesim.analysis.run import Run
from drivesim.plots import PICTURES, applicable, draw
from drivesim.plots.forces import along_command
from drivesim.plots.layout import apart
from drivesim.plots.style import CONDITION_LOOKS, styled, wheel_word

UNIT = re.compile(r"\[[^\[\]]+\]$")
CASES = [("rough", name) for name in PICTURES] + [
    (run, name) for run in ("spot", "failing", "hot") for name in PICTURES if name != "load_angle"
]


@pytest.fixture(scope="module")
def pictures(rough: Run, spot: Run, failing: Run, hot: Run) -> dict[tuple[str, str], Figure]:
    """Every picture of these runs, laid out and drawn."""
    runs = {"rough": rough, "spot": spot, "failing": failing, "hot": hot}
    figures = {(run, name): draw(runs[run], name) for run, name in CASES}
    with styled():
        for figure in figures.values():
            figure.canvas.draw()
    return figures


def has(axes: Axes, values: np.ndarray) -> bool:
    """Tell whether a line of ``axes`` holds exactly ``values``, gaps (NaN) aside."""
    lines = [np.asarray(line.get_ydata(), dtype=float) for line in axes.lines]
    wanted = values[np.isfinite(values)]
    return any(np.array_equal(data[np.isfinite(data)], wanted) for data in lines)


def headed(figure: Figure, text: str) -> Axes:
    """Return the one panel with a heading that begins with ``text``."""
    found = [ax for ax in figure.axes if any(t.get_text().startswith(text) for t in ax.texts)]
    assert len(found) == 1
    return found[0]


def test_both_runs_together_show_every_condition(rough, spot):
    shares = [wheel for run in (rough, spot) for wheel in run.summary["wheels"].values()]
    assert all(any(wheel[name] > 0 for wheel in shares) for name in CONDITION_LOOKS)


@pytest.mark.parametrize(("run", "name"), CASES)
def test_every_axis_says_what_it_shows_and_in_which_unit(pictures, run, name):
    figure = pictures[run, name]
    assert figure.axes
    bottoms = {}
    for ax in figure.axes:
        if ax.xaxis.get_visible() and any(label.get_visible() for label in ax.get_xticklabels()):
            assert UNIT.search(ax.get_xlabel()), ax
            bottoms[round(ax.get_position().x0, 6), ax.get_xlim()] = ax
        named = name == "energy"  # its places along y are words
        inner = not any(label.get_visible() for label in ax.get_yticklabels())  # said at its left
        assert named or inner or UNIT.search(ax.get_ylabel()), ax
        assert ax.has_data()
    for ax in figure.axes:  # a panel without labels stands over one with the same axis
        assert (round(ax.get_position().x0, 6), ax.get_xlim()) in bottoms


@pytest.mark.parametrize(("run", "name"), CASES)
def test_no_words_overlap_or_leave_the_page(pictures, run, name):
    figure = pictures[run, name]
    renderer = figure.canvas.get_renderer()
    texts = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    texts = [t for t in texts if is_drawn(t, figure)]
    boxes = [Text.get_window_extent(t, renderer) for t in texts]
    page = figure.bbox.padded(0.5)
    outside = [t.get_text() for t, b in zip(texts, boxes, strict=True) if not within(b, page)]
    assert not outside
    overlaps = [
        (a.get_text(), b.get_text())
        for (a, box_a), (b, box_b) in itertools.combinations(zip(texts, boxes, strict=True), 2)
        if overlap(box_a, box_b)
    ]
    assert not overlaps


def is_drawn(text: Text, figure: Figure) -> bool:
    """Tell whether a text is on the page: not a tick label of a hidden axis or beyond the limits."""
    for ax in figure.axes:
        for axis, limits in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
            for tick in axis.get_major_ticks():
                if text in (tick.label1, tick.label2):
                    low, high = sorted(limits)
                    slack = 1e-9 * (high - low)
                    return axis.get_visible() and low - slack <= tick.get_loc() <= high + slack
    return True


def within(box, page) -> bool:
    return page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1


def overlap(a, b) -> bool:
    return min(a.x1, b.x1) - max(a.x0, b.x0) > 0.5 and min(a.y1, b.y1) - max(a.y0, b.y0) > 0.5


def test_the_lines_are_the_traces(pictures, rough):
    traces = rough.traces
    for i, wheel in enumerate(traces["wheel"].values):
        own, word = traces.sel(wheel=wheel), wheel_word(wheel)
        speeds = headed(pictures["rough", "speeds"], word)
        for name in ("commanded_speed", "measured_speed", "wheel_speed"):
            assert has(speeds, own[name].values), name
        assert has(headed(pictures["rough", "loads"], word), own["normal_load"].values)
        assert has(headed(pictures["rough", "fighting"], word), along_command(rough)[:, i])
        slip, force = (ax for ax in pictures["rough", "slip"].axes[i :: traces.sizes["wheel"]])
        assert has(slip, own["slip_ratio"].values)
        assert has(force, own["friction_limit"].values)
        assert has(force, np.hypot(own["drive_force"].values, own["side_force"].values))
        current = np.hypot(own["current_d"].values, own["current_q"].values)
        assert has(headed(pictures["rough", "electrics"], word), current)
        assert has(headed(pictures["rough", "electrics"], "winding"), own["winding_temperature"].values)
        assert has(headed(pictures["rough", "path"], "from above"), own["hub_y"].values)
        side = "left wheels" if wheel.endswith("left") else "right wheels"
        assert has(headed(pictures["rough", "path"], side), 1e3 * own["hub_z"].values)
    fighting = pictures["rough", "fighting"]
    assert has(headed(fighting, "circulating force"), traces["circulating_force"].values)
    assert has(headed(fighting, "circulating power"), traces["circulating_power"].values)
    assert has(headed(pictures["rough", "electrics"], "bus voltage"), traces["bus_voltage"].values)
    assert has(headed(pictures["rough", "electrics"], "battery"), traces["battery_current"].values)


def test_load_angle_leaves_out_only_rows_with_a_slip_and_shows_forced_wheels_only(pictures, rough):
    figure, traces = pictures["rough", "load_angle"], rough.traces
    assert len(figure.axes) == 6  # three of four wheels have a forced field
    for wheel in ("front_left", "front_right", "rear_left"):
        own = traces.sel(wheel=wheel)
        slips = own["pole_slips"].values
        whole = (np.abs(slips - np.round(slips)) < 1e-6) & (np.diff(slips, prepend=0.0) < 1 - 1e-6)
        angle = np.degrees(own["load_angle"].values)
        axes = headed(figure, wheel_word(wheel))
        assert has(axes, np.where(whole, angle, np.nan))
        line = max(axes.lines, key=lambda line: len(line.get_xdata()))
        steps = np.abs(np.diff(line.get_ydata()))
        assert np.nanmax(steps) <= 180  # no stroke from one end of the circle to the other
        assert figure.axes[figure.axes.index(axes) + 3].lines
    margin = 1e3 * (traces["pull_out_torque"].values - np.abs(traces["motor_torque"].values))
    assert all(has(ax, margin[:, k]) for k, ax in enumerate(figure.axes[3:]))


@pytest.mark.parametrize("run", ["rough", "spot"])
def test_bands_cover_the_shares_of_time_of_each_condition(pictures, request, run):
    result: Run = request.getfixturevalue(run)
    for wheel in result.traces["wheel"].values:
        axes = headed(pictures[run, "speeds"], wheel_word(wheel))
        rows = result.traces.sizes["time"] * result.traces.attrs["recording_interval_s"]
        shares = dict.fromkeys((look.label for look in CONDITION_LOOKS.values()), 0.0)
        for band in axes.patches:
            corners = band.get_path().vertices.reshape(-1, 5, 2)
            shares[band.get_gid().removeprefix("condition:")] += np.ptp(corners[:, :, 0], axis=1).sum() / rows
        for name, look in CONDITION_LOOKS.items():
            assert shares[look.label] == pytest.approx(result.summary["wheels"][wheel][name], abs=1e-9)


def test_energy_bars_add_up_to_what_was_drawn(pictures, rough):
    axes = pictures["rough", "energy"].axes[0]
    drawn = rough.summary["ledger"]["drawn"]
    assert sum(bar.get_width() for bar in axes.patches) == pytest.approx(drawn, rel=1e-9)
    assert axes.get_xlim()[0] <= 0


def test_fighting_has_one_scale_for_all_drives_of_a_rover(rough):
    calm = rough.traces.copy()
    for name in ("drive_force", "circulating_force", "circulating_power"):
        calm[name] = 0.1 * calm[name]
    quiet = draw(type(rough)(rough.scenario, calm, rough.summary, rough.events, rough.ground), "fighting")
    for name in ("circulating force", "circulating power"):
        low, high = headed(draw(rough, "fighting"), name).get_ylim()
        assert (low, high) == headed(quiet, name).get_ylim()
        assert low == 0


@pytest.mark.parametrize("run", ["rough", "spot"])
def test_path_is_to_the_scale_it_states(pictures, run):
    figure = pictures[run, "path"]
    for ax in figure.axes:
        box = ax.get_window_extent()
        x, y = box.width / np.ptp(ax.get_xlim()), box.height / np.ptp(ax.get_ylim())
        words = " ".join(text.get_text() for text in ax.texts)
        stated = re.search(r"drawn (\d+) times larger", words)
        metre = 1.0 if "from above" in words else 1e3
        assert y * metre / x == pytest.approx(float(stated[1]) if stated else 1.0, rel=1e-6)
        assert stated or "scale" in words


@pytest.mark.parametrize("run", ["rough", "spot"])
def test_all_of_the_way_is_in_view(pictures, request, run):
    traces = request.getfixturevalue(run).traces
    above = headed(pictures[run, "path"], "from above")
    for name, (low, high) in (("hub_x", above.get_xlim()), ("hub_y", above.get_ylim())):
        assert low < traces[name].values.min() - 0.034
        assert traces[name].values.max() + 0.034 < high
    for line in (line for ax in pictures[run, "path"].axes for line in ax.lines):
        low, high = line.axes.get_ylim()
        assert np.all((low < line.get_ydata()) & (line.get_ydata() < high))


def test_words_in_a_row_stay_apart_and_inside():
    rng = np.random.default_rng(3)
    for _ in range(200):
        widths = rng.uniform(0.2, 2.0, rng.integers(1, 6))
        room = widths.sum() + rng.uniform(0, 3)
        wanted = np.sort(rng.uniform(-1, room + 1, len(widths)))
        got = np.array(apart(list(wanted), list(widths), room))
        assert np.all(got >= -1e-9)
        assert np.all(got[:-1] + widths[:-1] <= got[1:] + 1e-9)
        assert got[-1] + widths[-1] <= room + 1e-9


def test_load_angle_does_not_apply_to_closed_loops(spot):
    assert "load_angle" not in applicable(spot)
