"""The terrain stage: from outlines and elevations to one row a plot."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.grid import Window
from districtplan.terrain import bearing, extent, noise
from districtplan.terrain.coverage import batches, coverage, outlines_on_grid
from districtplan.terrain.gradient import Block, gradients
from districtplan.terrain.statistics import Statistics, summarise

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.terrain.coverage import Outlines
    from districtplan.terrain.noise import Noise

    Floats = NDArray[np.float64]

BLOCK_CELLS = 2_048
"""Side of the blocks by which plots are read; a plot belongs to the block of its middle."""

REASONS = (
    "supported",
    "flat",
    "straight_rows_too_steep",
    "too_few_cells",
    "no_best_direction",
    "bearing_too_uncertain",
)
"""Why a plot has its row method, as ``row_method_reason`` gives it."""

FLAGS = ("partly_off_raster", "noise_exceeds_slope")
"""What ``terrain_flags`` may hold."""

METHODS = {
    "supported": "straight",
    "flat": "any direction",
    "straight_rows_too_steep": "guide lines",
    "too_few_cells": "measure on the ground",
    "no_best_direction": "measure on the ground",
    "bearing_too_uncertain": "measure on the ground",
}

WHOLE = 1 - 1e-6
"""Coverage is exact to 1e-6: a plot above this share lies on the raster whole."""


@dataclass(frozen=True)
class Work:
    """Plots that one read of the raster serves.

    Attributes
    ----------
    plots : slice
        Which of the plots, in the order of blocks.
    window : Window
        Cells to read: what the plots touch and one cell around, within the grid.
    """

    plots: slice
    window: Window


def block_order(polygons: NDArray[np.object_], grid: Grid) -> NDArray[np.int64]:
    """Order plots by the block of the raster that their middle lies in.

    Parameters
    ----------
    polygons : numpy.ndarray
        Outlines in the CRS of the grid, shape (plots,).
    grid : Grid
        The raster's grid.

    Returns
    -------
    numpy.ndarray
        Indices of the plots, shape (plots,).
    """
    west, south, east, north = shapely.bounds(polygons).T
    row = (grid.north - (south + north) / 2) / grid.cell_y // BLOCK_CELLS
    column = ((west + east) / 2 - grid.west) / grid.cell_x // BLOCK_CELLS
    return np.lexsort((column, row)).astype(np.int64)


def blocks(outlines: Outlines, grid: Grid) -> Iterator[Work]:
    """Cut plots into reads of the raster.

    Parameters
    ----------
    outlines : Outlines
        The plots, ordered by block.
    grid : Grid
        The raster's grid.

    Yields
    ------
    Work
        The plots of one block and what to read for them.
    """
    bounds = outlines.bounds()
    middle = (bounds[:, :2] + bounds[:, 2:]) // 2 // BLOCK_CELLS
    change = np.flatnonzero(np.any(middle[1:] != middle[:-1], axis=1)) + 1
    edges = [0, *change.tolist(), len(bounds)]
    for start, stop in itertools.pairwise(edges):
        group = bounds[start:stop]
        top, left = np.maximum(group[:, :2].min(axis=0) - 1, 0)
        bottom, right = np.minimum(group[:, 2:].max(axis=0) + 1, [grid.rows, grid.columns])
        window = Window(int(top), int(left), max(int(bottom - top), 0), max(int(right - left), 0))
        yield Work(slice(start, stop), window)


def _read(elevation: Elevation, window: Window) -> Block:
    """Read a window with a border, of nothing where the window ends at the grid's edge."""
    values = np.full((window.rows + 2, window.columns + 2), np.nan, dtype=np.float32)
    if window.rows and window.columns:
        values[1:-1, 1:-1] = elevation.read(window)
    return Block(values, window.row, window.column)


def survey(
    outlines: Outlines, elevation: Elevation, progress: Callable[[float], None] | None = None
) -> Statistics:
    """Summarise the raster under each plot.

    Parameters
    ----------
    outlines : Outlines
        The plots, ordered by block.
    elevation : Elevation
        The raster.
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.

    Returns
    -------
    Statistics
        One value a plot.
    """
    parts = []
    total = len(outlines.plot_part) - 1
    for work in blocks(outlines, elevation.grid):
        group = outlines.take(work.plots)
        block = _read(elevation, work.window)
        for batch in batches(group):
            cells = coverage(group.take(batch))
            parts.append(summarise(cells, gradients(block, cells, elevation.grid)))
        if progress is not None:
            progress(work.plots.stop / total)
    return Statistics(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in fields(Statistics)
        }
    )


def measure(
    plots: pd.DataFrame,
    elevation: Elevation,
    grid_crs: CRS,
    plan: Plan,
    handbook: Handbook,
    progress: Callable[[float], None] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Measure slope, fall and row bearing of each plot.

    Parameters
    ----------
    plots : pandas.DataFrame
        The columns ``plot_id``, ``area_ha``, ``longitude_deg``, ``latitude_deg`` and ``geometry``,
        the last in the CRS of the raster.
    elevation : Elevation
        The raster.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.
    plan : Plan
        Its sections ``terrain``, ``elevation`` and the planting date.
    handbook : Handbook
        Constants of the error formulas.
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.

    Returns
    -------
    terrain : pandas.DataFrame
        One row a plot with enough raster under it: ``plot_id`` and the columns that
        :mod:`districtplan.tables` gives the stage.
    off_raster : pandas.DataFrame
        ``plot_id`` and ``raster_share`` of the other plots.
    """
    grid = elevation.grid
    polygons = plots["geometry"].to_numpy(dtype=object)
    order = block_order(polygons, grid)
    plots = plots.iloc[order]
    outlines = outlines_on_grid(polygons[order], grid)
    found = survey(outlines, elevation, progress)
    at_row = np.clip(np.rint(found.row_mean), 0, grid.rows - 1).astype(np.int64)
    width, height = geodesy.cell_size_m(grid)
    cell_m = width[at_row], height[at_row]
    share = found.cells / found.covered
    served = share >= plan.terrain.raster_share_min

    area_m2 = plots["area_ha"].to_numpy() * 10_000
    errors = noise.propagate(found, area_m2, cell_m, plan.elevation, handbook)
    table = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy(), "raster_share": share})
    table["cells"] = found.cells
    table["elevation_mean_m"] = found.elevation
    table = table.join(_slopes(found, errors, plan))
    table["coherence"] = np.clip(bearing.coherence(found), 0, 1)
    table["row_bearing_se_deg"] = np.where(errors.cell > 0, errors.bearing_deg, 0.0)
    table["row_method_reason"] = _reasons(table, errors, plan, handbook)
    table["row_method"] = table["row_method_reason"].map(METHODS)
    least = handbook.number(noise.TABLE, "downslope_share_min")
    fall = bearing.downslope_direction(found, least)
    table["slope_length_m"] = _slope_length(outlines, found, fall, cell_m, plan)
    north = _Norths.at(plots, grid.crs, grid_crs, plan)
    table = table.join(_bearings(table, found, fall, north))
    table["terrain_flags"] = _flags(table)
    # Back to the order of the file.
    table = table.iloc[np.argsort(order)].reset_index(drop=True)
    served = served[np.argsort(order)]
    off = table.loc[~served, ["plot_id", "raster_share"]].reset_index(drop=True)
    names = ("plot_id", *tables.made_by("terrain"))
    return tables.check(table[served].reset_index(drop=True), names), off


def _slopes(found: Statistics, errors: Noise, plan: Plan) -> pd.DataFrame:
    steep, level = bearing.eigenvalues(found)
    squared = steep + level
    # Noise adds the variance of both components of a cell's gradient to the mean squared slope.
    with np.errstate(invalid="ignore", divide="ignore"):
        true_share = np.where(squared > 0, 1 - 2 * errors.cell**2 / squared, 0.0)
    corrected = 100 * found.slope_mean * np.sqrt(np.maximum(true_share, 0.0))
    limit = np.minimum(
        plan.terrain.row_grade_limit_pct, plan.terrain.row_grade_limit_share * corrected
    )
    return pd.DataFrame(
        {
            "slope_mean_pct": 100 * found.slope_mean,
            "slope_p90_pct": 100 * found.slope_p90,
            "slope_max_pct": 100 * found.slope_max,
            "slope_corrected_pct": corrected,
            "slope_se_pct": 100 * errors.mean,
            "row_grade_rms_pct": 100 * np.sqrt(level),
            "row_grade_limit_pct": limit,
        }
    )


def _reasons(
    table: pd.DataFrame, errors: Noise, plan: Plan, handbook: Handbook
) -> NDArray[np.object_]:
    """Say why each plot gets its method; the first that holds, in this order."""
    times = handbook.number(noise.TABLE, "confidence_se")
    slope = table["slope_corrected_pct"].to_numpy()
    limit = table["row_grade_limit_pct"].to_numpy()
    turn = np.radians(np.minimum(times * table["row_bearing_se_deg"].to_numpy(), 90.0))
    # Straight rows fail only where their grade exceeds the limit by more than noise would make it.
    cells = np.maximum(table["cells"].to_numpy(), 1.0)
    expected = (100 * errors.cell) ** 2 * (1 + times * np.sqrt(2 / cells))
    grade = table["row_grade_rms_pct"].to_numpy() ** 2
    reason = np.select(
        [
            table["cells"].to_numpy() < plan.terrain.cells_min,
            slope + times * table["slope_se_pct"].to_numpy() <= plan.terrain.flat_slope_pct,
            table["coherence"].to_numpy() < plan.terrain.coherence_min,
            (slope * np.sin(turn) > limit) | (slope == 0),
            grade > limit**2 + expected,
        ],
        [
            "too_few_cells",
            "flat",
            "no_best_direction",
            "bearing_too_uncertain",
            "straight_rows_too_steep",
        ],
        default="supported",
    )
    return reason.astype(object)


def _slope_length(
    outlines: Outlines,
    found: Statistics,
    fall: Floats,
    cell_m: tuple[Floats, Floats],
    plan: Plan,
) -> Floats:
    """Take the plot's length down its fall; over a crest or hollow, of its longer side."""
    across_rows = bearing.level_direction(found) + 90
    clear = bearing.coherence(found) >= plan.terrain.coherence_min
    opposed = np.isnan(fall)
    direction = np.where(opposed, np.where(clear, across_rows, np.nan), fall)
    side = np.where(opposed, found.uphill_share, 1.0)
    return extent.length_along(outlines, direction, cell_m) * side


@dataclass(frozen=True)
class _Norths:
    """Angles from true north at each plot [degrees]."""

    raster: Floats
    grid: Floats
    magnetic: Floats

    @classmethod
    def at(cls, plots: pd.DataFrame, raster_crs: CRS, grid_crs: CRS, plan: Plan) -> _Norths:
        place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
        return cls(
            geodesy.convergence_deg(raster_crs, *place),
            geodesy.convergence_deg(grid_crs, *place),
            geodesy.declination_deg(*place, plan.district.planting_date),
        )


def _bearings(table: pd.DataFrame, found: Statistics, fall: Floats, north: _Norths) -> pd.DataFrame:
    """Refer directions to true, grid and magnetic north; no bearing where none is to be used."""
    used = table["row_method"].isin(["straight", "guide lines"]).to_numpy()
    level = bearing.level_direction(found) + north.raster
    true = np.where(used, geodesy.line_deg(level), np.nan)
    return pd.DataFrame(
        {
            "downslope_true_deg": np.mod(fall + north.raster, 360),
            "row_bearing_true_deg": true,
            "row_bearing_grid_deg": geodesy.line_deg(true - north.grid),
            "row_bearing_magnetic_deg": geodesy.line_deg(true - north.magnetic),
            "declination_deg": north.magnetic,
            "row_bearing_words": geodesy.line_in_words(true),
        }
    )


def _flags(table: pd.DataFrame) -> list[tuple[str, ...]]:
    off = table["raster_share"].to_numpy() < WHOLE
    drowned = (table["slope_corrected_pct"].to_numpy() == 0) & (
        table["slope_mean_pct"].to_numpy() > 0
    )
    return [
        tuple(name for name, raised in zip(FLAGS, row, strict=True) if raised)
        for row in zip(off.tolist(), drowned.tolist(), strict=True)
    ]
