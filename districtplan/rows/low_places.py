"""Gaps in straight rows where water would stand, so that it can leave.

Where a hollow crosses the rows, water runs along each of them to its lowest place. There the row
is broken (:mod:`districtplan.rows.sag`). Low places of neighbouring rows lie in one line down the
hollow: a team leaves one strip of grass along it, and rows stop on each side. A hollow is looked
for only where the land bends by more than the raster's error can show: what noise makes look like
one is not broken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows import sag
from districtplan.rows.around import Around
from districtplan.rows.straight import Land, back, pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.around import Frame
    from districtplan.rows.lay import Laid
    from districtplan.rows.straight import Pieces
    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]

TABLE = "low_places"
STRAIGHT = ("straight", "any direction")
"""Methods whose rows are straight lines."""
ROUNDS_MAX = 5
"""A row that is broken is looked at again: its parts are rows too."""
POINTS_AT_ONCE = 1 << 19
ROWS_LINKED = 3
"""Rows without a low place that a hollow may pass before it counts as another."""


class LowPlaces(NamedTuple):
    """Where rows are broken.

    Attributes
    ----------
    gaps : numpy.ndarray
        Polygon of each plot's gaps in the UTM zone, None where it has none, shape (plots,).
    table : pandas.DataFrame
        ``plot_id`` and the columns made by low places, one row a plot.
    """

    gaps: Objects
    table: pd.DataFrame


def low_places(
    plots: pd.DataFrame,
    laid: Laid,
    crs: CRS,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
) -> LowPlaces:
    """Find the gaps that straight rows need.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``row_method``, ``bend_grade_pct`` and ``geometry``, the last in the CRS of the
        raster.
    laid : Laid
        The rows as they lie without gaps.
    crs : pyproj.CRS
        The UTM zone that they lie in.
    elevation : Elevation
        The raster.
    plan : Plan
        The raster's error and the section ``rows``.
    handbook : Handbook
        How surfaces are smoothed, and low places linked (table ``low_places``).

    Returns
    -------
    LowPlaces
        After which no row of these plots has a sag deeper than the plan's limit on the smoothed
        surface.
    """
    gaps = np.full(len(plots), None, dtype=object)
    broken = np.zeros(len(plots), dtype=np.int64)
    place = {plot_id: number for number, plot_id in enumerate(laid.plot_id)}
    around = Around(elevation, plan, handbook)
    deepest, width = plan.rows.sag_max_cm / 100, plan.rows.gap_width_m
    link_m = handbook.number(TABLE, "link_m")
    bent = plots["row_method"].isin(STRAIGHT) & (plots["bend_grade_pct"] > 0)
    for number in np.flatnonzero(bent):
        plot_id, outline = plots["plot_id"].iloc[number], plots["geometry"].iloc[number]
        frame, surface = around.surface(outline)
        if surface is None:
            continue
        field = _Field(laid, place[plot_id])
        ground = _Ground(frame, surface, crs)
        for _ in range(ROUNDS_MAX):
            found = field.low(ground, deepest)
            if not len(found):
                break
            broken[number] += len(found)
            field.leave(_strip(found, field.spacing_m, width, link_m))
        gaps[number] = field.gaps
    table = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy(), "broken_rows": broken})
    return LowPlaces(gaps, tables.check(table, ("plot_id", *tables.made_by("low places"))))


class _Ground(NamedTuple):
    """The surface around a plot, by places in the zone."""

    frame: Frame
    surface: Surface
    crs: CRS

    def along(self, near: Floats, far: Floats) -> Floats:
        """Give heights at evenly spread points of rows, shape (rows, points) [m]."""
        ends = shapely.multipoints(np.concatenate([near, far]))
        (moved,) = geodesy.reproject(np.array([ends], dtype=object), self.crs, self.frame.grid.crs)
        start, stop = np.split(self.frame.to(shapely.get_coordinates(moved)), 2)
        longest = float(np.hypot(*(stop - start).T).max())
        share = np.linspace(0, 1, int(np.ceil(longest / sag.STEP_M)) + 1)[None, :, None]
        xy = start[:, None] + share * (stop - start)[:, None]
        return self.surface.height(xy.reshape(-1, 2)).reshape(len(start), -1)


class _Field:
    """The rows of one plot, in metres along (s) and across (d) them."""

    def __init__(self, laid: Laid, place: int) -> None:
        self._at = slice(place, place + 1)
        self._origin, self._scale = laid.origin[self._at], laid.scale[self._at]
        self._layouts = [layout.take(self._at) for _, layout in laid.layouts]
        self._land = laid.polygons[place]
        self.gaps: shapely.Geometry | None = None
        self.spacing_m = min(float(layout.spacing_m[0]) for layout in self._layouts)

    def low(self, ground: _Ground, deepest: float) -> Floats:
        """Give low places of all rows, by place across them, shape (places, 2) [m]."""
        land = Land.of(np.array([self._land], dtype=object), self._origin, self._scale)
        parts = [self._low(pieces(land, layout), ground, deepest) for layout in self._layouts]
        found = np.concatenate(parts)
        return found[np.lexsort(found.T)]

    def leave(self, strip: shapely.Geometry) -> None:
        """Leave a strip, in metres along and across rows, unplanted."""
        there = shapely.transform(strip, self._zone)
        self.gaps = there if self.gaps is None else shapely.union(self.gaps, there)
        self._land = shapely.difference(self._land, there)

    def _zone(self, sd: Floats) -> Floats:
        layout = self._layouts[0]
        many = np.zeros(len(sd), dtype=np.int64)
        local = back(sd[:, 0], sd[:, 1], layout.bearing_deg[many], layout.side[many])
        return np.asarray(self._origin + self._scale * local)

    def _low(self, rows: Pieces, ground: _Ground, deepest: float) -> Floats:
        found = [np.zeros((0, 2))]
        reach = float((rows.far - rows.near).max(initial=0.0))
        at_once = max(int(POINTS_AT_ONCE * sag.STEP_M / max(reach, sag.STEP_M)), 1)
        for first in range(0, len(rows.row), at_once):
            some = slice(first, first + at_once)
            near, far, across = rows.near[some], rows.far[some], rows.across[some]
            ends = [self._zone(np.column_stack([s, across])) for s in (near, far)]
            heights = ground.along(*ends)
            last = heights.shape[1] - 1
            for row in np.flatnonzero(sag.depth(heights).max(axis=1) > deepest):
                share = np.array(sag.breaks(heights[row], deepest)) / last
                s = near[row] + share * (far[row] - near[row])
                found.append(np.column_stack([s, np.full(len(s), across[row])]))
        return np.concatenate(found)


def _strip(found: Floats, spacing_m: float, width_m: float, link_m: float) -> shapely.Geometry:
    """Draw one strip through the low places of neighbouring rows.

    Parameters
    ----------
    found : numpy.ndarray
        Places along and across rows, by place across, shape (places, 2) [m].
    spacing_m : float
        Distance of rows [m].
    width_m : float
        Width of a strip [m].
    link_m : float
        How far apart along the rows places of one hollow may lie [m].

    Returns
    -------
    shapely.Geometry
        The strips, which end halfway to the next row.
    """
    chains: list[list[Floats]] = []
    for place in found:
        fits = [
            (abs(place[0] - chain[-1][0]), number)
            for number, chain in enumerate(chains)
            if 0 < place[1] - chain[-1][1] <= (ROWS_LINKED + 1 / 2) * spacing_m
            and abs(place[0] - chain[-1][0]) <= link_m
        ]
        if fits:
            chains[min(fits)[1]].append(place)
        else:
            chains.append([place])
    half = np.array([0.0, spacing_m / 2])
    lines = [shapely.LineString([chain[0] - half, *chain, chain[-1] + half]) for chain in chains]
    wide = shapely.buffer(lines, width_m / 2, cap_style="flat", join_style="mitre")
    return shapely.union_all(wide)
