"""How many plots other elevation rasters would serve: a forecast from outlines and slopes alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from districtplan import geodesy
from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.terrain import noise
from districtplan.terrain.noise import ErrorModel

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.grid import Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

TABLE = "raster_choices"
PLOTS_MAX = 300
"""Plots looked at, spread evenly over the file: enough for a share to about 3 points."""


@dataclass(frozen=True)
class Forecast:
    """What one kind of raster would serve.

    Attributes
    ----------
    name : str
        The raster in words.
    cell_m : float
        Side of its cells [m].
    vertical_error_m : float
        Its vertical error, one standard deviation [m].
    plots_share : float
        Share of plots with a supported bearing.
    land_share : float
        Share of their land.
    """

    name: str
    cell_m: float
    vertical_error_m: float
    plots_share: float
    land_share: float


def forecast(
    plots: pd.DataFrame, ground: pd.DataFrame, grid: Grid, plan: Plan, handbook: Handbook
) -> tuple[Forecast, ...]:
    """Say what share of the plots each raster of the handbook would serve.

    A plot is taken as a plane of its own slope: it is served where the error of its mean gradient
    turns rows by so little that they stay within the limit 19 times in 20.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha`` and ``geometry`` in the CRS of the grid.
    ground : pandas.DataFrame
        ``plot_id``, ``slope_corrected_pct`` and ``row_grade_limit_pct`` of the plots served by the
        raster at hand.
    grid : Grid
        The grid of the raster at hand.
    plan : Plan
        Its section ``terrain``.
    handbook : Handbook
        The rasters to look at (table ``raster_choices``).

    Returns
    -------
    tuple[Forecast, ...]
        One a raster with smaller cells or a smaller error than the one at hand.
    """
    known = plots.merge(ground[["plot_id", "slope_corrected_pct", "row_grade_limit_pct"]])
    some = np.unique(np.linspace(0, len(known) - 1, PLOTS_MAX).astype(np.int64))
    sample = known.iloc[some].reset_index(drop=True)
    width, height = geodesy.cell_size_m(grid)
    middle = grid.rows // 2
    told = []
    rows = handbook.rows(TABLE)
    numbers = rows[["cell_m", "vertical_error_m", "correlation_m"]].to_numpy(dtype=np.float64)
    for name, (cell_m, sigma_m, length_m) in zip(rows["name"], numbers.tolist(), strict=True):
        if cell_m > width[middle] or sigma_m > plan.elevation.vertical_error_m:
            continue
        finer = replace(
            grid,
            cell_x=grid.cell_x * cell_m / float(width[middle]),
            cell_y=grid.cell_y * cell_m / float(height[middle]),
        )
        error = ErrorModel.of(sigma_m, length_m, handbook)
        served = _served(sample, finer, cell_m, error, plan)
        area = sample["area_ha"].to_numpy()
        land_share = float(area[served].sum() / area.sum())
        told.append(Forecast(str(name), cell_m, sigma_m, float(served.mean()), land_share))
    return tuple(told)


def _served(
    sample: pd.DataFrame, grid: Grid, cell_m: float, error: ErrorModel, plan: Plan
) -> NDArray[np.bool_]:
    outlines = outlines_on_grid(sample["geometry"].to_numpy(dtype=object), grid)
    size = np.full(1, cell_m)
    cells, errors = [], []
    for batch in batches(outlines):
        found = coverage(outlines.take(batch))
        cells.append(np.add.reduceat(found.weight, found.first))
        errors.append(noise.mean_error(found, (size, size), error))
    slope = sample["slope_corrected_pct"].to_numpy() / 100
    limit = sample["row_grade_limit_pct"].to_numpy() / 100
    reach = error.turn_se * np.concatenate(errors)
    with np.errstate(divide="ignore", invalid="ignore"):
        grade = slope * np.sin(np.minimum(np.where(slope > 0, reach / slope, np.inf), np.pi / 2))
    enough = np.concatenate(cells) >= plan.terrain.cells_min
    return enough & (slope > reach) & (grade <= limit)
