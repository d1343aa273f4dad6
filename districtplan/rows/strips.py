"""Land beside flow lines that rows keep clear of, where the ground shows the water's way."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.rows.around import Around
from districtplan.rows.hollows import Limits, lowest
from districtplan.rows.kept import Kept

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Objects = NDArray[np.object_]

TABLE = "flow_limits"
DRAWN = ("stream", "waterway")
"""Features whose own land stands in for a strip."""
NOT_PLACED = shapely.Polygon()
"""Stands for a strip that is there, but nobody knows where."""
CORNERS = 4
"""Sides of a quarter of a round end."""


class Running(NamedTuple):
    """Where water runs.

    Attributes
    ----------
    lines : numpy.ndarray
        Flow lines in the zone, shape (lines,).
    drawn : numpy.ndarray
        Land of streams and waterways that were drawn, in the zone, shape (features,).
    crs : pyproj.CRS
        The zone.
    """

    lines: Objects
    drawn: Objects
    crs: CRS


def strips(
    plots: pd.DataFrame,
    ground: pd.DataFrame,
    running: Running,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
) -> Objects:
    """Give the strip along flow lines in each plot.

    Flow lines go from cell to cell in eight directions, and may run beside the valley for long. So
    the ground is looked at on cross-sections: a strip is placed only where half a cell is within
    the plan's limit, and a hollow that stands out of the stated error lies within it of the line.
    Its middle is the lowest line of the hollow. Where a stream or waterway is drawn, that stands in
    for the strips beside it.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha``, ``longitude_deg``, ``latitude_deg`` and ``geometry``, the last in
        the UTM zone.
    ground : pandas.DataFrame
        ``plot_id``, ``cells`` and ``raster_share`` of the same plots.
    running : Running
        Where water runs.
    elevation : Elevation
        The raster.
    plan : Plan
        Its sections ``water`` and ``elevation``.
    handbook : Handbook
        What makes a hollow (table ``flow_limits``).

    Returns
    -------
    numpy.ndarray
        Polygons, shape (plots,): None where no flow line runs, empty where one does that can't be
        placed.
    """
    found = np.full(len(plots), None, dtype=object)
    reach = plan.water.strip_place_max_m
    place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    half = plan.water.strip_width_m / 2 * geodesy.point_scale(running.crs, *place)
    outlines = plots["geometry"].to_numpy(dtype=object)
    plot, line = shapely.STRtree(running.lines).query(
        outlines, predicate="dwithin", distance=half + reach
    )
    fine = half_cell_m(plots, ground) <= reach
    drawn = shapely.STRtree(running.drawn)
    around = Around(Kept(elevation), plan, handbook)
    order = np.lexsort((line, plot))
    touched, first = np.unique(plot[order], return_index=True)
    lines = np.split(line[order], first)[1:]
    share = handbook.number(TABLE, "hollow_share_min")
    looked = _Looked(around, running.crs, elevation.grid.crs, limits(plan, handbook), share)
    on_raster = geodesy.reproject(outlines[touched], running.crs, elevation.grid.crs)
    for at in around.order(on_raster).tolist():
        one = touched[at]
        beside = drawn.query(outlines[one], predicate="dwithin", distance=2 * (half[one] + reach))
        near = _Near(
            outlines[one],
            on_raster[at],
            running.lines[np.sort(lines[at])],
            running.drawn[beside],
            half[one],
            fine[one],
        )
        found[one] = looked.strip(near)
    return found


def limits(plan: Plan, handbook: Handbook) -> Limits:
    """Gather what makes a hollow.

    Parameters
    ----------
    plan : Plan
        How far from a flow line it may be.
    handbook : Handbook
        How steep its sides are (table ``flow_limits``).

    Returns
    -------
    Limits
        The limits.
    """
    of = handbook.numbers(TABLE)
    side = of["hollow_side_min_pct"] / 100
    return Limits(plan.water.strip_place_max_m, side, of["hollow_sigmas"])


def half_cell_m(plots: pd.DataFrame, ground: pd.DataFrame) -> Floats:
    """Tell how far the raster's cells alone leave open where something lies.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``area_ha``.
    ground : pandas.DataFrame
        ``plot_id``, ``cells`` and ``raster_share`` of the same plots.

    Returns
    -------
    numpy.ndarray
        Half a cell, shape (plots,) [m].
    """
    ground = ground.set_index("plot_id").loc[plots["plot_id"]]
    covered = 10_000 * plots["area_ha"].to_numpy() * ground["raster_share"].to_numpy()
    half: Floats = np.sqrt(covered / ground["cells"].to_numpy()) / 2
    return half


class _Near(NamedTuple):
    """A plot, and the water near it, in the zone; the plot on the raster too."""

    outline: shapely.Geometry
    on_raster: shapely.Polygon | shapely.MultiPolygon
    lines: Objects
    drawn: Objects
    half: float
    fine: np.bool_


class _Looked(NamedTuple):
    around: Around
    zone: CRS
    raster: CRS
    limits: Limits
    share: float

    def strip(self, near: _Near) -> shapely.Geometry | None:
        """Give the strip in one plot, nothing where no line runs but one that is drawn."""
        reach, land = self.limits.reach_m, shapely.buffer(near.outline, near.half)
        lines = near.lines
        if len(near.drawn):
            taken = shapely.buffer(shapely.union_all(near.drawn), near.half + reach)
            lines = shapely.difference(lines, taken)
        middles, lost = self._middles(near, lines, land)
        if not middles:
            return NOT_PLACED if shapely.intersects(lost, land).any() else None
        strip = shapely.union_all(shapely.buffer(middles, near.half, quad_segs=CORNERS))
        if shapely.intersects(_apart(lost, shapely.buffer(strip, reach)), land).any():
            return NOT_PLACED
        if not shapely.intersects(strip, near.outline):
            return None
        # Between strips nearer to one another than a strip is wide no row has room.
        return shapely.buffer(shapely.buffer(strip, near.half), -near.half)

    def _middles(
        self, near: _Near, lines: Objects, land: shapely.Geometry
    ) -> tuple[list[shapely.LineString], Objects]:
        """Give the lowest lines of hollows, and the flow lines that lie in none."""
        if not near.fine or self.limits.reach_m == 0:
            return [], lines
        frame, surface = self.around.surface(near.on_raster)
        if surface is None:
            return [], lines
        # A flow line may be kilometres long: only what is near the plot is looked at.
        wide = 2 * (near.half + self.limits.reach_m)
        near_by = shapely.intersection(lines, shapely.envelope(shapely.buffer(land, wide)))
        joined = shapely.line_merge(shapely.union_all(shapely.unary_union(near_by)))
        parts = shapely.get_parts(joined)
        parts = parts[shapely.get_dimensions(parts) == 1]
        moved = geodesy.reproject(np.asarray(parts, dtype=object), self.zone, self.raster)
        found, lost = [], []
        for part, there in zip(parts, moved, strict=True):
            on, low, known = lowest(shapely.transform(there, frame.to), surface, self.limits)
            if not known.any():
                lost.append(part)
                continue
            on, low = np.split(self._back(frame.back(np.concatenate([on, low]))), 2)
            inside = _within(land, on) | _within(land, low)
            share = known[inside].mean() if inside.any() else 0.0
            if share >= self.share:
                found.append(shapely.LineString(low[_within(shapely.buffer(land, wide), low)]))
            else:
                lost.append(part)
        return found, np.array(lost, dtype=object)

    def _back(self, xy: Floats) -> Floats:
        # One shape holds them all: a line is made much faster than so many points.
        line = np.array([shapely.linestrings(xy)], dtype=object)
        return np.asarray(shapely.get_coordinates(geodesy.reproject(line, self.raster, self.zone)))


def _within(land: shapely.Geometry, xy: Floats) -> Bools:
    return np.asarray(shapely.intersects_xy(land, xy[:, 0], xy[:, 1]))


def _apart(lost: Objects, beside: shapely.Geometry) -> Objects:
    """Leave out lines that run into a strip: on even land water comes to it all along."""
    while len(lost):
        joins = shapely.intersects(lost, beside)
        if not joins.any():
            break
        beside, lost = shapely.union_all(lost[joins]), lost[~joins]
    return lost
