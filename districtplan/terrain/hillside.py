"""Slope and fall of the hillside around a plot, for plots that the raster can't serve.

A plane is fitted by least squares to heights on a square window around the middle of the plot. On a
whole window of n columns a distance dx apart, x their distance from the middle, the rise to the
east is p = Σ x z / (n Σ x²), q to the north alike. Each is a fixed sum of heights, so its variance
under errors of standard deviation σ and correlation exp(-d²/2ℓ²) is exact; the squared slope reads
too much by both variances.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.grid import Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.terrain.gradient import Block, Ground

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

TABLE = "hillside_limits"

FLAGS = ("hillside_falls", "hillside_has_no_fall")
"""What is told of the hillside of a plot whose bearing is to be measured on the ground."""

LEAST_SIDE = 3
"""Samples along a side from which a plane and its misfit can be told."""

CELLS_AT_ONCE = 1 << 20


@dataclass(frozen=True)
class Hillside:
    """The hillside around each plot, shape (plots,) each; NaN where it isn't known.

    Attributes
    ----------
    slope : numpy.ndarray
        Slope of the plane, less what noise adds [1].
    fall : numpy.ndarray
        Direction in which it falls, from the raster's north, clockwise; NaN where the hillside has
        no one fall or noise drowns it [degrees].
    """

    slope: Floats
    fall: Floats


class Windows:
    """Fits the hillsides of plots batch by batch, as the raster is read.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    row : float
        Row about which the plots lie, by which the window is counted in cells.
    plan : Plan
        Size of the window, and the vertical error.
    handbook : Handbook
        Limits (table ``hillside_limits``).
    """

    def __init__(self, grid: Grid, row: float, plan: Plan, handbook: Handbook) -> None:
        self._cell_m = geodesy.cell_size_m(grid)
        self._error = plan.elevation.vertical_error_m, plan.elevation.error_correlation_m
        self._limits = handbook.numbers(TABLE)
        at = int(np.clip(row, 0, grid.rows - 1))
        sides = [
            _side(plan.terrain.hillside_window_m, float(size[at]), self._limits)
            for size in (self._cell_m[1], self._cell_m[0])
        ]
        self._rows, self._columns = sides

    @property
    def margin(self) -> int:
        """Say how far windows reach beyond the middle of a plot.

        Returns
        -------
        int
            Number of cells.
        """
        return max(int(np.abs(side).max()) for side in (self._rows, self._columns))

    def look(self, cells: Cells, ground: Ground, block: Block) -> Hillside:
        """Fit the hillsides of one batch.

        Parameters
        ----------
        cells : Cells
            The cells of the batch, by which the middles of plots are known.
        ground : Ground
            Elevation and gradient at each, of which a window has no need.
        block : Block
            Elevations around them.

        Returns
        -------
        Hillside
            One value a plot.
        """
        del ground
        first = cells.first
        middle = [
            (np.minimum.reduceat(line, first) + np.maximum.reduceat(line, first)) // 2
            for line in (cells.row, cells.column)
        ]
        size = max(1, CELLS_AT_ONCE // (len(self._rows) * len(self._columns)))
        parts = [
            self._fit(middle[0][start : start + size], middle[1][start : start + size], block)
            for start in range(0, len(first), size)
        ]
        slope, fall = (np.concatenate(values) for values in zip(*parts, strict=True))
        return Hillside(slope, fall)

    def _fit(self, row: Integers, column: Integers, block: Block) -> tuple[Floats, Floats]:
        """Give slope and fall of the hillsides around some middles."""
        if min(len(self._rows), len(self._columns)) < LEAST_SIDE:
            return np.full(len(row), np.nan), np.full(len(row), np.nan)
        tall, wide = block.elevation.shape
        # The border of the block holds no elevations: what lies beyond it is taken there.
        down = np.clip(row[:, None] + self._rows - block.row + 1, 0, tall - 1)
        right = np.clip(column[:, None] + self._columns - block.column + 1, 0, wide - 1)
        heights = block.elevation[down[:, :, None], right[:, None, :]].astype(np.float64)
        at = np.clip(row, 0, len(self._cell_m[0]) - 1)
        width, height = (size[at] for size in self._cell_m)
        gradient, tilted, other = _plane(
            heights, self._rows, self._columns, self._limits["known_share_min"]
        )
        east, north = gradient[:, 0] / width, -gradient[:, 1] / height
        variance_east = self._variance(self._columns, width, self._rows, height)
        variance_north = self._variance(self._rows, height, self._columns, width)
        noise = self._error[0] ** 2 * (len(self._rows) * len(self._columns))
        squared = east**2 + north**2
        slope = np.sqrt(np.maximum(squared - variance_east - variance_north, 0.0))
        # Noise is no sign of bent ground.
        bent = np.maximum(other - noise, 0.0)
        least = self._limits["fall_times"] ** 2 * np.maximum(variance_east, variance_north)
        clear = (squared > least) & (tilted >= self._limits["plane_share_min"] * (tilted + bent))
        fall = np.mod(np.degrees(np.arctan2(-east, -north)), 360)
        return slope, np.where(clear, fall, np.nan)

    def _variance(
        self, along: Integers, along_m: Floats, across: Integers, across_m: Floats
    ) -> Floats:
        """Give the variance of the rise along one side; the correlation splits into factors."""
        sigma, length = self._error
        x = along - along.mean()
        mean = np.full(len(across), 1 / len(across))
        one = _form(x / (x @ x), along, along_m, length)
        other = _form(mean, across, across_m, length)
        return np.asarray(sigma**2 * one * other / along_m**2)


def columns(found: Hillside, north_deg: Floats, measured: NDArray[np.bool_]) -> pd.DataFrame:
    """Make the columns of the hillside.

    Parameters
    ----------
    found : Hillside
        The hillside around each plot.
    north_deg : numpy.ndarray
        The raster's north at each plot, from true north, shape (plots,) [degrees].
    measured : numpy.ndarray
        Whether the plot's bearing is to be measured on the ground; the others get nothing.

    Returns
    -------
    pandas.DataFrame
        ``hillside_slope_pct`` and ``hillside_downslope_true_deg``, one row a plot.
    """
    return pd.DataFrame(
        {
            "hillside_slope_pct": np.where(measured, 100 * found.slope, np.nan),
            "hillside_downslope_true_deg": np.where(
                measured, np.mod(found.fall + north_deg, 360), np.nan
            ),
        }
    )


def flags(table: pd.DataFrame) -> list[NDArray[np.bool_]]:
    """Say which plots get which flag.

    Parameters
    ----------
    table : pandas.DataFrame
        The columns of the hillside.

    Returns
    -------
    list[numpy.ndarray]
        For each of ``FLAGS``, whether it is raised, shape (plots,).
    """
    known = table["hillside_slope_pct"].notna().to_numpy()
    falls = table["hillside_downslope_true_deg"].notna().to_numpy()
    return [known & falls, known & ~falls]


def _side(window_m: float, cell_m: float, limits: dict[str, float]) -> Integers:
    """Place samples along a side of the window, in cells from the plot's middle.

    Cells too wide for a hillside give one sample, which makes no plane.
    """
    count = max(round(window_m / cell_m), LEAST_SIDE)
    if (count - 1) * cell_m > limits["window_max_m"]:
        return np.zeros(1, dtype=np.int64)
    step = -(-count // int(limits["samples_max"]))
    samples: Integers = np.arange(0, count, step, dtype=np.int64)
    samples -= samples[-1] // 2
    return samples


def _form(weights: Floats, place: Integers, cell_m: Floats, length: float) -> Floats:
    apart = np.subtract.outer(place, place)
    if length == 0:
        return np.full(len(cell_m), weights @ weights)
    sizes, which = np.unique(cell_m, return_inverse=True)
    alike = np.exp(-((apart[None] * sizes[:, None, None]) ** 2) / (2 * length**2))
    result: Floats = np.einsum("i,pij,j->p", weights, alike, weights)[which]
    return result


def _plane(
    heights: Floats, rows: Integers, columns: Integers, known_share_min: float
) -> tuple[Floats, Floats, Floats]:
    """Fit planes: rise by column and by row, squares that they explain and squares left."""
    plots = len(heights)
    gradient = np.full((plots, 2), np.nan)
    tilted, other = np.full(plots, np.nan), np.full(plots, np.nan)
    known = ~np.isnan(heights)
    count = np.einsum("kij->k", known.astype(np.int64))
    whole = count == known[0].size
    x, y = columns - columns.mean(), rows - rows.mean()

    z = heights[whole]
    z = z - np.einsum("kij->k", z)[:, None, None] / known[0].size
    by_column = np.einsum("kij,j->k", z, x) / (len(rows) * (x @ x))
    by_row = np.einsum("kij,i->k", z, y) / (len(columns) * (y @ y))
    gradient[whole] = np.stack([by_column, by_row], axis=1)
    tilted[whole] = by_column**2 * len(rows) * (x @ x) + by_row**2 * len(columns) * (y @ y)
    other[whole] = np.einsum("kij,kij->k", z, z) - tilted[whole]

    basis = np.stack([np.ones(known[0].size), np.tile(x, len(rows)), np.repeat(y, len(columns))])
    for plot in np.flatnonzero(~whole & (count >= known_share_min * known[0].size)):
        here = known[plot].ravel()
        values = heights[plot].ravel()[here]
        values = values - values.mean()
        fitted = np.linalg.lstsq(basis[:, here].T, values, rcond=None)[0]
        gradient[plot] = fitted[1:]
        left = values - basis[:, here].T @ fitted
        other[plot] = left @ left
        tilted[plot] = values @ values - other[plot]
    return gradient, tilted, np.maximum(other, 0.0)
