"""Upslope areas of whole rasters, by the stage and by a plain reference."""

from __future__ import annotations

import numpy as np

from districtplan import geodesy
from districtplan.grid import Window
from districtplan.water.blocks import Region, read_block, trees
from districtplan.water.network import join
from districtplan.water.shaped import Shaped
from districtplan.water.upslope import upslope
from tests.conftest import ArrayElevation

AROUND = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, -1), (-1, 1))
"""East, south, west, north, then the diagonals: of equal falls the first counts."""


def traced(
    raster: ArrayElevation,
    side: int = 64,
    window: Window | None = None,
    backwater_m: float = -np.inf,
    shaped: Shaped | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Upslope areas [m²], where they are lower limits, and the cell that each drains to."""
    whole = Window(0, 0, raster.grid.rows, raster.grid.columns)
    region = Region(raster, window or whole, side, shaped or Shaped.nothing(raster.grid))
    blocks = list(region.blocks())
    parts = [trees(region, read_block(region, one)) for one in blocks]
    network = join(parts, region.window.columns, backwater_m)
    shape = region.window.rows, region.window.columns
    area, at_least = np.zeros(shape), np.zeros(shape, dtype=bool)
    drains_to = np.full(shape, -1)
    for place, one in enumerate(blocks):
        if parts[place] is not None:
            found = upslope(read_block(region, one), place, network, region.window.columns)
            inside = (
                slice(one.row, one.row + one.rows),
                slice(one.column, one.column + one.columns),
            )
            area[inside] = found.area * region.unit_m2()
            at_least[inside], drains_to[inside] = found.at_least, found.drains_to
    return area, at_least, drains_to


def edge_cells(heights: np.ndarray) -> np.ndarray:
    """Cells with a height and beside none."""
    known = ~np.isnan(heights)
    around = np.pad(known, 1)
    rows, columns = heights.shape
    whole = np.ones_like(known)
    for down in (0, 1, 2):
        for right in (0, 1, 2):
            whole &= around[down : down + rows, right : right + columns]
    return known & ~whole


def reference(raster: ArrayElevation) -> np.ndarray:
    """Upslope areas [m²] of a surface without hollows and flats: sort by height, push down."""
    return reference_ways(raster)[0]


def reference_ways(raster: ArrayElevation) -> tuple[np.ndarray, np.ndarray]:
    """The same, and the cell that each drains to."""
    z = raster.heights.astype(np.float32).astype(np.float64)
    columns = z.shape[1]
    width, height = geodesy.cell_size_m(raster.grid)
    area = np.repeat((width * height)[:, None], columns, axis=1)
    area[np.isnan(z)] = 0
    drains_to = np.full(z.shape, -1)
    edge = edge_cells(z)
    for cell in np.argsort(-z, axis=None, kind="stable"):
        row, column = divmod(int(cell), columns)
        if np.isnan(z[row, column]) or edge[row, column]:
            continue
        steepest, target = 0.0, None
        for down, right in AROUND:
            run = np.hypot(down * height[row], right * width[row])
            fall = (z[row, column] - z[row + down, column + right]) / run
            if fall > steepest:
                steepest, target = fall, (row + down, column + right)
        assert target is not None, "a hollow"
        area[target] += area[row, column]
        drains_to[row, column] = target[0] * columns + target[1]
    return area, drains_to


def without_hollows(rng: np.random.Generator, cells: int = 200) -> np.ndarray:
    """A rough surface on which every inner cell has a way down: a fall outweighs the roughness."""
    row, column = np.mgrid[0:cells, 0:cells]
    turn = rng.uniform(0, 2 * np.pi)
    fall = 3.0 * (row * np.cos(turn) + column * np.sin(turn))
    bend = 25 * np.sin(row / rng.uniform(15, 60) + rng.uniform(0, 6)) * np.sin(column / 23)
    return 1500 + fall + bend + rng.uniform(-0.9, 0.9, (cells, cells))


def with_hollows(rng: np.random.Generator, cells: int = 120) -> np.ndarray:
    """Rolling land with many hollows, small and large."""
    from scipy.ndimage import gaussian_filter

    smooth = gaussian_filter(rng.normal(size=(cells, cells)), rng.uniform(2, 10))
    rough = gaussian_filter(rng.normal(size=(cells, cells)), 1)
    tilt = rng.uniform(-1, 1) * np.arange(cells)[:, None]
    return 1000 + rng.uniform(20, 400) * smooth + rng.uniform(0, 3) * rough + tilt
