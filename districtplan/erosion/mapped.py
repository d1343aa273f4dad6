"""R and K of each plot from rasters of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np
import shapely

from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.erosion.unit_systems import to_si
from districtplan.grid import Window
from districtplan.plan import ERODIBILITY_MAX, RAIN_EROSIVITY_MAX

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.erosion.unit_systems import Quantity
    from districtplan.grid import Grid
    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]

BELIEVED_MAX: dict[Quantity, float] = {
    "rain_erosivity": RAIN_EROSIVITY_MAX,
    "erodibility": ERODIBILITY_MAX,
}
"""What a cell may hold, as of a number in the plan; more is no data."""
SQUARE_CELLS = 512
"""Plots whose corners lie in one square of this side are worked together."""


class Values(Protocol):
    """What is needed of a raster: its grid, and values by window."""

    @property
    def grid(self) -> Grid:
        """Where the cells lie."""

    def read(self, window: Window) -> Floats:
        """Give values of a window inside the grid, NaN where there is none.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray
            Values, shape ``(window.rows, window.columns)``.
        """


def plot_means(
    outlines: Objects, values: Values, quantity: Quantity, system: str, handbook: Handbook
) -> Floats:
    """Give the mean of R or K over each plot, each cell by the share covered.

    Parameters
    ----------
    outlines : numpy.ndarray
        Plots in the CRS of the raster, shape (plots,).
    values : Values
        The raster.
    quantity : Quantity
        What it holds.
    system : str
        Its unit system, one of ``SYSTEMS``.
    handbook : Handbook
        The published tables: what converts it.

    Returns
    -------
    numpy.ndarray
        Means in SI units, of the cells that have a value above 0 that can be believed; NaN where
        none has, shape (plots,).
    """
    grid, factor = values.grid, to_si(quantity, system, handbook)
    west, _, _, north = shapely.bounds(outlines).reshape(-1, 4).T
    down = (grid.north - north) / grid.cell_y // SQUARE_CELLS
    order = np.lexsort(((west - grid.west) / grid.cell_x // SQUARE_CELLS, down))
    found = np.full(len(outlines), np.nan)
    if not len(outlines):
        return found
    drawn = outlines_on_grid(outlines[order], grid)
    for batch in batches(drawn):
        cells = coverage(drawn.take(batch))
        on = (cells.row >= 0) & (cells.row < grid.rows)
        on &= (cells.column >= 0) & (cells.column < grid.columns)
        if not on.any():
            continue
        plot, row, column = cells.plot[on], cells.row[on], cells.column[on]
        top, left = int(row.min()), int(column.min())
        window = Window(top, left, int(row.max()) - top + 1, int(column.max()) - left + 1)
        own = values.read(window)[row - top, column - left] * factor
        known = (own > 0) & (own <= BELIEVED_MAX[quantity])
        weight = np.where(known, cells.weight[on], 0.0)
        count = len(order[batch])
        total = np.bincount(plot, weight, count)
        summed = np.bincount(plot, weight * np.where(known, own, 0.0), count)
        with np.errstate(invalid="ignore"):
            found[order[batch]] = summed / total
    return found
