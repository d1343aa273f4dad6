"""Rows, guide lines and pegs that were laid out before, by plot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from districtplan.geodesy import reproject
from districtplan.outputs.sheets.outline import in_degrees
from districtplan.rows import STANDING
from districtplan.terrain import READING_FLAGS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.outputs.sheets.outline import Rows
    from districtplan.results import Results
    from districtplan.rows import Walk

QUARTER_TURN = 90
PEGS_PRINTED_MAX = 120
"""Most pegs on a sheet, three pages of them: nobody carries more up a hillside."""
BELT, STRIP, LOW_PLACE = "belt", "flow strip", "low place"
"""What rows keep clear of besides features."""
TAKEN_MIN_M2 = 0.5
"""Smaller pieces of land without rows are not drawn [m²]."""
CORNER_DEG = ("start_corner_longitude_deg", "start_corner_latitude_deg")
DEGREES = CRS.from_epsg(4326)


@dataclass(frozen=True)
class Found:
    """What was laid out on one plot; None where nothing was.

    Attributes
    ----------
    rows : pandas.DataFrame | None
        ``crop``, ``row`` (its number in the plot among those of its crop) and ``geometry``.
    guides : pandas.DataFrame | None
        ``line``, the columns made by guide lines and ``geometry``, the guide lines.
    boundaries : pandas.DataFrame | None
        ``geometry``, the lines between parts that have an arc each.
    starts : pandas.DataFrame | None
        The same as of ``guides``, of lines whose course the team finds; ``geometry`` is where they
        start.
    pegs : pandas.DataFrame | None
        ``number`` (through all lines of the plot), ``line``, the columns made by pegs and
        ``geometry``, in the order of walking.
    corners : pandas.DataFrame | None
        ``letter``, ``xy`` (as ties have it) and ``geometry``, corners that lines are measured from.
    start_corners : pandas.DataFrame | None
        The same as of ``corners``, of lines whose course the team finds; ``xy`` in degrees.
    taken : pandas.DataFrame | None
        ``kind`` and ``geometry`` of land in it that has no rows.
    walks : tuple[tuple[int, Walk], ...]
        Lines as they are set out, and their numbers.
    every : int
        One row in so many was drawn.
    """

    rows: pd.DataFrame | None = None
    guides: pd.DataFrame | None = None
    boundaries: pd.DataFrame | None = None
    starts: pd.DataFrame | None = None
    pegs: pd.DataFrame | None = None
    corners: pd.DataFrame | None = None
    start_corners: pd.DataFrame | None = None
    taken: pd.DataFrame | None = None
    walks: tuple[tuple[int, Walk], ...] = ()
    every: int = 1


@dataclass(frozen=True)
class Plot:
    """A plot on its way to a sheet.

    Attributes
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.
    kind : str
        excluded, later, measure, any, compass, guide or level: how its rows are set out.
    shape : shapely.Geometry
        Its outline in metres about its middle.
    fall_deg : float
        Which way it, or the hillside around, falls, from true north; NaN where it isn't known
        [degrees].
    ends : numpy.ndarray
        Its corners: lower left, lower right, upper right, upper left, shape (4, 2) [m].
    rows : Rows
        Rows of beans drawn.
    maize : Rows
        Rows of maize drawn.
    found : Found
        What was laid out before, in metres.
    """

    row: Mapping[str, Any]
    kind: str
    shape: shapely.Geometry
    fall_deg: float
    ends: NDArray[np.float64]
    rows: Rows
    maize: Rows
    found: Found

    @property
    def pegs(self) -> pd.DataFrame | None:
        """Give the pegs of lines that are to be set out, as many as a sheet prints.

        Returns
        -------
        pandas.DataFrame | None
            Those of the first lines, none of which is cut unless it is the only one; None where
            there are none.
        """
        pegs = self.found.pegs
        if pegs is None or self.kind not in {"compass", "level", "guide"}:
            return None
        if len(pegs) <= PEGS_PRINTED_MAX:
            return pegs
        first, cut = pegs.iloc[:PEGS_PRINTED_MAX], pegs["line"].iloc[PEGS_PRINTED_MAX]
        whole = first[first["line"] != cut]
        return whole if len(whole) else first

    @property
    def left_out(self) -> int:
        """Count the pegs that are to be set and aren't printed.

        Returns
        -------
        int
            How many.
        """
        if self.pegs is None or self.found.pegs is None:
            return 0
        return len(self.found.pegs) - len(self.pegs)

    @property
    def doubted(self) -> bool:
        """Tell whether what was read here and the raster disagree, so that it is read again.

        Returns
        -------
        bool
            Whether they do.
        """
        return self.kind == "compass" and not set(READING_FLAGS).isdisjoint(
            self.row["terrain_flags"]
        )

    @property
    def starts(self) -> pd.DataFrame | None:
        """Give the lines whose course the team finds with a level.

        Returns
        -------
        pandas.DataFrame | None
            As found; None where there are none.
        """
        return self.found.starts if self.kind == "guide" and self.pegs is None else None

    @property
    def stands(self) -> bool:
        """Tell whether structures that stand there are the lines, so that nothing is pegged.

        Returns
        -------
        bool
            Whether they are.
        """
        return self.kind == "guide" and self.row["guide_kind"] == STANDING

    @property
    def rings(self) -> tuple[tuple[float, float], ...]:
        """Give the places where rows along lines are broken; of straight ones strips are drawn.

        Returns
        -------
        tuple[tuple[float, float], ...]
            East and north of each, of rows drawn [m].
        """
        broken = self.kind == "guide" and self.row["row_breaks"] > 0
        return (*self.rows.breaks, *self.maize.breaks) if broken else ()

    @property
    def fall_pct(self) -> float:
        """Give the fall that rows and lines are to have.

        Returns
        -------
        float
            Percent; 0 where they are level.
        """
        design = self.row["row_grade_design_pct"]
        falls = self.kind in {"compass", "level", "guide"} and not self.stands
        return float(design) if falls and design > 0 else 0.0


def by_plot(results: Results, wanted: set[str]) -> dict[str, Found]:
    """Sort what was laid out by plot.

    Parameters
    ----------
    results : Results
        The run.
    wanted : set[str]
        Ids of the plots asked for.

    Returns
    -------
    dict[str, Found]
        What there is, by id, in degrees; plots without anything are left out.
    """
    rows, guides, pegs = results.row_lines.lines, results.guides.lines, results.pegs.table
    begun = guides[guides["geometry"].isna()]
    place = begun["start_longitude_deg"], begun["start_latitude_deg"]
    begun = begun.assign(geometry=np.asarray(shapely.points(*place), dtype=object))
    tables = {
        "rows": (rows, results.grid_crs),
        "guides": (guides[guides["geometry"].notna()], results.guides.crs),
        "boundaries": (results.guides.boundaries, results.guides.crs),
        "starts": (begun, DEGREES),
        "pegs": (pegs, results.grid_crs),
        "corners": (_corners(results, wanted), results.grid_crs),
        "start_corners": (_start_corners(begun, wanted), DEGREES),
        "taken": (_taken(results, wanted), results.grid_crs),
    }
    found: dict[str, dict[str, Any]] = {}
    for kind, (table, crs) in tables.items():
        here = table[table["plot_id"].isin(wanted)]
        here = here.assign(geometry=in_degrees(here["geometry"].to_numpy(dtype=object), crs))
        for plot_id, part in here.groupby("plot_id", sort=False):
            found.setdefault(str(plot_id), {})[kind] = part.reset_index(drop=True)
    for (plot_id, number), walk in results.pegs.walks.items():
        if plot_id in found:
            found[plot_id].setdefault("walks", []).append((number, walk))
    return {plot_id: _found(parts, results.row_lines.every) for plot_id, parts in found.items()}


def _corners(results: Results, wanted: set[str]) -> pd.DataFrame:
    """List the corners that lines are measured from, lettered plot by plot."""
    named = dict.fromkeys(
        (plot_id, end.corner_xy)
        for (plot_id, _), walk in results.pegs.walks.items()
        if plot_id in wanted
        for end in walk.ties
    )
    return _lettered(pd.DataFrame(list(named), columns=["plot_id", "xy"]))


def _start_corners(begun: pd.DataFrame, wanted: set[str]) -> pd.DataFrame:
    """List the corners that lines found on the ground start from, lettered plot by plot."""
    mine = begun[begun["plot_id"].isin(wanted)]
    named = mine[["plot_id", *CORNER_DEG]].drop_duplicates()
    places = list(zip(*(named[name].tolist() for name in CORNER_DEG), strict=True))
    return _lettered(pd.DataFrame({"plot_id": named["plot_id"].to_numpy(), "xy": places}))


def _lettered(table: pd.DataFrame) -> pd.DataFrame:
    letters = [chr(ord("A") + place) for place in table.groupby("plot_id").cumcount()]
    points = np.array([shapely.Point(xy) for xy in table["xy"]], dtype=object)
    return table.assign(letter=letters, geometry=points)


def _taken(results: Results, wanted: set[str]) -> pd.DataFrame:
    """List what rows keep clear of in the plots asked for."""
    at = np.flatnonzero(results.plots["plot_id"].isin(wanted))
    plots = results.plots.iloc[at]
    outlines = reproject(plots["geometry"].to_numpy(), results.plots_crs, results.grid_crs)
    clear, kinds = results.row_lines.clear, results.features.used["kind"].tolist()
    plot, feature = shapely.STRtree(clear.features).query(outlines, predicate="intersects")
    known = np.array([*kinds, *[BELT] * (len(clear.features) - len(kinds))], dtype=object)
    there = [(plot, known[feature], clear.features[feature])]
    for kind, drawn in ((STRIP, clear.strips), (LOW_PLACE, clear.gaps)):
        if drawn is not None:
            some = np.flatnonzero(~(shapely.is_missing(drawn[at]) | shapely.is_empty(drawn[at])))
            there.append((some, np.full(len(some), kind, dtype=object), drawn[at][some]))
    where, what, shapes = (np.concatenate(parts) for parts in zip(*there, strict=True))
    inside = np.asarray(shapely.intersection(outlines[where], shapes), dtype=object)
    large = shapely.area(inside) >= TAKEN_MIN_M2
    table = {"plot_id": plots["plot_id"].to_numpy()[where], "kind": what, "geometry": inside}
    return pd.DataFrame(table)[large].reset_index(drop=True)


def _found(parts: dict[str, Any], every: int) -> Found:
    walks = tuple(parts.pop("walks", ()))
    if "pegs" in parts:
        parts["pegs"] = parts["pegs"].assign(number=range(1, len(parts["pegs"]) + 1))
    return Found(**parts, walks=walks, every=every)


def first_turn(bearing_deg: float, towards_deg: float) -> float:
    """Choose the end of a line that points the way one walks.

    Parameters
    ----------
    bearing_deg : float
        Bearing of the line, either end [degrees].
    towards_deg : float
        Direction of walking [degrees].

    Returns
    -------
    float
        The bearing or its other end, 0 to 360 [degrees].
    """
    turn = (bearing_deg - towards_deg + 180) % 360 - 180
    ahead = bearing_deg if abs(turn) <= QUARTER_TURN else bearing_deg + 180
    return float(ahead % 360)
