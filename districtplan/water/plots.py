"""The water stage: from outlines and elevations to what runs onto each plot, and flow lines."""

from __future__ import annotations

from itertools import compress
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.grid import Window
from districtplan.water.blocks import Region, read_block, trees
from districtplan.water.lines import Links, flow_lines, length_within, together
from districtplan.water.network import join
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


def trace(
    plots: pd.DataFrame,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
    progress: Callable[[float], None] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
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
        Its section ``water``.
    handbook : Handbook
        Limits (table ``flow_limits``).
    progress : Callable[[float], None] | None, default None
        Called with the share of the work done.

    Returns
    -------
    water : pandas.DataFrame
        One row a plot, in the order of ``plots``: ``plot_id`` and the columns that
        :mod:`districtplan.tables` gives the stage.
    flow_lines : pandas.DataFrame
        ``upslope_area_ha`` at the low end, ``upslope_area_at_least`` and ``geometry`` of flow lines
        near plots, in the CRS of the raster.
    """
    grid = elevation.grid
    polygons = plots["geometry"].to_numpy(dtype=object)
    limits = _limits(polygons, grid, plan, handbook)
    groups = _groups(polygons, grid)
    found = pd.DataFrame(index=range(len(polygons)), columns=_Found._fields, dtype=np.float64)
    links = []
    for place, group in enumerate(groups):
        told = _told(progress, place, len(groups))
        of_group, parts = _group(polygons[group], elevation, limits, told)
        found.iloc[group] = np.column_stack(of_group)
        links += parts
    lines = flow_lines(together(links), grid)
    length = length_within(lines["geometry"].to_numpy(), polygons, grid)
    at_least = found["at_least"].to_numpy() > 0
    raised = np.column_stack([length > plan.water.crossing_min_m, at_least]).tolist()
    table = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "upslope_area_ha": found["area_ha"].to_numpy(),
            "upslope_area_at_least": at_least.astype(np.int64),
            "run_on_area_ha": found["run_on_ha"].to_numpy(),
            "flow_line_length_m": length,
            "water_flags": [tuple(compress(FLAGS, row)) for row in raised],
        }
    )
    return tables.check(table, ("plot_id", *tables.made_by("water"))), lines


class _Limits(NamedTuple):
    line_ha: float
    border: Integers
    """Rows and columns around plots that are worked with them."""
    margin: Integers
    """Rows and columns around plots within which flow lines are drawn."""
    backwater_m: float


class _Found(NamedTuple):
    """Of each plot, NaN where no cell of it has a height."""

    area_ha: Floats
    at_least: Floats
    run_on_ha: Floats


class _Cells(NamedTuple):
    """Cells of plots, in the order of the plots."""

    plot: Integers
    row: Integers
    """Row and column within the region."""
    column: Integers


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
    )


def _groups(polygons: Objects, grid: Grid) -> list[Integers]:
    """Part plots by the square of the raster that their middle lies in."""
    west, south, east, north = shapely.bounds(polygons).T
    row = (grid.north - (south + north) / 2) / grid.cell_y // GROUP_CELLS
    column = ((west + east) / 2 - grid.west) / grid.cell_x // GROUP_CELLS
    _, square = np.unique(np.column_stack([row, column]), axis=0, return_inverse=True)
    order = np.argsort(square, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(square[order])) + 1)


def _group(
    polygons: Objects,
    elevation: Elevation,
    limits: _Limits,
    tell: Callable[[float], None],
) -> tuple[_Found, list[Links]]:
    """Work one region: first each block by itself, then, joined, those that plots are on."""
    grid = elevation.grid
    outlines = outlines_on_grid(polygons, grid)
    bounds = outlines.bounds()
    size = np.array([grid.rows, grid.columns])
    low = np.clip(bounds[:, :2].min(axis=0) - limits.border, 0, size - 1)
    high = np.clip(bounds[:, 2:].max(axis=0) + limits.border, low + 1, size)
    region = Region(elevation, Window(*map(int, low), *map(int, high - low)), BLOCK_CELLS)
    blocks = list(region.blocks())
    parts = []
    for place, window in enumerate(blocks):
        parts.append(trees(region, read_block(region, window)))
        tell((place + 1) / len(blocks) / 2)
    network = join(parts, region.window.columns, limits.backwater_m)
    cells = _cells(outlines, region)
    near = bounds + np.concatenate([-limits.margin, limits.margin]) - np.tile(low, 2)
    area, own, at_least = (np.zeros(len(cells.plot)) for _ in range(3))
    drains_to = np.full(len(cells.plot), -1, dtype=np.int64)
    unit_ha = region.unit_m2() / M2_IN_HA
    links = []
    for place, window in enumerate(blocks):
        mask = _mask(near, window)
        if parts[place] is None or not mask.any():
            continue
        block = read_block(region, window)
        up = upslope(block, place, network, region.window.columns)
        row, column = cells.row - window.row, cells.column - window.column
        here = np.flatnonzero(
            (row >= 0) & (row < window.rows) & (column >= 0) & (column < window.columns)
        )
        at = row[here], column[here]
        area[here], own[here] = up.area[at], block.area[at]
        at_least[here], drains_to[here] = up.at_least[at], up.drains_to[at]
        links.append(_links(region, block, up, mask & (up.area * unit_ha >= limits.line_ha)))
        tell((1 + (place + 1) / len(blocks)) / 2)
    unknown = own == 0
    entering = area - own - _handed_on(cells, drains_to, area, region)
    plots = len(polygons)
    return (
        _Found(
            _largest(np.where(unknown, np.nan, area * unit_ha), cells.plot, plots),
            _largest(np.maximum(at_least, unknown), cells.plot, plots, 1.0),
            _largest(np.where(unknown, np.nan, entering * unit_ha), cells.plot, plots),
        ),
        links,
    )


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


def _mask(near: Integers, window: Window) -> Bools:
    """Mark a block's cells near plots."""
    mask = np.zeros((window.rows, window.columns), dtype=np.bool_)
    corner = np.array([window.row, window.column])
    low = np.maximum(near[:, :2] - corner, 0)
    high = np.minimum(near[:, 2:] - corner, mask.shape)
    met = (low < high).all(axis=1)
    for (top, left), (bottom, right) in zip(low[met].tolist(), high[met].tolist(), strict=True):
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
