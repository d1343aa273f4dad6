"""The terrain stage: from outlines and elevations to one row a plot."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.coverage import WHOLE
from districtplan.terrain import arcs, bearing, extent, hillside, noise, plateaus, surface
from districtplan.terrain.fitness import require_overlap, require_square_cells
from districtplan.terrain.method import BEARING_REASONS, LEVEL_REASONS, METHODS, grades, reasons
from districtplan.terrain.noise import ErrorModel
from districtplan.terrain.survey import block_order, survey

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.coverage import Outlines
    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.terrain.noise import Doubt
    from districtplan.terrain.statistics import Statistics

    Floats = NDArray[np.float64]

FLAGS = (
    "partly_off_raster",
    "noise_exceeds_slope",
    "doubtful_heights",
    "filled_heights",
    *surface.FLAGS,
    *hillside.FLAGS,
)
"""What the raster may raise in ``terrain_flags``."""


NAMES = ("plot_id", *tables.made_by("terrain"), *tables.made_by("estimate"))

ROUND = 1e-9
"""Coherence that rounding gives a plot with no best bearing."""


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
        the last in the CRS of the raster; ``soil_drainage`` where it is known.
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
        :mod:`districtplan.tables` gives the stage; those of ``estimate`` are for readings alone.
    unusable : pandas.DataFrame
        ``plot_id``, ``reason`` and ``remedy`` of the other plots.

    Raises
    ------
    InputError
        If no plot lies on the raster, or its cells aren't square on the ground.
    """
    grid = elevation.grid
    polygons = plots["geometry"].to_numpy(dtype=object)
    meets = require_overlap(grid, polygons)
    places = (plots[name].to_numpy() for name in ("longitude_deg", "latitude_deg"))
    require_square_cells(grid, meets, *places)
    order = block_order(polygons, grid)
    plots = plots.iloc[order]
    error = ErrorModel.of(
        plan.elevation.vertical_error_m, plan.elevation.error_correlation_m, handbook
    )
    watch = surface.Watch(grid, plan, handbook)
    windows = hillside.Windows(grid, _middle_row(polygons, grid), plan, handbook)
    bends = arcs.Bends(grid, error)
    looks = watch, windows, bends, plateaus.Footing()
    outlines, found, doubt, (faults, around, bent, rests) = survey(
        polygons[order], elevation, error, progress, looks
    )
    cell_m = _cell_m(grid, found.row_mean)
    share = found.cells / found.covered

    table = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "raster_share": share,
            "heights_level_share": rests.level,
            "heights_filled_share": rests.filled,
            "cells": found.cells,
            "elevation_mean_m": found.elevation,
        }
    )
    table = table.join(_slopes(found)).join(grades(doubt, error, plan.terrain))
    table["row_method_reason"] = reasons(
        table.join(plots.filter(["soil_drainage"]).reset_index(drop=True)), doubt, error, plan
    )
    table["row_bearing_se_deg"] = np.where(
        table["row_method_reason"].isin(BEARING_REASONS), np.degrees(doubt.turn), np.nan
    )
    table["row_method"] = table["row_method_reason"].map(METHODS)
    # Half the slope of level land would be no limit: there rows may fall as far as any may.
    table["row_grade_limit_pct"] = table["row_grade_limit_pct"].mask(
        table["row_method_reason"].isin(LEVEL_REASONS), plan.terrain.row_grade_limit_pct
    )
    fall = bearing.downslope_direction(found, handbook.number(noise.TABLE, "downslope_share_min"))
    level = -0.5 * np.degrees(np.angle(doubt.deviator))
    clear = table["coherence"].to_numpy() >= plan.terrain.coherence_min
    across = np.where(clear, level + 90, np.nan)
    table["slope_length_m"] = _slope_length(outlines, found, fall, across, cell_m)
    north = _Norths.at(plots, grid.crs, grid_crs, plan)
    level_true = geodesy.line_deg(level + north.raster)
    estimates = _estimates(doubt, error, level_true)
    curved = arcs.columns(bent, grid, handbook)
    table = table.join([_bearings(table, level_true, fall, north), estimates, curved])
    measured = (table["row_method"] == "measure on the ground").to_numpy()
    table = table.join(hillside.columns(around, north.raster, measured))
    faults = replace(faults, constant=faults.constant | (rests.level > 0))
    doubtful = surface.flags(faults, found.slope_mean, np.sqrt(np.prod(cell_m, axis=0)), handbook)
    table["terrain_flags"] = _flags(table, handbook, *doubtful, *hillside.flags(table))
    # Back to the order of the file.
    table = table.iloc[np.argsort(order)].reset_index(drop=True)
    unusable = _unusable(table, plan)
    usable = table[~table["plot_id"].isin(unusable["plot_id"])].reset_index(drop=True)
    return tables.check(usable, NAMES), unusable


def _cell_m(grid: Grid, row: Floats) -> tuple[Floats, Floats]:
    """Give width and height of a cell at each plot's middle row."""
    at = np.clip(np.rint(row), 0, grid.rows - 1).astype(np.int64)
    width, height = geodesy.cell_size_m(grid)
    return width[at], height[at]


def _middle_row(polygons: NDArray[np.object_], grid: Grid) -> float:
    """Give the row about which the plots lie."""
    _, south, _, north = shapely.bounds(polygons).T
    return float((grid.north - np.median(south + north) / 2) / grid.cell_y)


def _unusable(table: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Tell which plots the raster can't serve at all, and why."""
    steepest = tables.BY_NAME["slope_max_pct"].high or np.inf
    short = ~(table["raster_share"] >= plan.terrain.raster_share_min)
    jump = ~short & (table["slope_max_pct"] > steepest)
    few = [
        (plot_id, *_too_little(share, level))
        for plot_id, share, level in table.loc[
            short, ["plot_id", "raster_share", "heights_level_share"]
        ].to_numpy()
    ]
    jumps = [
        (
            plot_id,
            f"the heights jump: a cell is {slope:.0f} % steep",
            "Mend the raster there, or declare the value that stands for no height",
        )
        for plot_id, slope in table.loc[jump, ["plot_id", "slope_max_pct"]].to_numpy()
    ]
    return pd.DataFrame([*few, *jumps], columns=["plot_id", "reason", "remedy"])


def _too_little(share: float, level: float) -> tuple[str, str]:
    """Say why there are slopes for too little of a plot, and what to do."""
    percent = f"{100 * share:.0f}"
    told = "no part" if percent == "0" else f"{percent} %"
    reason = f"the elevation raster has slopes for {told} of the plot"
    if level == 0:
        return reason, "Add a raster that covers it, or check where the outline lies"
    return (
        f"{reason}; on {100 * level:.0f} % it has exactly one height, as water or a filled gap has",
        "Check where the outline lies, or add a raster that has heights there",
    )


def _slopes(found: Statistics) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "slope_mean_pct": 100 * found.slope_mean,
            "slope_p90_pct": 100 * found.slope_p90,
            "slope_max_pct": 100 * found.slope_max,
            "row_grade_rms_pct": 100 * np.sqrt(bearing.eigenvalues(found)[1]),
        }
    )


def _slope_length(
    outlines: Outlines,
    found: Statistics,
    fall: Floats,
    across: Floats,
    cell_m: tuple[Floats, Floats],
) -> Floats:
    """Take the plot's length down its fall; over a crest or hollow, of its longer side."""
    opposed = np.isnan(fall)
    side = np.where(opposed, found.uphill_share, 1.0)
    return extent.length_along(outlines, np.where(opposed, across, fall), cell_m) * side


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


def _bearings(
    table: pd.DataFrame, level_true: Floats, fall: Floats, north: _Norths
) -> pd.DataFrame:
    """Refer directions to true, grid and magnetic north; no bearing where none is to be used."""
    used = table["row_method"].isin(["straight", "guide lines"]).to_numpy()
    true = np.where(used, level_true, np.nan)
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


def _estimates(doubt: Doubt, error: ErrorModel, level_true: Floats) -> pd.DataFrame:
    """Keep what the raster says of the most level line, even where no bearing is printed."""
    bends = doubt.level > error.level_se * doubt.level_se
    told = doubt.coherence() > ROUND
    return pd.DataFrame(
        {
            "level_line_true_deg": level_true,
            "level_line_se_deg": np.degrees(np.where(told, doubt.turn, noise.RANDOM_RAD)),
            "across_grade_pct": 100 * np.sqrt(np.abs(doubt.deviator)),
            "bend_grade_pct": 100 * np.sqrt(np.where(bends, np.maximum(doubt.level, 0.0), 0.0)),
        }
    )


def _flags(
    table: pd.DataFrame, handbook: Handbook, *others: NDArray[np.bool_]
) -> list[tuple[str, ...]]:
    slope = table["slope_corrected_pct"]
    doubtful = handbook.number(noise.TABLE, "doubtful_slope_pct")
    raised = [
        table["raster_share"].to_numpy() < WHOLE,
        ((slope == 0) & (table["slope_mean_pct"] > 0)).to_numpy(),
        table["slope_max_pct"].to_numpy() > doubtful,
        table["heights_filled_share"].to_numpy() > 0,
        *others,
    ]
    # Few sets of flags occur: each is made once.
    bits = [here.astype(np.int64) << place for place, here in enumerate(raised)]
    sets, of_plot = np.unique(np.sum(bits, axis=0), return_inverse=True)
    codes = [tuple(flag for place, flag in enumerate(FLAGS) if bit >> place & 1) for bit in sets]
    return [codes[place] for place in of_plot.tolist()]
