"""The hillshade and heights lie where the ground does."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from districtplan import geodesy
from districtplan.files import relief
from districtplan.grid import Grid
from districtplan.terrain import hillshade
from tests.conftest import ArrayElevation

# A hill and a valley, told in metres of UTM 36S, in waves of 700 m and more.
MIDDLE = np.array([310_000.0, 9_790_000.0])
UTM = CRS.from_epsg(32736)
GRIDS = {
    "metres": Grid(307_000, 9_793_000, 30, 30, 200, 200, UTM),
    "degrees": Grid(31.26, -1.87, 1 / 3600, 1 / 3600, 200, 200, CRS.from_epsg(4326)),
    "averaged": Grid(307_000, 9_793_000, 3, 3, 2_000, 2_000, UTM),
}


def height(x, y):
    east, north = (x - MIDDLE[0]) / 700, (y - MIDDLE[1]) / 900
    return 1500 + 60 * np.sin(east) * np.cos(north) + 20 * east


def places(grid):
    x = grid.west + grid.cell_x * (np.arange(grid.columns) + 0.5)
    y = grid.north - grid.cell_y * (np.arange(grid.rows) + 0.5)
    return np.meshgrid(x, y)


def read(grid):
    to_metres = Transformer.from_crs(grid.crs, UTM, always_xy=True)
    values = height(*to_metres.transform(*places(grid)))
    x, y = places(grid)
    plots = np.array([shapely.box(x.min(), y.min(), x.max(), y.max())], dtype=object)
    return relief.read_relief(ArrayElevation(grid, values.astype(np.float32)), plots)


def on_the_ground(found):
    """Metres of UTM of the middles of cells, by what the relief says of its edges."""
    to_plane = Transformer.from_crs(4326, 3857, always_xy=True)
    west, south = to_plane.transform(found.west, found.south)
    east, north = to_plane.transform(found.east, found.north)
    rows, columns = found.shade.shape
    x = west + (east - west) * (np.arange(columns) + 0.5) / columns
    y = north - (north - south) * (np.arange(rows) + 0.5) / rows
    x, y = Transformer.from_crs(3857, UTM, always_xy=True).transform(*np.meshgrid(x, y))
    return x, y, float(np.hypot(x[0, 1] - x[0, 0], y[0, 1] - y[0, 0]))


def shift_of(found, true, known):
    """How far a picture of some ground is shifted, in cells, to the right and down."""
    down, right = np.gradient(true)
    steps = np.column_stack([right[known], down[known]])
    shift, *_ = np.linalg.lstsq(steps, (found - true)[known], rcond=None)
    return np.abs(shift)


@pytest.mark.parametrize("kind", GRIDS)
def test_heights_and_shade_lie_within_a_part_of_a_cell(kind, monkeypatch):
    monkeypatch.setattr(relief, "SIDE_MAX", 500)
    found = read(GRIDS[kind])
    x, y, cell = on_the_ground(found)
    assert max(found.shade.shape) <= 510
    known = ~np.isnan(found.heights_m)
    known[:3] = known[-3:] = known[:, :3] = known[:, -3:] = False
    assert known.mean() > 0.9
    true = height(x, y)
    assert shift_of(found.heights_m, true, known).max() < 0.1
    down, right = np.gradient(true)
    # Between cells heights are off by what the bend of the ground is over a cell, and no more.
    off = np.abs(found.heights_m - true)[known] / np.hypot(down, right)[known]
    assert np.quantile(off, 0.99) < 0.25
    wide = np.full(len(true), cell)
    bright = 1 + 254 * hillshade(true, wide, wide)
    assert shift_of(found.shade.astype(float), bright, known).max() < 0.25


def test_a_shifted_raster_is_noticed():
    grid = GRIDS["metres"]
    found = read(grid)
    x, y, cell = on_the_ground(found)
    known = ~np.isnan(found.heights_m)
    assert shift_of(found.heights_m, height(x + cell, y), known).max() > 0.5
    assert geodesy.cell_size_m(grid)[0][0] == pytest.approx(cell, rel=0.01)
