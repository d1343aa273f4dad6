"""How much of each raster cell a plot covers, exactly.

The outline's edges are cut at the grid lines. Each piece lies in one cell and adds its signed
height, times the share of the cell to its right, to that cell, and its whole signed height to the
cells further right; a running sum along the row gives the coverage. Holes and several parts need
no special case.

Heights are counted in whole 2⁻³²ths of a cell, so that every sum below is exact: the result does
not depend on which plots are worked together, and each row closes to zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from districtplan.grid import Grid

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

UNIT = 2.0**32
WHOLE = 1 - 1e-6
"""Coverage is exact to 1e-6: what is covered to more than this share is covered whole."""
CELLS_PER_BATCH = 1_000_000
PLOTS_PER_BATCH = 8_192
"""Fits the bits that :mod:`districtplan.terrain.statistics` gives to the plot's place."""


@dataclass(frozen=True)
class Outlines:
    """Rings of plots in cell units: u to the east, v to the south, from the grid's corner.

    Attributes
    ----------
    u : numpy.ndarray
        Columns of the vertices, shape (vertices,) [cells].
    v : numpy.ndarray
        Rows of the vertices, shape (vertices,) [cells].
    ring_start : numpy.ndarray
        First vertex of each ring, and one past the last, shape (rings + 1,).
    part_ring : numpy.ndarray
        First ring of each part, and one past the last, shape (parts + 1,); a part's first ring is
        its shell, the others are holes.
    plot_part : numpy.ndarray
        First part of each plot, and one past the last, shape (plots + 1,).
    """

    u: Floats
    v: Floats
    ring_start: Integers
    part_ring: Integers
    plot_part: Integers

    @property
    def plot_vertex(self) -> Integers:
        """Place of each plot's vertices.

        Returns
        -------
        numpy.ndarray
            First vertex of each plot, and one past the last, shape (plots + 1,).
        """
        return self.ring_start[self.part_ring[self.plot_part]]

    def bounds(self) -> Integers:
        """Find the block of cells that each plot touches.

        Returns
        -------
        numpy.ndarray
            First row, first column, one past the last row, one past the last column of each plot,
            shape (plots, 4).
        """
        first = self.plot_vertex[:-1]
        return np.stack(
            [
                np.floor(np.minimum.reduceat(self.v, first)),
                np.floor(np.minimum.reduceat(self.u, first)),
                np.ceil(np.maximum.reduceat(self.v, first)),
                np.ceil(np.maximum.reduceat(self.u, first)),
            ],
            axis=1,
        ).astype(np.int64)

    def take(self, plots: slice) -> Outlines:
        """Give the outlines of some neighbouring plots.

        Parameters
        ----------
        plots : slice
            Which plots, a step of one.

        Returns
        -------
        Outlines
            Those plots alone.
        """
        plot_part = self.plot_part[plots.start : plots.stop + 1]
        part_ring = self.part_ring[plot_part[0] : plot_part[-1] + 1]
        ring_start = self.ring_start[part_ring[0] : part_ring[-1] + 1]
        vertices = slice(ring_start[0], ring_start[-1])
        return Outlines(
            self.u[vertices],
            self.v[vertices],
            ring_start - ring_start[0],
            part_ring - part_ring[0],
            plot_part - plot_part[0],
        )


@dataclass(frozen=True)
class Cells:
    """Cells that plots cover, in the order of the plots, each plot's row by row.

    Attributes
    ----------
    first : numpy.ndarray
        First cell of each plot, shape (plots,).
    plot : numpy.ndarray
        Plot of each cell, counted within the batch, shape (cells,).
    row : numpy.ndarray
        Row of each cell in the grid, shape (cells,).
    column : numpy.ndarray
        Column of each cell in the grid, shape (cells,).
    weight : numpy.ndarray
        Share of the cell that the plot covers, above 0 to 1, shape (cells,).
    """

    first: Integers
    plot: Integers
    row: Integers
    column: Integers
    weight: Floats


def bounds_on_grid(polygons: NDArray[np.object_], grid: Grid) -> Integers:
    """Find the block of cells that each polygon touches.

    Parameters
    ----------
    polygons : numpy.ndarray
        Polygons, none empty, in the CRS of the grid.
    grid : Grid
        The grid.

    Returns
    -------
    numpy.ndarray
        First row, first column, one past the last row, one past the last column of each, shape
        (plots, 4).
    """
    west, south, east, north = shapely.bounds(polygons).T
    return np.stack(
        [
            np.floor((grid.north - north) / grid.cell_y),
            np.floor((west - grid.west) / grid.cell_x),
            np.ceil((grid.north - south) / grid.cell_y),
            np.ceil((east - grid.west) / grid.cell_x),
        ],
        axis=1,
    ).astype(np.int64)


def outlines_on_grid(polygons: NDArray[np.object_], grid: Grid) -> Outlines:
    """Bring polygons to the cell units of a grid.

    Parameters
    ----------
    polygons : numpy.ndarray
        Valid polygons and multi-polygons, none empty, in the CRS of the grid.
    grid : Grid
        The grid.

    Returns
    -------
    Outlines
        Their rings.
    """
    # One multi-polygon in front makes shapely describe all of them with the same three levels.
    lead = shapely.multipolygons([shapely.box(0, 0, 1, 1)])
    _, xy, (ring_start, part_ring, plot_part) = shapely.to_ragged_array(
        np.concatenate([np.array([lead], dtype=object), polygons]), include_z=False
    )
    skip = int(ring_start[1])
    return Outlines(
        u=(xy[skip:, 0] - grid.west) / grid.cell_x,
        v=(grid.north - xy[skip:, 1]) / grid.cell_y,
        ring_start=ring_start[1:].astype(np.int64) - skip,
        part_ring=part_ring[1:].astype(np.int64) - 1,
        plot_part=plot_part[1:].astype(np.int64) - 1,
    )


def joined(groups: Sequence[Outlines]) -> Outlines:
    """Join the outlines of groups of plots.

    Parameters
    ----------
    groups : Sequence[Outlines]
        Outlines on one grid.

    Returns
    -------
    Outlines
        All of them, in that order.
    """
    starts = {
        name: _joined_starts([getattr(group, name) for group in groups])
        for name in ("ring_start", "part_ring", "plot_part")
    }
    u, v = (np.concatenate([getattr(group, name) for group in groups]) for name in ("u", "v"))
    return Outlines(u, v, **starts)


def _joined_starts(groups: Sequence[Integers]) -> Integers:
    before = np.cumsum([0, *(group[-1] for group in groups)])
    moved = [group[:-1] + shift for group, shift in zip(groups, before, strict=False)]
    return np.concatenate([*moved, before[-1:]])


def batches(outlines: Outlines) -> Iterator[slice]:
    """Split plots into runs of a bounded number of cells.

    Parameters
    ----------
    outlines : Outlines
        The plots.

    Yields
    ------
    slice
        Neighbouring plots; one plot that is too large alone comes alone.
    """
    bounds = outlines.bounds()
    size = (bounds[:, 2] - bounds[:, 0] + 1) * (bounds[:, 3] - bounds[:, 1] + 2)
    end = np.cumsum(size)
    start = 0
    while start < len(size):
        before = end[start - 1] if start else 0
        stop = int(np.searchsorted(end, before + CELLS_PER_BATCH, side="right"))
        stop = min(max(stop, start + 1), start + PLOTS_PER_BATCH)
        yield slice(start, stop)
        start = stop


def coverage(outlines: Outlines) -> Cells:
    """Find the cells that plots cover, and how much of each.

    Parameters
    ----------
    outlines : Outlines
        The plots of one batch.

    Returns
    -------
    Cells
        Every cell of which a plot covers more than 2⁻³².
    """
    bounds = outlines.bounds()
    origin_row, origin_column = bounds[:, 0], bounds[:, 1]
    rows = np.maximum(bounds[:, 2] - origin_row, 1)
    # An edge on the right border adds to the cell right of it, which then closes to zero.
    columns = bounds[:, 3] - origin_column + 2
    place = np.concatenate([[0], np.cumsum(rows * columns)])

    edges = _cut_at_rows(_edges(outlines, origin_row, origin_column))
    plot, row, column, height, fraction = _cut_at_columns(edges)
    cell = place[plot] + row * columns[plot] + column
    right = np.rint(height * fraction)
    total = np.bincount(cell, height - right, place[-1])
    total[1:] += np.bincount(cell, right, place[-1])[:-1]
    covered = np.cumsum(total)

    found = np.flatnonzero(covered > 0)
    plot = np.searchsorted(place, found, side="right") - 1
    inside = found - place[plot]
    row = inside // columns[plot]
    return Cells(
        first=np.searchsorted(found, place[:-1]),
        plot=plot,
        row=row + origin_row[plot],
        column=inside - row * columns[plot] + origin_column[plot],
        weight=np.minimum(covered[found] / UNIT, 1.0),
    )


class _Edges(NamedTuple):
    """Edges that lead down, from (u0, v0) to (u1, v1); ``sign`` is -1 where the ring leads up."""

    plot: Integers
    sign: Floats
    u0: Floats
    v0: Floats
    u1: Floats
    v1: Floats


def _edges(outlines: Outlines, origin_row: Integers, origin_column: Integers) -> _Edges:
    ring_of = np.repeat(np.arange(len(outlines.ring_start) - 1), np.diff(outlines.ring_start))
    part_of_ring = np.repeat(np.arange(len(outlines.part_ring) - 1), np.diff(outlines.part_ring))
    plot_of_part = np.repeat(np.arange(len(outlines.plot_part) - 1), np.diff(outlines.plot_part))
    plot = plot_of_part[part_of_ring[ring_of]]
    u = outlines.u - origin_column[plot]
    v = np.rint((outlines.v - origin_row[plot]) * UNIT) / UNIT

    # A vertex and the next one of the same ring; rings are closed, so the last starts no edge.
    starts = np.ones(len(u), dtype=bool)
    starts[outlines.ring_start[1:] - 1] = False
    here = np.flatnonzero(starts)
    u0, v0, u1, v1 = u[here], v[here], u[here + 1], v[here + 1]
    ring = ring_of[here]
    area = np.bincount(ring, u0 * v1 - u1 * v0, len(outlines.ring_start) - 1)
    is_hole = np.ones(len(area), dtype=bool)
    is_hole[outlines.part_ring[:-1]] = False
    sign = np.where(is_hole, np.sign(area), -np.sign(area))[ring]

    slanted = v0 != v1
    sign = np.where(v1 > v0, sign, -sign)[slanted]
    down = (v1 > v0)[slanted]
    u0, v0, u1, v1 = u0[slanted], v0[slanted], u1[slanted], v1[slanted]
    return _Edges(
        plot[here][slanted],
        sign,
        np.where(down, u0, u1),
        np.where(down, v0, v1),
        np.where(down, u1, u0),
        np.where(down, v1, v0),
    )


def _pieces(low: Floats, high: Floats) -> tuple[Integers, Floats]:
    """Give owner and number of the unit intervals that each range from low to high meets."""
    first: Floats = np.floor(low)
    count = np.maximum(np.ceil(high) - first, 1).astype(np.int64)
    owner = np.repeat(np.arange(len(low), dtype=np.int64), count)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    return owner, first[owner] + step


def _cut_at_rows(edges: _Edges) -> _Edges:
    owner, row = _pieces(edges.v0, edges.v1)
    u0, v0, v1 = edges.u0[owner], edges.v0[owner], edges.v1[owner]
    top, bottom = np.maximum(row, v0), np.minimum(row + 1, v1)
    lean = (edges.u1[owner] - u0) / (v1 - v0)
    return _Edges(
        edges.plot[owner],
        edges.sign[owner],
        u0 + (top - v0) * lean,
        top,
        u0 + (bottom - v0) * lean,
        bottom,
    )


def _cut_at_columns(edges: _Edges) -> tuple[Integers, Integers, Integers, Floats, Floats]:
    """Give plot, row, column, height in whole units and share of the cell left of each piece."""
    low, high = np.minimum(edges.u0, edges.u1), np.maximum(edges.u0, edges.u1)
    owner, column = _pieces(low, high)
    left = np.maximum(column, low[owner])
    right = np.minimum(column + 1, high[owner])
    width = (high - low)[owner]
    length = ((edges.v1 - edges.v0) * UNIT)[owner]
    # Height passed at each cut, from the left, in whole units: the cuts of one piece add up to
    # exactly its height.
    with np.errstate(invalid="ignore", divide="ignore"):
        passed = np.rint(np.where(width > 0, (right - low[owner]) / width, 1.0) * length)
    last = np.ones(len(owner), dtype=bool)
    last[:-1] = owner[1:] != owner[:-1]
    end = np.where(last, length, passed)
    start = np.zeros(len(owner))
    start[1:] = np.where(last[:-1], 0.0, end[:-1])
    return (
        edges.plot[owner],
        np.floor(edges.v0).astype(np.int64)[owner],
        column.astype(np.int64),
        edges.sign[owner] * (end - start),
        (left + right) / 2 - column,
    )
