"""Means, percentiles and maxima against a plain loop over cells."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan.coverage import coverage, outlines_on_grid
from districtplan.terrain.gradient import Block, gradients
from districtplan.terrain.statistics import summarise
from tests.conftest import random_outlines, square, surface_raster


@pytest.fixture(scope="module")
def rough():
    rng = np.random.default_rng(7)
    return surface_raster(lambda x, y: 1500 + 0.1 * x + rng.normal(0, 2, x.shape))


def cells_of(raster, polygons):
    cells = coverage(outlines_on_grid(polygons, raster.grid))
    padded = np.pad(raster.heights.astype(np.float32), 1, constant_values=np.nan)
    return cells, gradients(Block(padded, 0, 0), cells, raster.grid)


def test_against_a_plain_loop(rough, rng):
    grid = rough.grid
    extent = (grid.west, grid.north - 2000, grid.west + 2000, grid.north)
    cells, ground = cells_of(rough, random_outlines(rng, 80, extent))
    found = summarise(cells, ground)
    for plot in range(80):
        mine = np.flatnonzero((cells.plot == plot) & ~np.isnan(ground.east))
        weight = cells.weight[mine]
        slope = np.hypot(ground.east[mine], ground.north[mine])
        order = np.argsort(slope)
        reached = np.cumsum(weight[order]) >= 0.9 * weight.sum() * (1 - 1e-7)
        assert found.slope_mean[plot] == pytest.approx(np.average(slope, weights=weight))
        assert found.slope_p90[plot] == pytest.approx(slope[order][reached][0], rel=1e-6)
        half = weight >= 0.5
        assert found.slope_max[plot] == pytest.approx(
            slope[half].max() if half.any() else max(slope)
        )
        assert found.east_north[plot] == pytest.approx(
            np.average(ground.east[mine] * ground.north[mine], weights=weight)
        )


def test_nine_of_ten_equal_cells_is_the_ninth(rough):
    x, y, *_ = square(rough, 5, 5, 10).bounds
    cells, ground = cells_of(rough, np.array([shapely.box(x, y, x + 100, y + 10)], dtype=object))
    slopes = np.sort(np.hypot(ground.east, ground.north))
    assert len(slopes) == 10
    assert summarise(cells, ground).slope_p90[0] == pytest.approx(slopes[8], rel=1e-6)


def test_a_plot_off_the_raster_has_no_cells_with_a_gradient(rough):
    outside = np.array([square(rough, 5000, 0)], dtype=object)
    cells, ground = cells_of(rough, outside)
    found = summarise(cells, ground)
    assert found.cells[0] == 0
    assert np.isnan(found.slope_mean[0])
    assert np.isnan(found.slope_p90[0])
    assert np.isnan(found.slope_max[0])


def test_empty_plot_beside_a_full_one_does_not_shift_percentiles(rough):
    both = np.array([square(rough, 5000, 0), square(rough), square(rough, 5000, 0)], dtype=object)
    alone = np.array([square(rough)], dtype=object)
    together = summarise(*cells_of(rough, both))
    single = summarise(*cells_of(rough, alone))
    assert together.slope_p90[1] == single.slope_p90[0]
    assert np.isnan(together.slope_p90[[0, 2]]).all()


def test_voids_are_left_out(rough):
    holed = surface_raster(lambda x, y: np.where((x > 0) & (x < 20), np.nan, 1500 + 0.1 * x))
    found = summarise(*cells_of(holed, np.array([square(holed, 0, 0, 80)], dtype=object)))
    assert found.cells[0] < found.covered[0]
    assert found.slope_mean[0] == pytest.approx(0.1, abs=1e-4)


def test_a_cell_covered_by_exactly_half_counts_for_the_maximum(rough):
    x, y, *_ = square(rough, 5, 5, 10).bounds
    cells, ground = cells_of(rough, np.array([shapely.box(x, y, x + 15, y + 10)], dtype=object))
    assert sorted(cells.weight) == [0.5, 1.0]
    slopes = np.hypot(ground.east, ground.north)
    assert summarise(cells, ground).slope_max[0] == slopes.max()


def test_elevation_is_that_of_the_cells_themselves(rough):
    x, y, *_ = square(rough, 5, 5, 10).bounds
    cells, ground = cells_of(rough, np.array([shapely.box(x, y, x + 20, y + 10)], dtype=object))
    expected = rough.heights.astype(np.float32)[cells.row, cells.column].mean()
    assert summarise(cells, ground).elevation[0] == pytest.approx(expected)
