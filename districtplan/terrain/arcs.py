"""The one arc that rows of each plot would follow best, and whether its bend can be told.

The rows are those of least squared grade over the cells, weighted by coverage
(:mod:`districtplan.concentric`, whose direction t(x) and bend k are meant here).

An error ε of the gradients moves the grade g·t by ε·t, and with it the least-squares k by a fixed
sum of ε: with a = g·J e and h = g·J (x - m),

    δk = -Σ w (h - b a) ε·t / Σ w (h - b a)²,   b = Σ w a h / Σ w a²

whose variance under the raster's error is exact (:mod:`districtplan.terrain.noise`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import concentric, geodesy
from districtplan.terrain import noise

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.grid import Grid
    from districtplan.handbook import Handbook
    from districtplan.terrain.gradient import Block, Ground
    from districtplan.terrain.noise import ErrorModel

    Floats = NDArray[np.float64]
    Complexes = NDArray[np.complex128]

TABLE = "guide_line_limits"
HALF_TURN = 180.0


@dataclass(frozen=True)
class Arcs:
    """Arcs that rows would follow best, shape (plots,) each; NaN for plots without a gradient.

    Attributes
    ----------
    row : numpy.ndarray
        Row of the grid, with its fraction, in which the plot's middle lies.
    column : numpy.ndarray
        Column alike.
    east : numpy.ndarray
        Direction of the row through the middle, towards the grid's east [1].
    north : numpy.ndarray
        The same towards the grid's north; both make a unit vector [1].
    bend : numpy.ndarray
        Curvature there, positive where rows turn to the left along that direction [1/m].
    bend_se : numpy.ndarray
        Its standard error from the raster's vertical error [1/m].
    """

    row: Floats
    column: Floats
    east: Floats
    north: Floats
    bend: Floats
    bend_se: Floats


class Bends:
    """Fits arcs batch by batch, as the raster is read.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    error : ErrorModel
        Its vertical error.
    """

    margin = 1
    """Gradients need one cell beyond the plot."""

    def __init__(self, grid: Grid, error: ErrorModel) -> None:
        self._cell_m = geodesy.cell_size_m(grid)
        self._error = error

    def look(self, cells: Cells, ground: Ground, block: Block) -> Arcs:
        """Fit the arcs of one batch.

        Parameters
        ----------
        cells : Cells
            The cells of the batch.
        ground : Ground
            Elevation and gradient at each.
        block : Block
            Elevations around them, of which an arc has no need.

        Returns
        -------
        Arcs
            One value a plot.
        """
        del block
        return fit(cells, ground, self._cell_m, self._error)


def columns(found: Arcs, grid: Grid, handbook: Handbook) -> pd.DataFrame:
    """Make the columns of the arcs.

    Parameters
    ----------
    found : Arcs
        The arc of each plot.
    grid : Grid
        The raster's grid.
    handbook : Handbook
        Standard errors that a bend must exceed (table ``guide_line_limits``).

    Returns
    -------
    pandas.DataFrame
        How far rows turn over 100 m and how sure that is, then radius and centre of the arc where
        its bend stands out of the error and isn't nothing; one row a plot.
    """
    size = np.abs(found.bend)
    told = size > handbook.number(TABLE, "bend_se") * found.bend_se
    at_row = np.clip(np.nan_to_num(found.row), 0, grid.rows - 1).astype(np.int64)
    width, height = (side[at_row] for side in geodesy.cell_size_m(grid))
    radius = 1 / np.where(told, found.bend, np.nan)
    # The centre lies square to the row, to its left where the bend is positive.
    column = found.column + 0.5 - found.north * radius / width
    row = found.row + 0.5 - found.east * radius / height
    longitude, latitude = geodesy.lonlat(
        grid.crs, grid.west + column * grid.cell_x, grid.north - row * grid.cell_y
    )
    # Of rows all but straight the centre may lie off the Earth.
    on_earth = (np.abs(longitude) <= HALF_TURN) & (np.abs(latitude) <= HALF_TURN / 2)
    return pd.DataFrame(
        {
            "row_bend_deg_100m": np.degrees(100 * size),
            "row_bend_se_deg_100m": np.degrees(100 * found.bend_se),
            "row_arc_radius_m": np.where(on_earth, np.abs(radius), np.nan),
            "row_arc_centre_longitude_deg": np.where(on_earth, longitude, np.nan),
            "row_arc_centre_latitude_deg": np.where(on_earth, latitude, np.nan),
        }
    )


def fit(cells: Cells, ground: Ground, cell_m: tuple[Floats, Floats], error: ErrorModel) -> Arcs:
    """Fit an arc to each plot.

    Parameters
    ----------
    cells : Cells
        The cells of one batch of plots.
    ground : Ground
        Elevation and gradient at each.
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell of each row of the raster, shape (rows,) [m].
    error : ErrorModel
        The raster's vertical error.

    Returns
    -------
    Arcs
        One value a plot.
    """
    known = ~np.isnan(ground.east)
    weight: Floats = np.where(known, cells.weight, 0.0)
    p, q = (np.where(known, side, 0.0) for side in (ground.east, ground.north))
    first, plot = cells.first, cells.plot

    def total(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, first))

    whole = total(weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        row, column = (total(weight * at) / whole for at in (cells.row, cells.column))
    at_row = np.clip(np.nan_to_num(row), 0, len(cell_m[0]) - 1).astype(np.int64)
    x = (cells.column - column[plot]) * cell_m[0][at_row][plot]
    y = (row[plot] - cells.row) * cell_m[1][at_row][plot]
    h = q * x - p * y

    def solved(w: Floats) -> tuple[Floats, Floats, Floats, Complexes]:
        wp, wq, wh = w * p, w * q, w * h
        angle, bend, _ = concentric.solve(
            total(wp * p), total(wp * q), total(wq * q), total(wp * h), total(wq * h), total(wh * h)
        )
        east, north = np.cos(angle), np.sin(angle)
        rows = (east[plot] - bend[plot] * y) + 1j * (north[plot] + bend[plot] * x)
        return east, north, bend, rows

    rows = solved(weight)[3]
    w = weight / np.maximum(rows.real**2 + rows.imag**2, concentric.NEAREST)
    east, north, bend, rows = solved(w)
    spread = np.zeros(len(whole))
    if error.sigma_m > 0:
        rise = q * east[plot] - p * north[plot]
        wr = w * rise
        with np.errstate(invalid="ignore", divide="ignore"):
            b = total(wr * h) / total(wr * rise)
            free = np.nan_to_num(w * (h - b[plot] * rise))
            form = free / np.maximum(total(free * h), noise.TINY)[plot]
        spread = noise.linear_error(cells, known, form * rows, cell_m, error)
    nothing = whole == 0
    return Arcs(
        *(np.where(nothing, np.nan, one) for one in (row, column, east, north, bend, spread))
    )
