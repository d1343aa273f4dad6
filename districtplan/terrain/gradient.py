"""Ground gradients on the raster's own grid, only where plots are (Horn 1981).

References
----------
.. [1] Horn, B.K.P. (1981). Hill shading and the reflectance map. Proceedings of the IEEE 69(1),
   14-47: a cell's gradient from its eight neighbours, the nearer ones counted twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.grid import Grid

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Block:
    """Elevations of a block of the grid, with a border of one cell around it.

    Attributes
    ----------
    elevation : numpy.ndarray
        Elevations, NaN where there is none, shape (rows + 2, columns + 2) [m].
    row : int
        Grid row of the first row inside the border.
    column : int
        Grid column of the first column inside the border.
    tile : numpy.ndarray | None
        Number of the tile that each elevation is from, alike in shape, -1 where there is none;
        None where all are from one.
    level : numpy.ndarray | None
        Which cells are of a plateau of one height, alike in shape; None where there is none.
    filled : numpy.ndarray | None
        Which cells' gradients rest on heights that were filled in, alike; None where none does.
    """

    elevation: NDArray[np.float32]
    row: int
    column: int
    tile: NDArray[np.int16] | None = None
    level: NDArray[np.bool_] | None = None
    filled: NDArray[np.bool_] | None = None

    def places(self, cells: Cells) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Find cells in the flattened block.

        Parameters
        ----------
        cells : Cells
            The cells.

        Returns
        -------
        place : numpy.ndarray
            Where each cell lies; for one outside, a place with neighbours all the same.
        inside : numpy.ndarray
            Whether it lies inside the border.
        """
        rows, columns = self.elevation.shape
        row, column = cells.row - self.row + 1, cells.column - self.column + 1
        inside = (row >= 1) & (row < rows - 1) & (column >= 1) & (column < columns - 1)
        return np.where(inside, row * columns + column, columns + 1), inside


@dataclass(frozen=True)
class Ground:
    """Elevation and gradient at cells.

    Attributes
    ----------
    elevation : numpy.ndarray
        Elevation of the cell, NaN where there is none, shape (cells,) [m].
    east : numpy.ndarray
        Rise towards the grid's east, NaN where a neighbour has no elevation, shape (cells,) [1].
    north : numpy.ndarray
        Rise towards the grid's north, alike [1].
    """

    elevation: Floats
    east: Floats
    north: Floats


def gradients(block: Block, cells: Cells, grid: Grid) -> Ground:
    """Take elevations and Horn gradients at cells.

    Parameters
    ----------
    block : Block
        Elevations around the cells.
    cells : Cells
        Where; cells outside the block have no elevation.
    grid : Grid
        The raster's grid; a cell's size on the ground is taken row by row.

    Returns
    -------
    Ground
        One value a cell.
    """
    columns = block.elevation.shape[1]
    here, inside = block.places(cells)
    flat = block.elevation.ravel()

    def at(down: int, right: int) -> Floats:
        values: Floats = flat.take(here + (down * columns + right)).astype(np.float64)
        return values

    north_west, north, north_east = at(-1, -1), at(-1, 0), at(-1, 1)
    south_west, south, south_east = at(1, -1), at(1, 0), at(1, 1)
    width, height = geodesy.cell_size_m(grid)
    at_row = np.clip(cells.row, 0, grid.rows - 1)
    east = ((north_east - north_west) + 2 * (at(0, 1) - at(0, -1)) + (south_east - south_west)) / (
        8 * width[at_row]
    )
    rise = ((north_west - south_west) + 2 * (north - south) + (north_east - south_east)) / (
        8 * height[at_row]
    )
    elevation = at(0, 0)
    missing = ~inside | np.isnan(elevation) | np.isnan(east) | np.isnan(rise)
    for values in (elevation, east, rise):
        values[missing] = np.nan
    return Ground(elevation, east, rise)
