"""Row bearings on surfaces whose best rows are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS, Proj, Transformer

from districtplan.coverage import coverage, outlines_on_grid
from districtplan.errors import InputError
from districtplan.grid import Grid
from districtplan.terrain.gradient import Block, gradients
from tests.conftest import ArrayElevation, measured, middle, plan_of, square, surface_raster


def plane(slope: float, aspect_deg: float):
    """A plane that falls towards the aspect."""
    fall = np.radians(aspect_deg)
    return lambda x, y: 2000 - slope * (x * np.sin(fall) + y * np.cos(fall))


def line_difference(a: float, b: float) -> float:
    apart = abs(a - b) % 180
    return min(apart, 180 - apart)


def best_of_1800(raster: ArrayElevation, polygon: shapely.Geometry) -> float:
    """Try 1,800 bearings for the least coverage-weighted mean squared grade."""
    outlines = outlines_on_grid(np.array([polygon], dtype=object), raster.grid)
    cells = coverage(outlines)
    padded = np.pad(raster.heights.astype(np.float32), 1, constant_values=np.nan)
    ground = gradients(Block(padded, 0, 0), cells, raster.grid)
    bearings = np.arange(1800) / 10
    across = np.radians(bearings)
    grade = np.outer(np.sin(across), ground.east) + np.outer(np.cos(across), ground.north)
    return float(bearings[np.argmin((cells.weight * grade**2).sum(axis=1))])


@pytest.mark.parametrize("aspect_deg", range(0, 360, 10))
def test_plane_rows_are_square_to_the_fall(aspect_deg):
    raster = surface_raster(plane(0.12, aspect_deg))
    row = measured(raster, [square(raster, 3, 4)])[0].iloc[0]
    # The raster lies on its zone's central meridian: grid north is true north there.
    assert line_difference(row.row_bearing_true_deg, aspect_deg + 90) < 0.1
    assert row.row_method == "straight"
    assert row.slope_mean_pct == pytest.approx(12, abs=1e-3)
    assert abs((row.downslope_true_deg - aspect_deg + 180) % 360 - 180) < 0.1


A = 0.0004
CURVED = {
    "cone off its apex": (lambda x, y: 2000 - 0.2 * np.hypot(x - 150, y), 0, 0),
    "saddle-like dome": (lambda x, y: 2000 - A * (x**2 - 2 * y**2), 0, 0),
    "the same, turned over": (lambda x, y: 2000 + A * (x**2 - 2 * y**2), 7, -4),
    "ridge": (lambda x, y: 2000 - 0.2 * np.abs(x * np.cos(0.5) + y * np.sin(0.5)), 0, 0),
    "hollow": (lambda x, y: 2000 + 0.2 * np.abs(x * np.cos(2.0) + y * np.sin(2.0)), 5, 0),
}


@pytest.mark.parametrize("name", CURVED)
def test_curved_ground_gets_the_best_straight_bearing(name):
    surface, x, y = CURVED[name]
    raster = surface_raster(surface)
    plot = square(raster, x, y)
    row = measured(raster, [plot])[0].iloc[0]
    assert line_difference(row.row_bearing_true_deg, best_of_1800(raster, plot)) <= 0.06


def test_ridge_rows_run_along_the_crest():
    raster = surface_raster(lambda x, y: 2000 - 0.2 * np.abs(x))
    row = measured(raster, [square(raster)])[0].iloc[0]
    assert line_difference(row.row_bearing_true_deg, 0) < 0.01
    assert np.isnan(row.downslope_true_deg)


SYMMETRIC = {
    "cone": lambda x, y: 2000 - 0.2 * np.hypot(x, y),
    "bowl": lambda x, y: 2000 + 0.002 * (x**2 + y**2),
    "saddle": lambda x, y: 2000 + 0.002 * (x**2 - y**2),
}


@pytest.mark.parametrize("name", SYMMETRIC)
def test_where_no_bearing_is_best_it_is_measured_on_the_ground(name):
    raster = surface_raster(SYMMETRIC[name])
    row = measured(raster, [square(raster)])[0].iloc[0]
    assert row.row_method == "measure on the ground"
    assert row.row_method_reason == "no_best_direction"
    assert np.isnan(row.row_bearing_true_deg)
    assert row.row_bearing_words is None or row.isna()["row_bearing_words"]


def test_flat_ground_takes_any_direction():
    raster = surface_raster(plane(0.005, 30))
    row = measured(raster, [square(raster)])[0].iloc[0]
    assert (row.row_method, row.row_method_reason) == ("any direction", "flat")
    assert np.isnan(row.row_bearing_true_deg)


def test_few_cells_are_measured_on_the_ground():
    raster = surface_raster(plane(0.2, 30), cell=90.0)
    row = measured(raster, [square(raster, side=100)])[0].iloc[0]
    assert row.row_method_reason == "too_few_cells"
    assert np.isnan(row.row_bearing_true_deg)


def test_vertical_error_takes_support_away_from_small_plots_first():
    raster = surface_raster(plane(0.2, 30))
    plots = [square(raster, side=side) for side in (30, 40, 300)]
    noisy = plan_of(elevation={"vertical_error_m": 1.0, "error_correlation_m": 0.0})
    table, _ = measured(raster, plots, noisy)
    assert table["row_bearing_se_deg"].is_monotonic_decreasing
    assert table["row_method"].tolist() == [
        "measure on the ground",
        "measure on the ground",
        "straight",
    ]


@pytest.mark.parametrize(("radius", "method"), [(600, "straight"), (340, "guide lines")])
def test_nine_tenths_of_a_straight_row_keep_within_the_limit(radius, method):
    """On a cone the grade along a row is G l / (R √12) in the mean square, 2 % allowed."""
    raster = surface_raster(lambda x, y: 1800 - 0.2 * np.hypot(x, y + radius))
    table, _ = measured(raster, [square(raster, 0, 0, 90)])
    (row,) = table.itertuples()
    expected = 100 * 0.2 * 90 / radius / np.sqrt(12)
    assert row.bend_grade_pct == pytest.approx(expected, rel=0.15)
    assert row.bend_grade_pct < 2
    assert row.row_method == method


def test_sharply_curved_ground_asks_for_guide_lines():
    raster = surface_raster(CURVED["cone off its apex"][0])
    row = measured(raster, [square(raster)])[0].iloc[0]
    assert (row.row_method, row.row_method_reason) == ("guide lines", "straight_rows_too_steep")


def test_bearings_refer_to_true_grid_and_magnetic_north():
    """Two degrees off the middle of a zone at 33° south, where the compass points 24° west.

    Oracle for the convergence: (longitude - middle) x sin(latitude), to first order.
    """
    raster = surface_raster(plane(0.12, 120), epsg=32734, corner=(312_000.0, 6_300_000.0))
    row = measured(raster, [square(raster)])[0].iloc[0]
    x, y = middle(raster)
    longitude, latitude = Proj(raster.grid.crs)(x, y, inverse=True)
    convergence = (longitude - 21) * np.sin(np.radians(latitude))
    assert convergence > 1
    assert row.declination_deg < -20
    assert row.row_bearing_grid_deg == pytest.approx(30, abs=0.05)
    assert row.row_bearing_true_deg == pytest.approx(30 + convergence, abs=0.05)
    assert row.downslope_true_deg == pytest.approx(120 + convergence, abs=0.05)
    assert row.row_bearing_magnetic_deg == pytest.approx(
        row.row_bearing_true_deg - row.declination_deg
    )
    assert row.row_bearing_words == "NNE–SSW"


def test_each_limit_is_inclusive():
    raster = surface_raster(plane(0.2, 30), cell=50.0)
    four = square(raster, side=100)
    row = measured(raster, [four])[0].iloc[0]
    assert (row.cells, row.row_method) == (4.0, "straight")
    fewer = measured(raster, [four], plan_of(terrain={"cells_min": 4.001}))[0].iloc[0]
    assert fewer.row_method_reason == "too_few_cells"
    flat = surface_raster(plane(0.01, 0))
    limit = plan_of(terrain={"flat_slope_pct": 1.001})
    assert measured(flat, [square(flat)], limit)[0].iloc[0].row_method_reason == "flat"


def test_flat_ground_under_a_noisy_raster_is_not_called_flat():
    raster = surface_raster(plane(0.008, 30))
    noisy = plan_of(elevation={"vertical_error_m": 0.5, "error_correlation_m": 0.0})
    quiet = plan_of(elevation={"vertical_error_m": 0.001, "error_correlation_m": 0.0})
    plot = square(raster, side=60)
    assert measured(raster, [plot], noisy)[0].iloc[0].row_method_reason == "too_level_to_tell"
    assert measured(raster, [plot], quiet)[0].iloc[0].row_method_reason == "flat"


SHEARED = {
    "sinusoidal, far off its middle": ("+proj=sinu +lon_0=0 +datum=WGS84", 30, -20),
    "an equal-area map of a continent, at its edge": (3035, 38, 40),
}


@pytest.mark.parametrize("name", SHEARED)
def test_a_map_that_bends_directions_is_refused(name):
    crs, longitude, latitude = SHEARED[name]
    grid_crs = CRS.from_user_input(crs)
    x, y = Transformer.from_crs(4326, grid_crs, always_xy=True).transform(longitude, latitude)
    grid = Grid(x - 1000, y + 1000, 10.0, 10.0, 200, 200, grid_crs)
    raster = ArrayElevation(grid, np.zeros((200, 200)))
    with pytest.raises(InputError, match="Warp it"):
        measured(raster, [square(raster)])


def test_a_jump_of_the_heights_is_set_aside_with_its_reason():
    raster = surface_raster(lambda x, y: np.where((x > 0) & (x < 10) & (y > 0) & (y < 10), 0, 3000))
    table, unusable = measured(raster, [square(raster), square(raster, 500)])
    assert table["plot_id"].tolist() == ["P1"]
    assert unusable["plot_id"].tolist() == ["P0"]
    assert "jump" in unusable["reason"][0]


def test_a_cliff_is_flagged():
    raster = surface_raster(lambda x, y: 1000 + np.where(x > 0, 60, 0) + 0.1 * y)
    row = measured(raster, [square(raster)])[0].iloc[0]
    assert "doubtful_heights" in row.terrain_flags


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_turning_the_world_turns_the_bearing(turn):
    surface = CURVED["cone off its apex"][0]
    raster = surface_raster(lambda x, y: surface(x, y) + 0.05 * y)
    turned = ArrayElevation(raster.grid, np.rot90(raster.heights, turn))
    plot = square(raster, 20, 10, 70)
    x, y = middle(raster)
    plots = [shapely.affinity.rotate(plot, 90 * turn, origin=(x, y))]
    before = measured(raster, [plot])[0].iloc[0]
    after = measured(turned, plots)[0].iloc[0]
    assert line_difference(after.row_bearing_true_deg, before.row_bearing_true_deg - 90 * turn) < (
        1e-3
    )
    assert after.slope_mean_pct == pytest.approx(before.slope_mean_pct, rel=1e-6)
    assert after.slope_p90_pct == pytest.approx(before.slope_p90_pct, rel=1e-5)
    assert after.slope_length_m == pytest.approx(before.slope_length_m, rel=1e-6)
