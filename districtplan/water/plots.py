"""The water stage: from outlines and elevations to what runs onto each plot, and flow lines."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.grid import Window
from districtplan.water.above import BEGINS, Above, Ways, above
from districtplan.water.blocks import Region, read_block, trees
from districtplan.water.catchments import Drained
from districtplan.water.catchments import together as catchments_together
from districtplan.water.cells import Fall, PlotCells, fall_at
from districtplan.water.directions import NO_CELL, STEPS
from districtplan.water.lines import Links, flow_lines, length_within, together
from districtplan.water.network import join
from districtplan.water.shaped import Shaped, shape
from districtplan.water.upslope import upslope

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from districtplan.coverage import Outlines
    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.water.blocks import Block
    from districtplan.water.upslope import Upslope

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

TABLE = "flow_limits"

FLAGS = ("crossed_by_flow", "upslope_at_least")
"""What ``water_flags`` may hold."""

BLOCK_CELLS = 2_048
"""Side of the blocks that are in memory at a time."""

GROUP_CELLS = 8_192
"""Plots are worked together whose middle lies in one square of this side: what is kept of its
blocks fits in memory."""

M2_IN_HA = 10_000


@dataclass(frozen=True)
class Beside:
    """What is known or asked for beside the heights.

    Attributes
    ----------
    features : pandas.DataFrame | None
        ``kind`` and ``geometry`` of what was drawn on the land, in the CRS of the raster.
    each : Callable[[PlotCells], None] | None
        Called with the cells of plots that have a height, some plots at a time: there are too many
        to keep.
    """

    features: pd.DataFrame | None = None
    each: Callable[[PlotCells], None] | None = None


NOTHING = Beside()


def trace(
    plots: pd.DataFrame,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
    progress: Callable[[float], None] | None = None,
    beside: Beside = NOTHING,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Find the land that drains onto each plot, and where its water runs together.

    The raster is worked in regions: the plots of one square and a border around them. What lies
    beyond a region, or in a gap of the raster, isn't known: an area that may be larger for that is
    marked as a lower limit.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``geometry``, the latter in the CRS of the raster.
    elevation : Elevation
        The raster.
    plan : Plan
        Its section ``water``, and the longest slope length of ``erosion``.
    handbook : Handbook
        Limits (table ``flow_limits``), and what features do (``feature_effects``).
    progress : Callable[[float], None] | None, default None
        Called with the share of the work done.
    beside : Beside, default NOTHING
        What was drawn on the land, which overrides what the heights say, and who asks for the
        cells of plots.

    Returns
    -------
    water : pandas.DataFrame
        One row a plot, in the order of ``plots``: ``plot_id`` and the columns that
        :mod:`districtplan.tables` gives the stage.
    flow_lines : pandas.DataFrame
        ``upslope_area_ha`` at the low end, ``upslope_area_at_least`` and ``geometry`` of flow lines
        near plots, in the CRS of the raster.
    catchments : pandas.DataFrame
        Those that plots are in, in the CRS of the raster; empty where the plan asks for none.
    """
    grid = elevation.grid
    polygons = plots["geometry"].to_numpy(dtype=object)
    limits = _limits(polygons, grid, plan, handbook)
    groups = _groups(polygons, grid)
    drawn = beside.features
    shaped = Shaped.nothing(grid) if drawn is None else shape(drawn, grid, handbook)
    found = pd.DataFrame(index=range(len(polygons)), columns=_Found._fields, dtype=np.float64)
    links = []
    catchment, layers = np.full(len(polygons), None, dtype=object), []
    for place, group in enumerate(groups):
        land = _Land(polygons[group], elevation, shaped, limits)
        of_group, parts, cells, drained = _group(land, _told(progress, place, len(groups)))
        found.iloc[group] = np.column_stack(of_group)
        links += parts
        if drained is not None:
            catchment[group], layer = drained
            layers.append(layer)
        if beside.each is not None:
            beside.each(cells._replace(plot=group[cells.plot]))
    lines = flow_lines(together(links), grid)
    length = length_within(lines["geometry"].to_numpy(), polygons, grid)
    at_least = found["at_least"].to_numpy() > 0
    raised = np.column_stack([tables.crossed(length, plan.water.crossing_min_m), at_least]).tolist()
    table = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "upslope_area_ha": found["area_ha"].to_numpy(),
            "upslope_area_at_least": at_least.astype(np.int64),
            "run_on_area_ha": found["run_on_ha"].to_numpy(),
            "flow_line_length_m": length,
            "slope_length_above_m": found["above_m"].to_numpy(),
            "slope_length_above_at_least": found["above_at_least"].to_numpy().astype(np.int64),
            "slope_above_begins": pd.Series(
                np.array([*BEGINS, None], dtype=object)[found["begins"].to_numpy().astype(np.int64)]
            ),
            "catchment": pd.Series(catchment, dtype=object),
            "water_flags": [tuple(compress(FLAGS, row)) for row in raised],
        }
    )
    checked = tables.check(table, ("plot_id", *tables.made_by("water")))
    return checked, lines, catchments_together(layers, catchment)


class _Limits(NamedTuple):
    line_ha: float
    border: Integers
    """Rows and columns around plots that are worked with them."""
    margin: Integers
    """Rows and columns around plots within which flow lines are drawn."""
    backwater_m: float
    reach: Integers
    """Rows and columns around plots within which the slope above them is looked for."""
    cap_m: float
    catchment_ha: float | None


class _Found(NamedTuple):
    """Of each plot, NaN where no cell of it has a height."""

    area_ha: Floats
    at_least: Floats
    run_on_ha: Floats
    above_m: Floats
    above_at_least: Bools
    begins: Integers


class _Land(NamedTuple):
    """Plots and the land that they lie on."""

    polygons: Objects
    elevation: Elevation
    shaped: Shaped
    limits: _Limits


class _Cells(NamedTuple):
    """Cells of plots, in the order of the plots."""

    plot: Integers
    row: Integers
    """Row and column within the region."""
    column: Integers

    def inside(self, window: Window) -> tuple[Integers, tuple[Integers, Integers]]:
        """Give the places of those in a window, and their rows and columns there."""
        row, column = self.row - window.row, self.column - window.column
        here = np.flatnonzero(
            (row >= 0) & (row < window.rows) & (column >= 0) & (column < window.columns)
        )
        return here, (row[here], column[here])


def _told(
    progress: Callable[[float], None] | None, place: int, count: int
) -> Callable[[float], None]:
    def tell(share: float) -> None:
        if progress is not None:
            progress((place + share) / count)

    return tell


def _limits(polygons: Objects, grid: Grid, plan: Plan, handbook: Handbook) -> _Limits:
    """Count limits in cells of the size that they have in the middle of the plots."""
    south, north = shapely.total_bounds(polygons)[[1, 3]]
    row = np.clip((grid.north - (south + north) / 2) / grid.cell_y, 0, grid.rows - 1)
    width, height = (float(size[int(row)]) for size in geodesy.cell_size_m(grid))
    cell = np.array([height, width])
    least_ha = handbook.number(TABLE, "cells_min") * width * height / M2_IN_HA
    return _Limits(
        line_ha=max(plan.water.flow_line_min_area_ha, least_ha),
        border=np.ceil(plan.water.border_m / cell).astype(np.int64),
        margin=np.ceil(handbook.number(TABLE, "margin_m") / cell).astype(np.int64),
        backwater_m=handbook.number(TABLE, "backwater_m"),
        # A step more, so that what drains in from there is seen.
        reach=np.ceil(plan.erosion.slope_length_cap_m / cell).astype(np.int64) + 1,
        cap_m=plan.erosion.slope_length_cap_m,
        catchment_ha=plan.water.catchment_min_area_ha,
    )


def _groups(polygons: Objects, grid: Grid) -> list[Integers]:
    """Part plots by the square of the raster that their middle lies in."""
    west, south, east, north = shapely.bounds(polygons).T
    row = (grid.north - (south + north) / 2) / grid.cell_y // GROUP_CELLS
    column = ((west + east) / 2 - grid.west) / grid.cell_x // GROUP_CELLS
    _, square = np.unique(np.column_stack([row, column]), axis=0, return_inverse=True)
    order = np.argsort(square, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(square[order])) + 1)


class _Known:
    """What is known of the cells of plots, gathered block by block."""

    def __init__(self, cells: _Cells) -> None:
        count = len(cells.plot)
        self.area, self.own, self.at_least, self.across = (np.zeros(count) for _ in range(4))
        self.drains_to = np.full(count, -1, dtype=np.int64)
        self.up = np.zeros(count, dtype=np.uint8)

    def take(
        self, here: Integers, at: tuple[Integers, Integers], block: Block, up: Upslope, fall: Fall
    ) -> None:
        self.area[here], self.own[here] = up.area[at], block.area[at]
        self.at_least[here], self.drains_to[here] = up.at_least[at], up.drains_to[at]
        self.up[here], self.across[here] = fall.up, fall.across


def _group(
    land: _Land, tell: Callable[[float], None]
) -> tuple[_Found, list[Links], PlotCells, tuple[Objects, pd.DataFrame] | None]:
    """Work one region: first each block by itself, then, joined, those that plots are on."""
    limits, grid = land.limits, land.elevation.grid
    outlines = outlines_on_grid(land.polygons, grid)
    bounds = outlines.bounds()
    size = np.array([grid.rows, grid.columns])
    low = np.clip(bounds[:, :2].min(axis=0) - limits.border, 0, size - 1)
    high = np.clip(bounds[:, 2:].max(axis=0) + limits.border, low + 1, size)
    window = Window(*map(int, low), *map(int, high - low))
    region = Region(land.elevation, window, BLOCK_CELLS, land.shaped)
    blocks = list(region.blocks())
    parts = []
    for place, window in enumerate(blocks):
        parts.append(trees(region, read_block(region, window)))
        tell((place + 1) / len(blocks) / 2)
    network = join(parts, region.window.columns, limits.backwater_m)
    cells = _cells(outlines, region)
    known = _Known(cells)
    near, looked = (
        bounds + np.concatenate([-margin, margin]) - np.tile(low, 2)
        for margin in (limits.margin, np.maximum(limits.margin, limits.reach))
    )
    around = _Around(region, looked)
    unit_ha = region.unit_m2() / M2_IN_HA
    links = []
    drained = Drained(region, limits.catchment_ha)
    for place, window in enumerate(blocks):
        met = bool(_meets(looked, window).any())
        if parts[place] is None or not (met or drained.least_ha):
            continue
        block = read_block(region, window)
        up = upslope(block, place, network, region.window.columns)
        drained.take(block, up)
        if not met:
            continue
        around.take(block, up)
        here, at = cells.inside(window)
        known.take(here, at, block, up, fall_at(block, at, region.cell_m()))
        mask = _mask(near, window)
        links.append(_links(region, block, up, mask & (up.area * unit_ha >= limits.line_ha)))
        tell((1 + (place + 1) / len(blocks)) / 2)
    unknown = known.own == 0
    entering = known.area - known.own - _handed_on(cells, known.drains_to, known.area, region)
    plots = len(land.polygons)
    there = np.flatnonzero(~unknown)
    slope = around.above(cells, known.up, there, plots, limits.cap_m)
    return (
        _Found(
            _largest(np.where(unknown, np.nan, known.area * unit_ha), cells.plot, plots),
            _largest(np.maximum(known.at_least, unknown), cells.plot, plots, 1.0),
            _largest(np.where(unknown, np.nan, entering * unit_ha), cells.plot, plots),
            *slope,
        ),
        links,
        PlotCells(
            cells.plot[there],
            (known.area - known.own)[there] * region.unit_m2(),
            np.sqrt(known.own[there] * region.unit_m2()),
            known.across[there],
        ),
        drained.catchments(cells.plot[there], (cells.row[there], cells.column[there]), plots),
    )


class _Around:
    """The land around plots in which the slope above them is looked for."""

    def __init__(self, region: Region, looked: Integers) -> None:
        size = np.array([region.window.rows, region.window.columns])
        low = np.clip(looked[:, :2].min(axis=0), 0, size - 1)
        high = np.clip(looked[:, 2:].max(axis=0), low + 1, size)
        self.window = Window(*map(int, low), *map(int, high - low))
        self.region = region
        self.code = np.full((self.window.rows, self.window.columns), NO_CELL, dtype=np.uint8)
        self.open = np.zeros(self.code.shape, dtype=np.bool_)

    def take(self, block: Block, up: Upslope) -> None:
        """Take what a block knows."""
        own, window = self.window, block.window
        row = max(own.row, window.row), min(own.row + own.rows, window.row + window.rows)
        column = (
            max(own.column, window.column),
            min(own.column + own.columns, window.column + window.columns),
        )
        here, there = (
            (
                slice(row[0] - corner.row, row[1] - corner.row),
                slice(column[0] - corner.column, column[1] - corner.column),
            )
            for corner in (own, window)
        )
        self.code[here], self.open[here] = up.code[there], block.from_edge[there] > 0

    def above(
        self, cells: _Cells, up: NDArray[np.uint8], there: Integers, plots: int, cap_m: float
    ) -> Above:
        """Find the slope above plots."""
        own, region = self.window, self.region
        on_raster = Window(
            region.window.row + own.row, region.window.column + own.column, own.rows, own.columns
        )
        width, height = (size[own.row : own.row + own.rows] for size in region.cell_m())
        step_m = [np.hypot(down * height, right * width) for down, right in STEPS]
        ways = Ways(
            self.code,
            region.shaped.ends_in(on_raster),
            self.open,
            region.shaped.channels_in(on_raster),
            np.column_stack(step_m),
        )
        row, column = cells.row[there] - own.row, cells.column[there] - own.column
        return above(cells.plot[there], row * own.columns + column, up[there], plots, ways, cap_m)


def _cells(outlines: Outlines, region: Region) -> _Cells:
    """Find the cells at least half covered by each plot, or all touched where there is none."""
    parts = []
    for batch in batches(outlines):
        found = coverage(outlines.take(batch))
        half = found.weight >= 1 / 2
        some = np.bincount(found.plot[half], minlength=len(found.first)) > 0
        kept = half | ~some[found.plot]
        parts.append((found.plot[kept] + batch.start, found.row[kept], found.column[kept]))
    plot, row, column = (np.concatenate(part) for part in zip(*parts, strict=True))
    row, column = row - region.window.row, column - region.window.column
    return _Cells(plot, row, column)


def _meets(near: Integers, window: Window) -> Bools:
    """Tell which of the parts near plots a block meets."""
    row, column = window.row, window.column
    met = (near[:, 2] > row) & (near[:, 0] < row + window.rows)
    return met & (near[:, 3] > column) & (near[:, 1] < column + window.columns)


def _mask(near: Integers, window: Window) -> Bools:
    """Mark a block's cells near plots."""
    mask = np.zeros((window.rows, window.columns), dtype=np.bool_)
    corner = np.array([window.row, window.column])
    met = _meets(near, window)
    low = np.maximum(near[met, :2] - corner, 0)
    high = np.minimum(near[met, 2:] - corner, mask.shape)
    for (top, left), (bottom, right) in zip(low.tolist(), high.tolist(), strict=True):
        mask[top:bottom, left:right] = True
    return mask


def _links(region: Region, block: Block, up: Upslope, on_line: Bools) -> Links:
    """Give the steps of flow lines in a block, by the numbers of cells in the grid."""
    on_line &= up.drains_to >= 0
    columns, window = region.window.columns, region.window
    start, stop = (
        (number // columns + window.row) * region.grid.columns + number % columns + window.column
        for number in (block.number[on_line], up.drains_to[on_line])
    )
    area_ha = up.area[on_line] * (region.unit_m2() / M2_IN_HA)
    return Links(start, stop, area_ha, up.at_least[on_line])


def _handed_on(cells: _Cells, drains_to: Integers, area: Floats, region: Region) -> Floats:
    """Add up what each cell gets from cells of the same plot."""
    total = region.window.rows * region.window.columns
    key = cells.plot * total + cells.row * region.window.columns + cells.column
    order = np.argsort(key, kind="stable")
    leads = np.flatnonzero(drains_to >= 0)
    wanted = cells.plot[leads] * total + drains_to[leads]
    place = np.minimum(np.searchsorted(key[order], wanted), len(key) - 1)
    inside = key[order][place] == wanted
    handed = np.zeros(len(key))
    np.add.at(handed, order[place[inside]], area[leads[inside]])
    return handed


def _largest(values: Floats, plot: Integers, plots: int, none: float = np.nan) -> Floats:
    """Give the largest known value of each plot's cells."""
    known = ~np.isnan(values)
    found = np.full(plots, -np.inf)
    np.maximum.at(found, plot[known], values[known])
    return np.where(np.isneginf(found), none, found)
