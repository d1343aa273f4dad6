"""Gradients on rasters in metres and in degrees."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod, Transformer

from districtplan.geodesy import cell_size_m
from districtplan.grid import Grid
from tests.conftest import ArrayElevation, measured, plan_of


@pytest.mark.parametrize("latitude", [0.5, -10.0, 45.0, -60.0])
def test_cells_of_a_degree_raster_match_geodesics(latitude):
    """Oracle: PROJ's geodesic distances on WGS 84."""
    step = 1 / 3600
    grid = Grid(30.0, latitude, step, step, 10, 10, CRS.from_epsg(4326))
    width, height = cell_size_m(grid)
    middle = latitude - 4.5 * step
    geod = Geod(ellps="WGS84")
    assert width[4] == pytest.approx(geod.inv(30, middle, 30 + step, middle)[2], rel=1e-6)
    south, north = middle - step / 2, middle + step / 2
    assert height[4] == pytest.approx(geod.inv(30, south, 30, north)[2], rel=1e-6)


def tilted(crs: CRS, grid: Grid, slope: float, aspect_deg: float) -> ArrayElevation:
    """A plane of true slope in a local metric projection, sampled on a grid of any CRS."""
    column = grid.west + (np.arange(grid.columns) + 0.5) * grid.cell_x
    row = grid.north - (np.arange(grid.rows) + 0.5) * grid.cell_y
    x, y = np.meshgrid(column, row)
    to_local = Transformer.from_crs(grid.crs, crs, always_xy=True)
    east, north = to_local.transform(x, y)
    fall = np.radians(aspect_deg)
    return ArrayElevation(grid, 1800 - slope * (east * np.sin(fall) + north * np.cos(fall)))


@pytest.mark.parametrize(("epsg", "cell"), [(4326, 1 / 3600), (3857, 30.0), (32632, 30.0)], ids=str)
@pytest.mark.parametrize("latitude", [-8.0, 44.0])
def test_true_slope_and_bearing_on_any_grid(epsg, cell, latitude):
    """On degrees, on Web Mercator and on UTM a 20 % plane reads 20 % and its true bearing."""
    local = CRS.from_proj4(f"+proj=aeqd +lat_0={latitude} +lon_0=11 +datum=WGS84 +units=m")
    grid_crs = CRS.from_epsg(epsg)
    to_grid = Transformer.from_crs(local, grid_crs, always_xy=True)
    x, y = to_grid.transform(0, 0)
    grid = Grid(x - 40 * cell, y + 40 * cell, cell, cell, 80, 80, grid_crs)
    raster = tilted(local, grid, 0.20, 130)
    ring = shapely.transform(
        shapely.box(-150, -150, 150, 150),
        lambda xy: np.column_stack(to_grid.transform(xy[:, 0], xy[:, 1])),
    )
    # The stage takes an ellipsoidal area; here the local one is the same to 1e-9.
    row = measured(raster, [ring], plan_of())[0].iloc[0]
    assert row.slope_mean_pct == pytest.approx(20, abs=0.03)
    apart = abs(row.row_bearing_true_deg - 40)
    assert min(apart, 180 - apart) < 0.1
