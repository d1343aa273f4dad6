"""One elevation file of a mosaic, whatever its format."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from districtplan.errors import Fault, InputError
from districtplan.geodesy import cell_size_m
from districtplan.grid import Grid

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from districtplan.grid import Window

SIDE_MAX = 1_000_000
# Finer than any survey, and too coarse for a district: most often degrees taken as metres.
CELL_M = (0.05, 10_000.0)


@dataclass(frozen=True)
class Tile:
    """One file and where it lies in the mosaic.

    Attributes
    ----------
    name : str
        Name of the file as in the plan.
    grid : Grid
        Where its cells lie.
    read : Callable[[Window], numpy.ndarray]
        Gives the heights of a window of its grid, from the north, as 32-bit or 64-bit floating
        point; NaN or infinite where there is none [the stated unit].
    row : int
        Its first row in the mosaic.
    column : int
        Its first column in the mosaic.
    stated_unit : str
        Unit of the heights as the file states it; empty where it states none.
    """

    name: str
    grid: Grid
    read: Callable[[Window], NDArray[np.floating[Any]]]
    row: int = 0
    column: int = 0
    stated_unit: str = ""


def check_sides(rows: int, columns: int, name: str) -> None:
    """Refuse a raster of more rows or columns than any district has.

    Parameters
    ----------
    rows : int
        Rows declared.
    columns : int
        Columns declared.
    name : str
        Name of the file as in the plan.

    Raises
    ------
    InputError
        If either is more than ``SIDE_MAX``.
    """
    faults = [
        Fault(name, f"declares {count:,} {what}, more than {SIDE_MAX:,}", "Cut it to the district")
        for count, what in ((rows, "rows"), (columns, "columns"))
        if count > SIDE_MAX
    ]
    if faults:
        raise InputError(*faults)


def check_cells(grid: Grid, name: str) -> None:
    """Refuse cells of a size on the ground that no elevation raster of a district has.

    Parameters
    ----------
    grid : Grid
        The raster's grid, whose middle is looked at.
    name : str
        Name of the file as in the plan.

    Raises
    ------
    InputError
        If a side lies outside ``CELL_M``, or the middle isn't on Earth.
    """
    middle = Grid(
        west=grid.west + grid.columns // 2 * grid.cell_x,
        north=grid.north - grid.rows // 2 * grid.cell_y,
        cell_x=grid.cell_x,
        cell_y=grid.cell_y,
        rows=1,
        columns=1,
        crs=grid.crs,
    )
    with np.errstate(invalid="ignore", over="ignore"):
        width, height = (float(size[0]) for size in cell_size_m(middle))
    low, high = CELL_M
    if low <= min(width, height) and max(width, height) <= high:
        return
    if np.isfinite(width + height):
        what = (
            f"has cells of {width:.3g} by {height:.3g} m on the ground, "
            f"outside {low:g} to {high:,.0f} m"
        )
    else:
        what = f"lies outside the area of its CRS, {grid.crs.name[:80]!r}"
    raise InputError(Fault(name, what, "Check its CRS, its position and the size of its cells"))
