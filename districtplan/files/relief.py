"""The district's hillshade and heights, small enough for a page, on a web map's plane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.warp import Resampling, reproject

from districtplan.geodesy import cell_size_m
from districtplan.grid import Window
from districtplan.results import Relief
from districtplan.terrain import hillshade

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.grid import Elevation, Grid

    Floats = NDArray[np.float64]

PLANE = CRS.from_epsg(3857)
SIDE_MAX = 1_400
"""Most cells along a side of the picture."""
MARGIN = 0.04
"""Ground shown around the plots, as a share of their extent."""
STRIP_CELLS = 4_000_000


def read_relief(elevation: Elevation, polygons: NDArray[np.object_]) -> Relief:
    """Shade the ground around the plots.

    Parameters
    ----------
    elevation : Elevation
        The raster.
    polygons : numpy.ndarray
        Outlines of the plots in the CRS of the raster, shape (plots,).

    Returns
    -------
    Relief
        Brightness and heights on an EPSG:3857 grid, at most about 1,400 cells a side.
    """
    window = _window(elevation.grid, shapely.total_bounds(polygons))
    step = max(1, -(-max(window.rows, window.columns) // SIDE_MAX))
    coarse, transform = _averaged(elevation, window, step)
    width, height = cell_size_m(elevation.grid)
    rows = np.arange(window.row, window.row + coarse.shape[0] * step, step)
    rows = np.minimum(rows, elevation.grid.rows - 1)
    shade = hillshade(coarse, width[rows] * step, height[rows] * step)
    return _on_plane({"shade": shade, "heights": coarse}, transform, elevation.grid.crs)


def _window(grid: Grid, bounds: Floats) -> Window:
    west, south, east, north = bounds
    margin = MARGIN * max(east - west, north - south) + 2 * max(grid.cell_x, grid.cell_y)
    left = int(np.floor((west - margin - grid.west) / grid.cell_x))
    right = int(np.ceil((east + margin - grid.west) / grid.cell_x))
    top = int(np.floor((grid.north - north - margin) / grid.cell_y))
    bottom = int(np.ceil((grid.north - south + margin) / grid.cell_y))
    # Never fewer than two cells a side, within the grid where it has them.
    top = min(max(top, 0), max(grid.rows - 2, 0))
    left = min(max(left, 0), max(grid.columns - 2, 0))
    return Window(
        top,
        left,
        max(min(bottom, grid.rows) - top, min(2, grid.rows)),
        max(min(right, grid.columns) - left, min(2, grid.columns)),
    )


def _averaged(elevation: Elevation, window: Window, step: int) -> tuple[Floats, Affine]:
    """Average blocks of step × step cells, strip by strip: the raster may exceed memory."""
    grid = elevation.grid
    out_rows, out_columns = -(-window.rows // step), -(-window.columns // step)
    coarse = np.full((max(out_rows, 2), max(out_columns, 2)), np.nan)
    high = max(STRIP_CELLS // (step * window.columns), 1)
    for start in range(0, out_rows, high):
        stop = min(start + high, out_rows)
        rows = min(stop * step, window.rows) - start * step
        values = elevation.read(
            Window(window.row + start * step, window.column, rows, window.columns)
        )
        padded = np.full(((stop - start) * step, out_columns * step), np.nan)
        padded[:rows, : window.columns] = values
        blocks = padded.reshape(stop - start, step, out_columns, step)
        known = ~np.isnan(blocks)
        count = known.sum(axis=(1, 3))
        total = np.where(known, blocks, 0.0).sum(axis=(1, 3))
        coarse[start:stop, :out_columns] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    transform = Affine(
        grid.cell_x * step,
        0,
        grid.west + window.column * grid.cell_x,
        0,
        -grid.cell_y * step,
        grid.north - window.row * grid.cell_y,
    )
    return coarse, transform


def _on_plane(drawn: dict[str, Floats], transform: Affine, crs: CRS) -> Relief:
    """Bring what was drawn of the raster's cells to square cells of the plane."""
    rows, columns = drawn["shade"].shape
    west, south = transform @ (0, rows)
    east, north = transform @ (columns, 0)
    to_plane = Transformer.from_crs(crs, PLANE, always_xy=True)
    left, bottom, right, top = to_plane.transform_bounds(west, south, east, north)
    # As many along the longer side as the shaded grid has.
    cell = max(right - left, top - bottom) / max(rows, columns)
    wide, high = (int(np.ceil(span / cell)) for span in (right - left, top - bottom))
    target = Affine(cell, 0, left, 0, -cell, top)

    def warped(values: Floats) -> Floats:
        found = np.full((high, wide), np.nan)
        reproject(
            values,
            found,
            src_transform=transform,
            src_crs=crs.to_wkt(),
            src_nodata=np.nan,
            dst_transform=target,
            dst_crs=PLANE.to_wkt(),
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
        )
        return found

    to_lonlat = Transformer.from_crs(PLANE, 4326, always_xy=True)
    west_deg, south_deg = to_lonlat.transform(*(target @ (0, high)))
    east_deg, north_deg = to_lonlat.transform(*(target @ (wide, 0)))
    shade, heights = warped(drawn["shade"]), warped(drawn["heights"])
    # 0 is kept for where there is no elevation.
    known = ~np.isnan(shade)
    levels = np.where(known, 1 + np.rint(254 * np.where(known, shade, 0)), 0)
    return Relief(
        levels.astype(np.uint8),
        heights.astype(np.float32),
        west_deg,
        south_deg,
        east_deg,
        north_deg,
    )
