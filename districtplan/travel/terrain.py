"""The land that is walked over, out of an elevation raster and what is drawn on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.errors import Fault, InputError
from districtplan.grid import Window
from districtplan.travel.foot import Ground

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.grid import Elevation, Grid

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Objects = NDArray[np.object_]

CELLS_MAX = 1 << 26
"""Most cells that are read at once: half a gigabyte of heights."""
NODES = 40_000
"""Blocks of cells that a walk over the whole land goes by, about."""


@dataclass(frozen=True)
class Land:
    """Land with places brought to its metres.

    Attributes
    ----------
    ground : Ground
        Heights, paths and what can't be crossed.
    starts_m, ends_m : numpy.ndarray
        Where people set out and arrive, in the metres of the ground, shape (points, 2).
    block : int
        Cells along the side of a block that is walked over at once.
    """

    ground: Ground
    starts_m: Floats
    ends_m: Floats
    block: int


def off(grid: Grid, places: Floats) -> Bools:
    """Say which places lie off a raster.

    Parameters
    ----------
    grid : Grid
        The raster.
    places : numpy.ndarray
        Places in its CRS, shape (points, 2).

    Returns
    -------
    numpy.ndarray
        Bool, shape (points,).
    """
    cells = (places - [grid.west, grid.north]) / [grid.cell_x, -grid.cell_y]
    return np.logical_not(((cells >= 0) & (cells <= [grid.columns, grid.rows])).all(axis=1))


def land(
    elevation: Elevation,
    starts: Floats,
    ends: Floats,
    drawn: tuple[Objects, Objects],
    margin_m: float,
    key: str = "[demos] reach_by",
) -> Land:
    """Read the land around places.

    Parameters
    ----------
    elevation : Elevation
        The raster.
    starts, ends : numpy.ndarray
        Places in the raster's CRS, shape (points, 2); who lies off it is told no way by
        :func:`~.foot.on_foot`.
    drawn : tuple[numpy.ndarray, numpy.ndarray]
        Paths, and what can't be crossed but on them, in the raster's CRS.
    margin_m : float
        How far around them people may go [m].
    key : str, default "[demos] reach_by"
        Key of the plan that asks for it, for the message.

    Returns
    -------
    Land
        The land; cells of a raster in degrees are as wide as those at its middle.

    Raises
    ------
    InputError
        If it is more land than can be read at once.
    """
    grid = elevation.grid
    size = np.array([float(np.median(part)) for part in geodesy.cell_size_m(grid)])
    cell = np.array([grid.cell_x, -grid.cell_y])
    corner = np.array([grid.west, grid.north])
    places = np.concatenate([starts, ends])
    # Places off the raster have no heights, and no way; without any other, a cell is read.
    on_it = places[~off(grid, places)]
    both = (on_it - corner) / cell if len(on_it) else np.zeros((1, 2))
    around = margin_m / size
    low = np.clip(np.floor(both.min(axis=0) - around), 0, [grid.columns - 1, grid.rows - 1])
    high = np.clip(np.ceil(both.max(axis=0) + around), 1, [grid.columns, grid.rows])
    columns, rows = (int(part) for part in np.maximum(high - low, 1))
    if rows * columns > CELLS_MAX:
        raise InputError(
            Fault(
                key,
                f"would walk over {rows * columns:,} cells of the raster",
                "Take paths or the straight line, or a coarser raster",
            )
        )
    window = Window(int(low[1]), int(low[0]), rows, columns)
    first = np.array([window.column, window.row])

    def local(places: Floats) -> Floats:
        # Metres east and north of the window's corner.
        found: Floats = ((places - corner) / cell - first) * size * [1, -1]
        return found

    def cells(shapes: Objects) -> Bools:
        marked = np.zeros((rows, columns), np.bool_)
        lines = shapes[~shapely.is_empty(shapes)]
        dense = shapely.segmentize(lines, min(grid.cell_x, grid.cell_y) / 2)
        column, row = np.floor((shapely.get_coordinates(dense) - corner) / cell - first).T
        inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        marked[row[inside].astype(np.int64), column[inside].astype(np.int64)] = True
        return marked

    paths, closed = drawn
    ground = Ground(
        elevation.read(window).astype(np.float64),
        (float(size[0]), float(size[1])),
        (0.0, 0.0),
        cells(closed),
        cells(paths),
    )
    block = max(1, math.ceil(math.sqrt(rows * columns / NODES)))
    return Land(ground, local(starts), local(ends), block)
