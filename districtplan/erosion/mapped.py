"""R and K of each plot from rasters of them, and what looks wrong with the rasters."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
import shapely

from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.erosion.unit_systems import SYSTEMS, to_si
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


MOST = 0.5
"""Share of cells from which a raster as a whole is doubted."""


class Mapped(NamedTuple):
    """What a raster says of plots; cells are counted for each plot that they touch.

    Attributes
    ----------
    mean : numpy.ndarray
        Mean of each plot in SI units, of the cells that have a value above 0 that can be believed;
        NaN where none has, shape (plots,).
    cells : int
        Cells that have a value.
    unbelieved : int
        Those of them that can't be believed, and are left out.
    usual : dict[str, int]
        By unit system: cells that would lie in the usual range if it were the raster's.
    """

    mean: Floats
    cells: int
    unbelieved: int
    usual: dict[str, int]


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
) -> Mapped:
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
    Mapped
        Means, and counts of the cells that they are of.
    """
    grid, factor = values.grid, to_si(quantity, system, handbook)
    west, _, _, north = shapely.bounds(outlines).reshape(-1, 4).T
    down = (grid.north - north) / grid.cell_y // SQUARE_CELLS
    order = np.lexsort(((west - grid.west) / grid.cell_x // SQUARE_CELLS, down))
    found = np.full(len(outlines), np.nan)
    cells_there, unbelieved = 0, 0
    usual = dict.fromkeys(SYSTEMS, 0)
    if not len(outlines):
        return Mapped(found, cells_there, unbelieved, usual)
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
        read = values.read(window)[row - top, column - left]
        own = read * factor
        there = np.isfinite(read)
        known = (own > 0) & (own <= BELIEVED_MAX[quantity])
        weight = np.where(known, cells.weight[on], 0.0)
        count = len(order[batch])
        total = np.bincount(plot, weight, count)
        summed = np.bincount(plot, weight * np.where(known, own, 0.0), count)
        with np.errstate(invalid="ignore"):
            found[order[batch]] = summed / total
        cells_there += int(there.sum())
        unbelieved += int((there & ~known).sum())
        low, high = _usual(quantity, handbook)
        for name in SYSTEMS:
            inside = read * to_si(quantity, name, handbook)
            usual[name] += int(((inside >= low) & (inside <= high)).sum())
    return Mapped(found, cells_there, unbelieved, usual)


def raster_doubts(
    found: Mapped, name: str, quantity: Quantity, system: str, handbook: Handbook
) -> list[str]:
    """Say what looks wrong with a raster of R or K as a whole.

    Parameters
    ----------
    found : Mapped
        What it says of plots.
    name : str
        Name of its file.
    quantity : Quantity
        What it holds.
    system : str
        The unit system that the plan gives it.
    handbook : Handbook
        The published tables: what is usual.

    Returns
    -------
    list[str]
        A sentence a doubt; empty where there is none.
    """
    if not found.cells:
        return [
            f"{name} has no value on any plot: {quantity} isn't known from it. Check where it "
            "lies and which value stands for no data."
        ]
    said = []
    if found.unbelieved:
        said.append(
            f"{found.unbelieved:,} of {found.cells:,} cells of {name} on plots are 0, less, or "
            f"more than anybody believes as {quantity}_unit = {system}: they are left out. Check "
            "the unit and which value stands for no data."
        )
    if found.usual[system] < MOST * found.cells:
        low, high = _usual(quantity, handbook)
        others = [
            other
            for other in SYSTEMS
            if other != system and found.usual[other] > max(MOST * found.cells, found.usual[system])
        ]
        ask = f"Are they {' or '.join(others)}?" if others else "Check the file."
        said.append(
            f"Only {found.usual[system]:,} of {found.cells:,} cells of {name} on plots are usual "
            f"({low:g} to {high:g} in SI) as {quantity}_unit = {system}. {ask}"
        )
    return said


def _usual(quantity: Quantity, handbook: Handbook) -> tuple[float, float]:
    """Give the ends of the range that a quantity usually lies in, in SI units."""
    low, high = (handbook.number("soil_ranges", f"{quantity}_{end}") for end in ("low", "high"))
    return low, high
