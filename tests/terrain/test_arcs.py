"""The arc of each plot in closed form, and its standard error, against draws of noise."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from districtplan import handbook
from districtplan.coverage import coverage, outlines_on_grid
from districtplan.terrain import arcs, noise
from tests.conftest import measured, middle, plan_of, random_outlines, square, surface_raster
from tests.monte_carlo import CELL, GRID, errors, horn, outline, repeated
from tests.support import renumbered

SIZE = np.full(300, CELL)


def window(plot: shapely.Polygon):
    """A plot's weights on a window of cells, and the places of its heights."""
    found = coverage(outlines_on_grid(np.array([plot], dtype=object), GRID))
    top, left = found.row.min(), found.column.min()
    weight = np.zeros((found.row.max() - top + 1, found.column.max() - left + 1))
    weight[found.row - top, found.column - left] = found.weight
    rows, columns = weight.shape
    x = (left - 1 + np.arange(columns + 2) + 0.5) * CELL - 1500
    y = 1500 - (top - 1 + np.arange(rows + 2) + 0.5) * CELL
    return weight, np.meshgrid(x, y)


def fitted(weight, gradient, sigma=0.0, length=0.0):
    error = noise.ErrorModel.of(sigma, length, handbook.packaged())
    return arcs.fit(*repeated(weight, gradient), (SIZE, SIZE), error)


@pytest.mark.parametrize("apex", [(80.0, -30.0), (-400.0, 900.0), (25.0, 40.0)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_exact_gradients_of_a_cone_give_its_apex(apex, sign):
    weight, (x, y) = window(outline(np.random.default_rng(3), 40, "L"))
    out = (x - apex[0] + 1j * (y - apex[1]))[1:-1, 1:-1]
    found = fitted(weight, (sign * 0.25 * out / np.abs(out))[None])
    # The plot's middle, from the first row and column inside the border.
    east = x[0, 1] + found.column[0] * CELL
    north = y[1, 0] - found.row[0] * CELL
    centre = east - found.north / found.bend, north + found.east / found.bend
    assert np.allclose(np.ravel(centre), apex, atol=1e-6)


@pytest.mark.parametrize("shape", ["square", "long", "L"])
@pytest.mark.parametrize(("sigma", "length"), [(0.3, 0.0), (1.0, 30.0), (0.5, 60.0)])
def test_the_standard_error_is_that_of_draws(shape, sigma, length):
    rng = np.random.default_rng(20_261_131)
    for slope, bent in ((0.2, 0.0), (0.3, 1 / 150)):
        weight, (x, y) = window(outline(rng, 60, shape))
        land = slope * x if bent == 0 else slope * np.hypot(x - 1 / bent, y)
        noisy = land + sigma * errors(rng, land.shape, length, 600)
        true = fitted(weight, horn(land)[None])
        found = fitted(weight, horn(noisy), sigma, length)
        same_way = np.sign(found.east * true.east + found.north * true.north)
        off = found.bend * same_way - true.bend
        assert np.median(found.bend_se) == pytest.approx(off.std(), rel=0.2)
        if bent == 0:
            # Where noise rivals the slope the error has longer tails than a normal one.
            assert np.mean(np.abs(found.bend) > 2 * found.bend_se) < 0.16


def test_planes_have_no_bend_and_no_arc():
    raster = surface_raster(lambda x, y: 0.2 * x - 0.1 * y)
    table, _ = measured(raster, [square(raster, x, 0) for x in (-300, 0, 300)])
    assert (table["row_bend_deg_100m"] < 0.01).all()
    assert table["row_arc_radius_m"].isna().all()


def test_a_cone_in_the_table():
    raster = surface_raster(lambda x, y: 2000 - 0.2 * np.hypot(x - 200, y - 100))
    plots = [square(raster, x, -60, 80) for x in (-60, 40, 480)]
    table, _ = measured(raster, plots, plan_of(elevation={"vertical_error_m": 0.05}))
    x0, y0 = middle(raster)
    back = Transformer.from_crs(4326, raster.grid.crs, always_xy=True)
    x, y = back.transform(
        table["row_arc_centre_longitude_deg"], table["row_arc_centre_latitude_deg"]
    )
    assert np.hypot(x - x0 - 200, y - y0 - 100).max() < 5
    away = [shapely.Point(x0 + 200, y0 + 100).distance(plot.centroid) for plot in plots]
    assert table["row_arc_radius_m"].tolist() == pytest.approx(away, rel=0.02)
    degrees = np.degrees(100 / table["row_arc_radius_m"])
    assert table["row_bend_deg_100m"].tolist() == pytest.approx(degrees.tolist())


def test_a_noisy_plane_is_told_to_bend_one_time_in_twenty():
    rng = np.random.default_rng(20_261_132)
    grid = surface_raster(lambda x, y: 0.25 * x).grid
    noise_m = 0.5 * errors(rng, (grid.rows, grid.columns), 20.0, 1)[0]
    raster = surface_raster(lambda x, y: 0.25 * x + noise_m)
    plots = [square(raster, x, y, 80) for x in range(-800, 801, 160) for y in range(-800, 801, 160)]
    error = {"vertical_error_m": 0.5, "error_correlation_m": 20.0}
    table, _ = measured(raster, plots, plan_of(elevation=error))
    assert 0.0 < table["row_arc_radius_m"].notna().mean() < 0.12


def test_the_result_does_not_depend_on_the_batch(monkeypatch):
    rng = np.random.default_rng(8)
    raster = surface_raster(lambda x, y: 0.1 * x + 5 * np.sin(x / 90) * np.cos(y / 70))
    grid = raster.grid
    extent = (grid.west, grid.north - 2000, grid.west + 2000, grid.north)
    plots = list(random_outlines(rng, 60, extent))
    plan = plan_of(elevation={"vertical_error_m": 0.3})
    columns = ["row_bend_deg_100m", "row_bend_se_deg_100m", "row_arc_radius_m"]
    whole, _ = measured(raster, plots, plan)
    monkeypatch.setattr("districtplan.coverage.CELLS_PER_BATCH", 2_000)
    parts, _ = measured(raster, plots, plan)
    assert np.allclose(whole[columns], parts[columns], rtol=1e-6, equal_nan=True)


def test_the_standard_errors_asked_for_matter(monkeypatch):
    raster = surface_raster(lambda x, y: 2000 - 0.2 * np.hypot(x - 200, y))
    usual, _ = measured(raster, [square(raster)], plan_of(elevation={"vertical_error_m": 0.3}))
    book = renumbered("guide_line_limits", "bend_se", 1e6)
    monkeypatch.setattr("tests.conftest.handbook.packaged", lambda: book)
    asked, _ = measured(raster, [square(raster)], plan_of(elevation={"vertical_error_m": 0.3}))
    assert usual["row_arc_radius_m"].notna().all()
    assert asked["row_arc_radius_m"].isna().all()
