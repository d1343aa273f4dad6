"""Upslope area of each plot on real hills, beside a plain reference that sorts cells by height."""

from __future__ import annotations

import heapq

import numpy as np
import pytest
import shapely
from pyproj import CRS

from districtplan import water
from districtplan.grid import Grid
from districtplan.handbook import packaged
from tests import real_elevation
from tests.conftest import ArrayElevation, plan_of
from tests.water.flow import AROUND, reference
from tests.water.test_water_plots import plots_of

CELL_M, SIDE, RISE_M = 90.0, 140, 0.01


def filled(heights):
    """Raise hollows and flats from the edge inwards, each cell a little above its way out."""
    z = np.full(heights.shape, np.inf)
    waiting = []
    rows, columns = heights.shape
    for row, column in np.ndindex(rows, columns):
        if row in (0, rows - 1) or column in (0, columns - 1):
            z[row, column] = heights[row, column]
            heapq.heappush(waiting, (z[row, column], row, column))
    while waiting:
        level, row, column = heapq.heappop(waiting)
        for down, right in AROUND:
            place = row + down, column + right
            if 0 <= place[0] < rows and 0 <= place[1] < columns and np.isinf(z[place]):
                z[place] = max(heights[place], level + RISE_M)
                heapq.heappush(waiting, (z[place], *place))
    return z


@pytest.fixture(scope="module")
def raster():
    heights = real_elevation.elevations()[0][100 : 100 + SIDE, 100 : 100 + SIDE]
    grid = Grid(300_000.0, 4_000_000.0, CELL_M, CELL_M, SIDE, SIDE, CRS.from_epsg(32616))
    return ArrayElevation(grid, filled(heights.astype(np.float64)))


def test_each_plot_has_the_area_of_the_reference(raster):
    rng = np.random.default_rng(8)
    row, column = rng.integers(15, SIDE - 15, (2, 300))
    size = rng.integers(1, 4, 300)
    grid = raster.grid
    west, north = grid.west + column * CELL_M, grid.north - row * CELL_M
    plots = shapely.box(west, north - size * CELL_M, west + size * CELL_M, north)
    plan = plan_of(water={"border_m": 100_000.0})
    table, _, _ = water.trace(plots_of(list(plots)), raster, plan, packaged())
    area = reference(raster) / 10_000
    expected = [
        area[top : top + cells, left : left + cells].max()
        for top, left, cells in zip(row, column, size, strict=True)
    ]
    found = table["upslope_area_ha"].to_numpy()
    sure = table["upslope_area_at_least"].to_numpy() == 0
    assert sure.mean() > 0.8
    np.testing.assert_allclose(found[sure], np.array(expected)[sure], rtol=1e-9)
    assert (found[~sure] <= np.array(expected)[~sure] * (1 + 1e-9)).all()
    # Not only hilltops: some plots have a valley above them.
    assert (found[sure] > 100).sum() > 20
