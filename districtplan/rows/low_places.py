"""Gaps in straight rows where water would stand, so that it can leave.

Where a hollow crosses the rows, water runs along each of them to its lowest place. There the row
is broken (:mod:`districtplan.rows.sag`). Low places of neighbouring rows lie in one line down the
hollow: a team leaves one strip of grass along it, and rows stop on each side. A hollow is looked
for only where the land bends by more than the raster's error can show: what noise makes look like
one is not broken.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows import walk
from districtplan.rows.around import Around
from districtplan.rows.kept import Kept
from districtplan.rows.straight import Land, back, pieces

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.around import Frame
    from districtplan.rows.lay import Laid
    from districtplan.rows.straight import Layout, Pieces
    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

TABLE = "low_places"
LOW_PLACE_FLAGS = ("sag_left",)
"""What ``low_place_flags`` may hold."""
STRAIGHT = ("straight", "any direction")
"""Methods whose rows are straight lines."""
ROUNDS_MAX = 5
"""A row that is broken is looked at again: its parts are rows too. After the last round rows are
looked at once more, and plots where a deeper sag is left are told."""
PLOTS_AT_ONCE = 256
CELLS_AT_ONCE = 1 << 18
"""Heights around the plots that are worked together; their cubics take sixteen numbers each."""
THREADS = 2
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
        surface, but for those that are flagged.
    """
    bent = plots["row_method"].isin(STRAIGHT) & (plots["bend_grade_pct"] > 0)
    numbers = np.flatnonzero(bent)
    place = pd.Index(laid.plot_id).get_indexer(pd.Index(plots["plot_id"][bent]))
    outlines = plots["geometry"].to_numpy(dtype=object)[numbers]
    asked = _Asked(
        laid,
        crs,
        plan.rows.sag_max_cm / 100,
        plan.rows.gap_width_m,
        handbook.number(TABLE, "link_m"),
    )
    gaps = np.full(len(plots), None, dtype=object)
    broken = np.zeros(len(plots), dtype=np.int64)
    flags = np.empty(len(plots), dtype=object)
    flags[:] = [()] * len(plots)
    with ThreadPoolExecutor(THREADS) as pool:
        waiting: deque[Future[_Broken]] = deque()

        def take(most: int) -> None:
            while len(waiting) > most:
                done = waiting.popleft().result()
                gaps[numbers[done.of]], broken[numbers[done.of]] = done.gaps, done.breaks
                for number in numbers[done.of[done.left]]:
                    flags[number] = LOW_PLACE_FLAGS

        around = Around(Kept(elevation), plan, handbook)
        for of, frames, surfaces in _batches(outlines, around):
            waiting.append(pool.submit(_work, of, _Field.of(asked, place[of]), frames, surfaces))
            take(THREADS)
        take(0)
    table = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy(), "row_breaks": broken})
    table["low_place_flags"] = flags
    return LowPlaces(gaps, tables.check(table, ("plot_id", *tables.made_by("low places"))))


class _Asked(NamedTuple):
    """What is the same for all plots; depth, width and distance in metres."""

    laid: Laid
    crs: CRS
    deepest: float
    width: float
    link: float


def _batches(
    outlines: Objects, around: Around
) -> Iterator[tuple[Integers, list[Frame], list[Surface]]]:
    """Smooth the heights around plots, neighbours together; those of too few heights are left."""
    of: list[int] = []
    frames: list[Frame] = []
    surfaces: list[Surface] = []
    cells = 0
    for number in around.order(outlines).tolist():
        frame, surface = around.surface(outlines[number])
        if surface is None:
            continue
        of.append(number)
        frames.append(frame)
        surfaces.append(surface)
        cells += surface.heights.z.size
        if len(of) == PLOTS_AT_ONCE or cells > CELLS_AT_ONCE:
            yield np.array(of), frames, surfaces
            of, frames, surfaces, cells = [], [], [], 0
    if of:
        yield np.array(of), frames, surfaces


class _Broken(NamedTuple):
    """What was broken of some plots."""

    of: Integers  # the plots
    gaps: Objects
    breaks: Integers  # how many were made
    left: Integers  # places of those in which a deeper sag is left


def _work(of: Integers, field: _Field, frames: list[Frame], surfaces: list[Surface]) -> _Broken:
    """Break the rows of some plots."""
    ground = walk.Ground.of(surfaces)
    broken = np.zeros(len(of), dtype=np.int64)
    wet = np.arange(len(of))
    plot, places = field.low(wet, frames, ground)
    for _ in range(ROUNDS_MAX):
        if not len(plot):
            break
        count = np.bincount(plot, minlength=len(of))
        broken += count
        wet = np.flatnonzero(count)
        field.leave(wet, field.strips(plot, places))
        plot, places = field.low(wet, frames, ground)
    return _Broken(of, field.gaps, broken, np.unique(plot))


@dataclass
class _Field:
    """The rows of some plots, in metres along (s) and across (d) them."""

    asked: _Asked
    origin: Floats
    scale: Floats
    layouts: list[Layout]
    land: Objects
    gaps: Objects

    @classmethod
    def of(cls, asked: _Asked, place: Integers) -> _Field:
        """Take those that lie at some places among what was laid."""
        laid = asked.laid
        return cls(
            asked,
            laid.origin[place],
            laid.scale[place],
            [layout.take(place) for _, layout in laid.layouts],
            laid.polygons[place],
            np.full(len(place), None, dtype=object),
        )

    def low(
        self, wet: Integers, frames: list[Frame], ground: walk.Ground
    ) -> tuple[Integers, Floats]:
        """Give low places of all rows of some plots, by plot and place across, with their plots."""
        land = Land.of(self.land[wet], self.origin[wet], self.scale[wet])
        found = [
            self._low(wet, pieces(land, layout.take(wet)), frames, ground)
            for layout in self.layouts
        ]
        plot, places = (np.concatenate(part) for part in zip(*found, strict=True))
        order = np.lexsort((*places.T, plot))
        return plot[order], places[order]

    def _low(
        self, wet: Integers, rows: Pieces, frames: list[Frame], ground: walk.Ground
    ) -> tuple[Integers, Floats]:
        plot = wet[rows.plot]
        if not len(plot):
            return plot, np.zeros((0, 2))
        ends = np.concatenate(
            [self._zone(np.column_stack([s, rows.across]), plot) for s in (rows.near, rows.far)]
        )
        # One shape holds them all: a line is made much faster than so many points.
        line = np.array([shapely.linestrings(ends)], dtype=object)
        moved = geodesy.reproject(line, self.asked.crs, frames[0].grid.crs)
        xy = shapely.get_coordinates(moved).reshape(2, -1, 2)
        first = np.searchsorted(rows.plot, np.arange(len(wet) + 1))
        for one, start, stop in zip(wet, first[:-1], first[1:], strict=True):
            there = xy[:, start:stop]
            there[:] = frames[one].to(there.reshape(-1, 2)).reshape(there.shape)
        row, share = walk.lows(ground, plot, xy[0], xy[1], self.asked.deepest)
        s = rows.near[row] + share * (rows.far[row] - rows.near[row])
        return plot[row], np.column_stack([s, rows.across[row]])

    def strips(self, plot: Integers, places: Floats) -> Objects:
        """Draw strips through low places of neighbouring rows, which end halfway to the next row.

        Parameters
        ----------
        plot : numpy.ndarray
            Plot of each place, in order, shape (places,).
        places : numpy.ndarray
            Places along and across rows, by place across, shape (places, 2) [m].

        Returns
        -------
        numpy.ndarray
            The strips in the zone of each plot that has places, shape (such plots,).
        """
        apart = np.min([layout.spacing_m for layout in self.layouts], axis=0)
        chain = walk.chains(plot, places, (ROWS_LINKED + 1 / 2) * apart, self.asked.link)
        order = np.argsort(chain, kind="stable")
        chain, plot, places = chain[order], plot[order], places[order]
        first = np.flatnonzero(np.diff(chain, prepend=-1))
        last = np.append(first[1:], len(chain)) - 1
        half = np.column_stack([np.zeros(len(first)), apart[plot[first]] / 2])
        at = np.concatenate([places[first] - half, places, places[last] + half])
        order = np.argsort(np.concatenate([chain[first], chain, chain[last]]), kind="stable")
        lines = shapely.linestrings(
            at[order], indices=np.repeat(np.arange(len(first)), last - first + 3)
        )
        wide = shapely.buffer(lines, self.asked.width / 2, cap_style="flat", join_style="mitre")
        begin = np.flatnonzero(np.diff(plot[first], prepend=-1))
        joined = np.empty(len(begin), dtype=object)
        parts = np.split(np.asarray(wide, dtype=object), begin[1:])
        joined[:] = [shapely.union_all(part) for part in parts]
        of = plot[first][begin]
        xy, strip = shapely.get_coordinates(joined, return_index=True)
        return np.asarray(shapely.set_coordinates(joined, self._zone(xy, of[strip])), dtype=object)

    def leave(self, wet: Integers, strips: Objects) -> None:
        """Leave strips unplanted."""
        before = self.gaps[wet]
        bare = shapely.is_missing(before)
        # The union with nothing is nothing.
        self.gaps[wet] = np.where(bare, strips, shapely.union(before, strips))
        self.land[wet] = shapely.difference(self.land[wet], strips)

    def _zone(self, sd: Floats, plot: Integers) -> Floats:
        layout = self.layouts[0]
        local = back(sd[:, 0], sd[:, 1], layout.bearing_deg[plot], layout.side[plot])
        return np.asarray(self.origin[plot] + self.scale[plot, None] * local)
