"""Parallel rows over many plots at once: how many, how long, how many holes, where the first is.

A plot is brought to metres from a point of its own and turned, so that rows run along ``s`` and
follow one another along ``d``. Each edge of the outline is cut by the rows between its two ends;
no line is drawn. Shells run one way round and holes the other, so the length of a row is a sum of
signed crossings, whatever their order:

    length = sum of sign s over the crossings of the row

Only a row that crosses the outline more than twice (a bay, a hole, several parts) has its crossings
sorted, since each of its pieces is a row of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Bools = NDArray[np.bool_]

CROSSINGS_AT_ONCE = 200_000
"""Fits a processor's cache."""
DUST = 1e-6
"""Share of a spacing, or of a hole, and metres of a row, below which a difference is one of
rounding: what lies on an edge but for the last digits falls on the same side on every machine."""


ENDS = 2
"""A row in one piece crosses the outline twice."""

FAR_M = 1e9
"""No plot is this wide: at this spacing it has one row."""


@dataclass(frozen=True)
class Layout:
    """How the rows of each plot lie; lengths as on the map, in the true metres of its scale.

    Attributes
    ----------
    bearing_deg : numpy.ndarray
        Direction of the rows from grid north, clockwise, shape (plots,) [degrees].
    side : numpy.ndarray
        1 where rows are counted towards the right of that direction, -1 towards its left, shape
        (plots,).
    spacing_m : numpy.ndarray
        From row to row, shape (plots,) [m].
    first_m : numpy.ndarray
        From the outermost point of the land to the first row, shape (plots,) [m].
    """

    bearing_deg: Floats
    side: Floats
    spacing_m: Floats
    first_m: Floats

    def take(self, plots: slice | Integers) -> Layout:
        """Give the layout of some plots.

        Parameters
        ----------
        plots : slice | numpy.ndarray
            Which.

        Returns
        -------
        Layout
            Theirs.
        """
        return Layout(
            self.bearing_deg[plots], self.side[plots], self.spacing_m[plots], self.first_m[plots]
        )


@dataclass(frozen=True)
class Land:
    """Edges of outlines, each plot in metres from its own origin.

    Attributes
    ----------
    start : numpy.ndarray
        First edge of each plot, and one past the last, shape (plots + 1,).
    xy : numpy.ndarray
        Where each edge starts, shape (edges, 2) [m].
    end : numpy.ndarray
        Where it ends, shape (edges, 2) [m].
    """

    start: Integers
    xy: Floats
    end: Floats

    @property
    def plots(self) -> int:
        """Number of plots.

        Returns
        -------
        int
            Plots, empty ones too.
        """
        return len(self.start) - 1

    @classmethod
    def of(cls, polygons: NDArray[np.object_], origin: Floats, scale: Floats) -> Land:
        """Bring outlines to their own metres.

        Parameters
        ----------
        polygons : numpy.ndarray
            Valid polygons and multi-polygons, empty ones too, shape (plots,).
        origin : numpy.ndarray
            A point near each, shape (plots, 2) [units of the map].
        scale : numpy.ndarray
            Units of the map in a metre on the ellipsoid, shape (plots,).

        Returns
        -------
        Land
            Their edges: shells anticlockwise, holes clockwise.
        """
        turned = shapely.orient_polygons(polygons)
        parts, plot_of_part = shapely.get_parts(turned, return_index=True)
        rings, part_of_ring = shapely.get_rings(parts, return_index=True)
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        plot = plot_of_part[part_of_ring][ring]
        local = (xy - origin[plot]) / scale[plot, None]
        same = ring[1:] == ring[:-1]
        counts = np.bincount(plot[:-1][same], minlength=len(polygons))
        return cls(np.append(0, np.cumsum(counts)), local[:-1][same], local[1:][same])

    def take(self, plots: slice) -> Land:
        """Give the edges of some neighbouring plots.

        Parameters
        ----------
        plots : slice
            Which, a step of one.

        Returns
        -------
        Land
            Theirs.
        """
        start = self.start[plots.start : plots.stop + 1]
        edges = slice(start[0], start[-1])
        return Land(start - start[0], self.xy[edges], self.end[edges])

    def area_m2(self) -> Floats:
        """Give the area of each plot.

        Returns
        -------
        numpy.ndarray
            Areas, shape (plots,) [m²].
        """
        twice = self.xy[:, 0] * self.end[:, 1] - self.end[:, 0] * self.xy[:, 1]
        return totals(self.owner(), twice, self.plots) / 2

    def owner(self) -> Integers:
        """Say which plot each edge is of.

        Returns
        -------
        numpy.ndarray
            Plots, shape (edges,).
        """
        return np.repeat(np.arange(self.plots), np.diff(self.start))


@dataclass(frozen=True)
class Counts:
    """What the rows of each plot come to.

    Attributes
    ----------
    rows : numpy.ndarray
        Unbroken rows of at least the shortest length, shape (plots,).
    short : numpy.ndarray
        Shorter ones, shape (plots,).
    length_m : numpy.ndarray
        Length of all of them, shape (plots,) [m].
    holes : numpy.ndarray
        Planting holes along all of them, shape (plots,).
    first : numpy.ndarray
        Number of the first row with an unbroken piece of at least the shortest length, or of the
        first with any; -1 where there is none, shape (plots,).
    """

    rows: Integers
    short: Integers
    length_m: Floats
    holes: Integers
    first: Integers


@dataclass(frozen=True)
class Pieces:
    """Unbroken rows.

    Attributes
    ----------
    plot : numpy.ndarray
        Plot of each, shape (pieces,).
    row : numpy.ndarray
        Number of its row, from 0 at the first, shape (pieces,).
    near : numpy.ndarray
        Where it starts along the row, shape (pieces,) [m].
    far : numpy.ndarray
        Where it ends, shape (pieces,) [m].
    across : numpy.ndarray
        Place of the row across rows, shape (pieces,) [m].
    """

    plot: Integers
    row: Integers
    near: Floats
    far: Floats
    across: Floats


def totals(owner: Integers, values: Floats | Integers | Bools, owners: int) -> Floats:
    """Add values up by their owner, in their order.

    Parameters
    ----------
    owner : numpy.ndarray
        Number of each value's owner, shape (values,).
    values : numpy.ndarray
        Numbers, or truth values to count, shape (values,).
    owners : int
        Number of owners.

    Returns
    -------
    numpy.ndarray
        Sums, shape (owners,).
    """
    return np.bincount(owner, weights=values, minlength=owners).astype(np.float64, copy=False)


def holes_along(length_m: Floats, hole_m: float) -> Integers:
    """Count the holes of rows: ``max(1, floor(length / spacing + 0.5))``.

    Parameters
    ----------
    length_m : numpy.ndarray
        Lengths of unbroken rows on the ground [m].
    hole_m : float
        From hole to hole [m].

    Returns
    -------
    numpy.ndarray
        Holes, at least one a row.

    Examples
    --------
    >>> holes_along(np.array([0.02, 0.14, 0.15, 10.0]), 0.1).tolist()
    [1, 1, 2, 100]
    """
    return np.maximum(1, np.floor(length_m / hole_m + (0.5 + DUST)).astype(np.int64))


def count(land: Land, layout: Layout, hole_m: float, shortest_m: float) -> Counts:
    """Count rows, metres and holes.

    Parameters
    ----------
    land : Land
        The plots, less what isn't planted.
    layout : Layout
        How their rows lie.
    hole_m : float
        From hole to hole [m].
    shortest_m : float
        Length from which a row isn't counted as short [m].

    Returns
    -------
    Counts
        One value a plot.
    """
    found = [
        _count(land.take(plots), layout.take(plots), hole_m, shortest_m)
        for plots in _batches(land, layout)
    ]
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Counts(none, none, np.zeros(0), none, none)
    return Counts(
        *(
            np.concatenate([getattr(one, name) for one in found])
            for name in ("rows", "short", "length_m", "holes", "first")
        )
    )


def pieces(land: Land, layout: Layout, every: int = 1) -> Pieces:
    """Find the ends of unbroken rows.

    Parameters
    ----------
    land : Land
        The plots, less what isn't planted.
    layout : Layout
        How their rows lie.
    every : int, default 1
        Take each row whose number this divides.

    Returns
    -------
    Pieces
        Ordered by plot, row and place along the row.
    """
    wide = Layout(layout.bearing_deg, layout.side, every * layout.spacing_m, layout.first_m)
    # Dust is a share of the true spacing, so that a thinned row lies where it does among all.
    return _ends(_cut(land, wide, DUST * layout.spacing_m), wide.spacing_m, every)


def one_row(land: Land, layout: Layout) -> Pieces:
    """Find the pieces of the first row of each plot.

    Parameters
    ----------
    land : Land
        The plots, less what isn't planted.
    layout : Layout
        How their rows lie.

    Returns
    -------
    Pieces
        Ordered by plot and place along the row; all are of row 0.
    """
    far = np.full(land.plots, FAR_M)
    alone = Layout(layout.bearing_deg, layout.side, far, layout.first_m)
    return _ends(_cut(land, alone, DUST * layout.spacing_m), far, 1)


def turn(xy: Floats, bearing_deg: Floats, side: Floats) -> tuple[Floats, Floats]:
    """Give places along and across rows.

    Parameters
    ----------
    xy : numpy.ndarray
        Points, shape (points, 2) [m].
    bearing_deg : numpy.ndarray
        Direction of the rows at each from grid north, shape (points,) [degrees].
    side : numpy.ndarray
        1 where rows are counted towards the right of it, -1 towards the left, shape (points,).

    Returns
    -------
    along : numpy.ndarray
        Along the rows, shape (points,) [m].
    across : numpy.ndarray
        Across them, in the way that they are counted, shape (points,) [m].
    """
    sine, cosine = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    x, y = xy[:, 0], xy[:, 1]
    return x * sine + y * cosine, side * (x * cosine - y * sine)


def back(along: Floats, across: Floats, bearing_deg: Floats, side: Floats) -> Floats:
    """Undo :func:`turn`.

    Parameters
    ----------
    along : numpy.ndarray
        Along the rows, shape (points,) [m].
    across : numpy.ndarray
        Across them, shape (points,) [m].
    bearing_deg : numpy.ndarray
        Direction of the rows at each from grid north, shape (points,) [degrees].
    side : numpy.ndarray
        1 where rows are counted towards the right of it, -1 towards the left, shape (points,).

    Returns
    -------
    numpy.ndarray
        Points, shape (points, 2) [m].
    """
    sine, cosine = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    right = side * across
    return np.column_stack([along * sine + right * cosine, along * cosine - right * sine])


def _batches(land: Land, layout: Layout) -> Iterator[slice]:
    """Split plots into runs of a bounded number of crossings; a plot too large comes alone."""
    x, y = np.abs(land.end - land.xy).T
    reach = totals(land.owner(), x + y, land.plots)
    ends = np.cumsum(reach / layout.spacing_m)
    begin = 0
    while begin < land.plots:
        before = ends[begin - 1] if begin else 0.0
        stop = int(np.searchsorted(ends, before + CROSSINGS_AT_ONCE, side="right"))
        stop = max(stop, begin + 1)
        yield slice(begin, stop)
        begin = stop


@dataclass(frozen=True)
class _Cut:
    """Crossings of rows with edges; rows are numbered over all plots."""

    line: Integers  # row of each crossing
    signed: Floats  # where it lies along the row, sign turned where the row enters the land [m]
    edge: Integers  # edge of each crossing
    enters: Bools  # whether rows enter the land at an edge
    crossings: Integers  # how many each row has
    line_start: Integers  # first row of each plot, and one past the last
    zero: Floats  # where row 0 of each plot lies across the rows [m]

    def owner(self) -> Integers:
        return np.repeat(np.arange(len(self.zero)), np.diff(self.line_start))

    def along(self, chosen: Bools | slice) -> Floats:
        signed = self.signed[chosen]
        return np.where(self.enters[self.edge[chosen]], -signed, signed)


def _cut(land: Land, layout: Layout, dust_m: Floats) -> _Cut:
    plot = land.owner()
    bearing, side = layout.bearing_deg[plot], layout.side[plot]
    sa, da = turn(land.xy, bearing, side)
    sb, db = turn(land.end, bearing, side)
    some = np.diff(land.start) > 0
    least, most = np.full(land.plots, np.inf), np.full(land.plots, -np.inf)
    # Every edge starts where another ends, so the starts of edges are all corners.
    least[some] = np.minimum.reduceat(da, land.start[:-1][some])
    most[some] = np.maximum.reduceat(da, land.start[:-1][some])
    zero = least + layout.first_m + dust_m
    rows = np.maximum(np.ceil((most - zero) / layout.spacing_m), 0).astype(np.int64)
    line_start = np.append(0, np.cumsum(rows))
    ua = (da - zero[plot]) / layout.spacing_m[plot]
    ub = (db - zero[plot]) / layout.spacing_m[plot]
    # A row through a corner crosses the edge above it and not the one below.
    first = np.maximum(np.ceil(np.minimum(ua, ub)), 0)
    times = np.maximum(np.ceil(np.maximum(ua, ub)) - first, 0).astype(np.int64)
    # The land lies to the left of every edge: rows counted to the right of their direction enter it
    # where an edge runs towards higher rows.
    enters = (ub > ua) == (side > 0)
    sign = np.where(enters, -1.0, 1.0)
    rise = ub - ua
    slant = np.divide(sb - sa, rise, out=np.zeros_like(rise), where=times > 0)
    line = line_start[plot] + first.astype(np.int64)
    ends = np.cumsum(times)
    step = np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - times, times)
    signed = np.repeat(sign * slant, times)
    signed *= step
    signed += np.repeat(sign * (sa + slant * (first - ua)), times)
    crossed = times > 0
    change = np.zeros(line_start[-1] + 1, dtype=np.int64)
    np.add.at(change, line[crossed], 1)
    np.subtract.at(change, (line + times)[crossed], 1)
    step += np.repeat(line, times)
    edge = np.repeat(np.arange(len(times)), times)
    return _Cut(step, signed, edge, enters, np.cumsum(change)[:-1], line_start, zero)


def _ends(cut: _Cut, spacing_m: Floats, every: int) -> Pieces:
    s = cut.along(slice(None))
    order = np.lexsort((s, cut.line))
    near, far = order[::2], order[1::2]
    long = s[far] - s[near] > DUST
    near, far = near[long], far[long]
    plot = cut.owner()[cut.line[near]]
    row = cut.line[near] - cut.line_start[plot]
    return Pieces(plot, every * row, s[near], s[far], cut.zero[plot] + row * spacing_m[plot])


def _count(land: Land, layout: Layout, hole_m: float, shortest_m: float) -> Counts:
    cut = _cut(land, layout, DUST * layout.spacing_m)
    length = totals(cut.line, cut.signed, len(cut.crossings))
    of = np.flatnonzero(cut.crossings == ENDS)
    at = length[of]
    broken = cut.crossings > ENDS
    if broken.any():
        chosen = broken[cut.line]
        lines, parts = _split(cut.line[chosen], cut.along(chosen))
        at, of = np.concatenate([at, parts]), np.concatenate([of, lines])
    real = at > DUST
    at, of = at[real], of[real]
    full = at >= shortest_m - DUST
    plot = cut.owner()[of]

    return Counts(
        totals(plot, full, land.plots).astype(np.int64),
        totals(plot, ~full, land.plots).astype(np.int64),
        totals(plot, at, land.plots),
        totals(plot, holes_along(at, hole_m), land.plots).astype(np.int64),
        _first(plot, of - cut.line_start[plot], full, land.plots),
    )


def _split(line: Integers, s: Floats) -> tuple[Integers, Floats]:
    """Part broken rows into pieces: their lines and lengths."""
    order = np.lexsort((s, line))
    near, far = order[::2], order[1::2]
    return line[near], s[far] - s[near]


def _first(plot: Integers, row: Integers, full: Bools, plots: int) -> Integers:
    """Find the first row of each plot that is long enough, else the first of any length."""
    never = np.iinfo(np.int64).max
    first, any_length = np.full(plots, never), np.full(plots, never)
    np.minimum.at(first, plot[full], row[full])
    np.minimum.at(any_length, plot, row)
    found = np.where(first < never, first, any_length)
    return np.where(found < never, found, -1)
