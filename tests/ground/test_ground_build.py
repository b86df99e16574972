"""From the ground a user writes to the arrays the kernel reads."""

import numpy as np
import pytest

from drivesim.engine.ground_build import build_ground
from drivesim.errors import ScenarioError
from drivesim.ground.surface import FRICTION, height_and_slopes, node_at
from drivesim.scenario.ground import Ground

r = 0.032
ROUGH = {"kind": "roughness", "iso_class": "B", "shortest_wave": "80 mm"}
PAVERS = {
    "kind": "pavers", "start": "1 m", "count": 5, "length": "300 mm", "gap": "10 mm", "height": "20 mm",
    "height_spread": "4 mm",
}  # fmt: skip
STEP = {"kind": "step", "at": "1.2345 m", "height": "12 mm"}
SMALL = {"length": "2 m", "width": "0.6 m"}


def build(*features, seed=1, folder=".", **more):
    ground = Ground.model_validate({**SMALL, "features": features, **more})
    return build_ground(ground, r, np.random.SeedSequence(seed), folder)


def test_flat_ground_is_tiny():
    g = build()
    assert g.heights.shape == g.fields.shape[:2] == (2, 2)
    np.testing.assert_array_equal(g.surface, r)
    np.testing.assert_allclose(g.x_axis, [-0.5, 2.0])
    np.testing.assert_allclose(g.y_axis, [-0.3, 0.3])


def test_what_is_alike_across_becomes_a_fine_profile():
    g = build(STEP)
    assert g.heights.shape[1] == 2
    assert g.dx <= r / 150
    for array in (g.heights, g.surface, g.fields):
        assert array.flags.c_contiguous
        assert array.dtype == np.float64
    assert g.x_axis[-1] == pytest.approx(2.0, abs=1e-12)
    edge = g.x_axis[g.heights[:, 0] > 0].min()
    assert abs(edge - 1.2345) <= g.dx / 2 * (1 + 1e-9)
    # the wheel's centre meets the arc of its own circle: z = √(r² - d²) + h
    h, hx, hy = height_and_slopes(g.surface, g.x0, g.y0, g.dx, g.dy, edge - 0.01, 0.1)
    assert h == pytest.approx(np.sqrt(r**2 - 0.01**2) + 0.012, abs=1e-6)
    assert hx == pytest.approx(0.01 / np.sqrt(r**2 - 0.01**2), rel=0.01)
    assert hy == 0.0


def test_heights_add_up_on_a_map():
    both = build(ROUGH, STEP)
    assert both.dx == pytest.approx(r / 10, rel=0.01)
    rough = build(ROUGH)
    step = np.where(both.x_axis >= 1.2345 - both.dx / 2, 0.012, 0.0)
    np.testing.assert_allclose(both.heights, rough.heights + step[:, None], atol=1e-15)
    assert (both.surface >= both.heights + r).all()
    assert not rough.heights[rough.x_axis < 0.3].any()


@pytest.mark.parametrize("feature", [ROUGH, PAVERS])
def test_same_seed_same_bytes(feature):
    first, again, other = build(feature), build(feature), build(feature, seed=2)
    assert first.surface.tobytes() == again.surface.tobytes()
    assert first.heights.tobytes() != other.heights.tobytes()


def test_other_features_and_other_grids_do_not_change_a_random_one():
    alone = build(ROUGH, cell="4 mm")
    twist = {"kind": "twist", "start": "9 m", "wavelength": "1 m", "amplitude": "5 mm"}
    far = dict(PAVERS, start="9 m")
    np.testing.assert_array_equal(build(far, twist, ROUGH, cell="4 mm").heights, alone.heights)
    finer = build(ROUGH, cell="2 mm")
    np.testing.assert_allclose(finer.heights[::2, ::2], alone.heights, atol=1e-12)
    twice = build(ROUGH, ROUGH, cell="4 mm")
    assert np.abs(twice.heights - 2 * alone.heights).max() > 1e-4
    own = dict(ROUGH, seed=7)
    np.testing.assert_array_equal(build(own, seed=1).heights, build(own, seed=2).heights)


def test_pavers_keep_their_spread_and_gap_depth():
    g = build(dict(PAVERS, gap_depth="8 mm"))
    tops = [g.heights[np.searchsorted(g.x_axis, 1.0 + 0.31 * i + 0.15), 0] for i in range(3)]
    assert len(set(tops)) == 3
    assert all(0.016 <= top <= 0.024 for top in tops)
    assert g.heights[np.searchsorted(g.x_axis, 1.305), 0] == pytest.approx(0.012)


def test_rms_form_and_its_limits():
    rough = {"kind": "roughness", "rms": "3 mm", "correlation_length": "60 mm", "longest_wave": "1 m"}
    g = build(rough, length="8 m", width="2 m")
    assert g.heights[g.x_axis > 0.5].std() == pytest.approx(3e-3, rel=0.1)
    with pytest.raises(ScenarioError, match=r"correlation_length: found 1e\+03 mm, .* allowed is 50%"):
        build(dict(rough, correlation_length="1 m"))


def test_friction_patches_later_ones_on_top():
    patches = [
        {"x": ["0.5 m", "1 m"], "y": ["-0.3 m", "0.3 m"], "factor": 0.5},
        {"x": ["0.8 m", "1.5 m"], "y": ["0 m", "0.3 m"], "factor": 0.2, "label": "the oil"},
    ]
    g = build(patches=patches, friction_factor=0.9)

    def factor(x, y):
        return g.fields[(*node_at(g.fields, g.fx0, g.fy0, g.fdx, g.fdy, x, y), FRICTION)]

    assert [factor(0.49, 0.1), factor(0.51, 0.1)] == [0.9, 0.45]
    assert [factor(0.9, -0.01), factor(0.9, 0.01)] == pytest.approx([0.45, 0.18])
    assert [factor(1.49, 0.3), factor(1.51, 0.3)] == pytest.approx([0.18, 0.9])
    assert [g.word_at(x) for x in (0.6, 0.9, 1.2, 1.6)] == ["the slippery patch"] * 2 + ["the oil", None]


def test_words_for_the_verdict():
    g = build(PAVERS, ROUGH, dict(STEP, at="0.5 m", label="the door sill"))
    assert g.word_at(0.1) is None
    assert g.word_at(0.4) == "the rough ground"
    assert g.word_at(0.49) == "the door sill"
    assert g.word_at(0.98) == "the slab edge"
    assert g.word_at(1.2) == "the slabs"


def test_measured_ground_is_found_beside_the_scenario(tmp_path):
    (tmp_path / "floor.csv").write_text("x [m], z [mm]\n0, 0\n1, 10\n")
    (tmp_path / "map.csv").write_text("0, 10\n0, 10\n")
    g = build({"kind": "profile", "file": "floor.csv", "start": "0.5 m"}, folder=tmp_path)
    assert g.heights.shape[1] == 2
    assert np.interp(1.0, g.x_axis, g.heights[:, 0]) == pytest.approx(0.005)
    assert g.word_at(1.4) == "the measured ground"
    g = build({"kind": "height_map", "file": "map.csv", "spacing": "0.6 m", "unit": "mm"}, folder=tmp_path)
    np.testing.assert_allclose(g.heights[:, [0, -1]], [[0.0, 0.01]] * g.x_axis.size, atol=1e-15)
    with pytest.raises(ScenarioError, match=r"flor\.csv:1: file: .*did you mean 'floor\.csv'"):
        build({"kind": "profile", "file": "flor.csv"}, folder=tmp_path)


@pytest.mark.parametrize(
    ("features", "more", "line"),
    [
        (
            [STEP],
            {"cell": "20 mm"},
            "ground.cell: found 20 mm, allowed at most 8 mm for a wheel of radius 32 mm",
        ),
        (
            [ROUGH],
            {"cell": "0.1 mm"},
            "ground.cell: found 0.1 mm on a ground of 2.5 m by 0.6 m, which is 1.5e+08 cells, "
            "allowed are 2e+07: use a larger cell or a smaller ground",
        ),
        (
            [ROUGH],
            {"cell": "0.3 mm"},
            "ground.cell: found 0.3 mm on a ground of 2.5 m by 0.6 m, which is 1.67e+07 cells with 3.57e+04 "
            "under each wheel, allowed is a product of 1e+11: use a larger cell or a smaller ground",
        ),
        (
            [STEP, dict(ROUGH, shortest_wave="10 mm")],
            {"cell": "5 mm"},
            "ground.features.1.shortest_wave: found 10 mm, allowed at least 3 cells of 5 mm",
        ),
        (
            [dict(ROUGH, longest_wave="400 m")],
            {},
            "ground.features.0.shortest_wave: found 80 mm with waves up to 400 m on a ground of 2.5 m by "
            "0.6 m, which is 200 million waves, allowed are 20 million: use a longer shortest_wave",
        ),
        (
            [],
            {"length": "9 km", "patches": [{"x": ["0 m", "1 m"], "y": ["0 m", "1 m"], "factor": 0.5}]},
            "ground.patches: found a ground of 9e+03 m by 0.6 m, which is 218 million cells of 5 mm, "
            "allowed are 20 million: use a smaller ground",
        ),
        (
            [STEP],
            {"length": "1e12 m"},
            "ground.cell: found 0.213 mm on a ground of 1e+12 m by 0.6 m, which is 9.38e+15 cells, "
            "allowed are 2e+07: use a larger cell or a smaller ground",
        ),
    ],
)
def test_grounds_that_would_be_too_large_or_too_coarse(features, more, line):
    with pytest.raises(ScenarioError) as caught:
        build(*features, **more)
    assert str(caught.value) == line
