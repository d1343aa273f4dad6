"""Control pegs of a district: of one row a plot with straight rows, and of the guide lines.

The row is the first long one, counted downhill: the very first may be a few metres in a corner, and
rows laid beside so short a line would go astray. A line on the contour is designed level, so that
its drops are 0, whatever the raster says. Rows and guide lines that are to fall to a safe end are
set out from their high end, each peg lower than the last by the design; where they must fall and
no safe end is known they aren't pegged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows.corner import tie
from districtplan.rows.drain import EITHER, SIDES
from districtplan.rows.guides import OF_GUIDES
from districtplan.rows.ladder import STANDING
from districtplan.rows.setting_out import TABLE, Course, Rules, Site, set_out

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.guides import Guides
    from districtplan.rows.setting_out import Walk

    Objects = NDArray[np.object_]

METHOD, BEANS = "straight", "beans"
LEVEL_PCT = 0.0
"""Grade of lines on the contour [%]."""


@dataclass(frozen=True)
class Pegs:
    """Lines of a district as they are set out.

    Attributes
    ----------
    table : pandas.DataFrame
        ``plot_id``, ``line``, the columns made by pegs and ``geometry`` in the UTM zone; one row a
        peg, in the order of walking, rows before guide lines.
    walks : Mapping[tuple[str, int], Walk]
        The lines by plot and number, in the same order.
    """

    table: pd.DataFrame
    walks: Mapping[tuple[str, int], Walk]


class Rows(NamedTuple):
    """Rows as lines.

    Attributes
    ----------
    table : pandas.DataFrame
        ``plot_id``, ``crop``, ``row``, ``length_m`` and ``geometry``.
    crs : pyproj.CRS
        The UTM zone.
    """

    table: pd.DataFrame
    crs: CRS


@dataclass(frozen=True)
class _Line:
    """A line on its way to be set out: its plot and number, its course, pegs that stand already.

    The grade is that of the design, 0 or a fall from the start [%].
    """

    plot_id: str
    number: int
    course: shapely.LineString
    pegs: pd.DataFrame | None
    grade_pct: float = LEVEL_PCT


def control_pegs(
    plots: pd.DataFrame, lines: Rows, guides: Guides, plan: Plan, handbook: Handbook
) -> Pegs:
    """Set out a row of some plots, and the guide lines of all that have any.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots of which a row is wanted and those with guide lines: ``plot_id``,
        ``longitude_deg``, ``latitude_deg``, ``declination_deg``, ``slope_used_pct``,
        ``downslope_true_deg``, ``row_method``, ``row_grade_design_pct``, ``row_fall_to`` and
        ``geometry``, the last in the UTM zone.
    lines : Rows
        Rows of the district, and their CRS, the UTM zone.
    guides : Guides
        Its guide lines.
    plan : Plan
        From peg to peg.
    handbook : Handbook
        Bends and errors (table ``setting_out``).

    Returns
    -------
    Pegs
        The pegs.
    """
    rules = Rules.of(plan, handbook)
    share, zone = handbook.number(TABLE, "row_share_min"), lines.crs
    sites = Site.each(plots, zone)
    laid = (plots["row_method"] == METHOD) & plots["row_grade_design_pct"].notna()
    straight = plots[laid].set_index("plot_id")
    chosen = first_long(lines.table[lines.table["plot_id"].isin(straight.index)], share)
    # Where the soil drains poorly a line without a fall is none to peg.
    level = tables.drains_poorly(plots, plan.soil.drainage) & plots["row_grade_design_pct"].isna()
    known = plots.loc[~level, "plot_id"]
    found = [*_rows(chosen, straight, sites), *_drawn(guides, set(known), zone)]
    named = [(line.plot_id, line.number) for line in found]
    set_up = [_course(line, sites[line.plot_id]) for line in found]
    walks = dict(zip(named, set_out(set_up, zone, rules), strict=True))
    return Pegs(_table(found, list(walks.values())), walks)


def first_long(lines: pd.DataFrame, share: float) -> pd.DataFrame:
    """Choose the first row of each plot that is long.

    Parameters
    ----------
    lines : pandas.DataFrame
        ``plot_id``, ``crop``, ``row`` and ``length_m``, one row a piece of a row.
    share : float
        Least length as a share of the plot's longest row.

    Returns
    -------
    pandas.DataFrame
        One row a plot, of beans, in the order of the plots.
    """
    beans = lines[lines["crop"] == BEANS]
    enough = share * beans.groupby("plot_id")["length_m"].transform("max")
    long = beans[beans["length_m"] >= enough].sort_values("row", kind="stable")
    return long.drop_duplicates("plot_id").sort_index()


def _rows(chosen: pd.DataFrame, plots: pd.DataFrame, sites: dict[str, Site]) -> list[_Line]:
    design = plots.loc[chosen["plot_id"], ["row_grade_design_pct", "row_fall_to"]]
    found = []
    for (plot_id, grade, end), course in zip(
        design.itertuples(name=None), chosen["geometry"], strict=True
    ):
        site = sites[plot_id]
        start = _from_corner(course, site)
        if grade > LEVEL_PCT and end != EITHER:
            start = _falling_to(end, start, site)
        found.append(_Line(plot_id, 1, start, None, grade))
    return found


def _falling_to(end: str, course: shapely.LineString, site: Site) -> shapely.LineString:
    """Turn a row so that it ends where it is to fall to."""
    east, north = np.diff(shapely.get_coordinates(course)[[0, -1]], axis=0)[0]
    ahead = np.degrees(np.arctan2(east, north)) + site.convergence_deg
    side = SIDES.index(end) * 360 / len(SIDES)
    return course if np.cos(np.radians(ahead - side)) > 0 else course.reverse()


def _from_corner(course: shapely.LineString, site: Site) -> shapely.LineString:
    """Turn a row so that it starts at the end that is nearer to a corner."""
    ends = shapely.get_coordinates(course)[[0, -1]]
    first, last = tie(site.outline, ends, site.rise, site.scale)
    return course if first.along_m <= last.along_m else course.reverse()


def _drawn(guides: Guides, known: set[str], zone: CRS) -> list[_Line]:
    # What stands there is the line: nothing is to be pegged.
    pegged = guides.lines["geometry"].notna() & guides.lines["guide_kind"].ne(STANDING)
    lines = guides.lines[pegged & guides.lines["plot_id"].isin(known)]
    if not len(lines):
        return []
    moved = geodesy.reproject(lines["geometry"].to_numpy(dtype=object), guides.crs, zone)
    places = geodesy.reproject(guides.pegs["geometry"].to_numpy(dtype=object), guides.crs, zone)
    pegs = dict(iter(guides.pegs.assign(geometry=places).groupby(["plot_id", "line"], sort=False)))
    return [
        _Line(plot_id, int(number), course, pegs[plot_id, number], fall)
        for plot_id, number, fall, course in zip(
            *(lines[name] for name in ("plot_id", "line", "line_fall_pct")), moved, strict=True
        )
    ]


def _course(line: _Line, site: Site) -> Course:
    pegs = None
    if line.pegs is not None:
        places = shapely.get_coordinates(line.pegs["geometry"].to_numpy(dtype=object))
        pegs = places, line.pegs["peg_along_m"].to_numpy()
    return Course(shapely.get_coordinates(line.course), line.grade_pct, site, pegs)


def _table(lines: list[_Line], walks: list[Walk]) -> pd.DataFrame:
    names = ("plot_id", "line", *tables.made_by("pegs"))
    if not lines:
        return pd.DataFrame(columns=[*names, "geometry"])
    counts = [len(walk.xy) for walk in walks]
    columns = [walk.columns() for walk in walks]
    table = pd.DataFrame(
        {
            name if name == "peg" else f"peg_{name}": np.concatenate([one[name] for one in columns])
            for name in columns[0]
        }
    )
    table["plot_id"] = np.repeat(np.array([line.plot_id for line in lines], dtype=object), counts)
    table["line"] = np.repeat([line.number for line in lines], counts)
    of_rows = sum(count for line, count in zip(lines, counts, strict=True) if line.pegs is None)
    guided = [line.pegs for line in lines if line.pegs is not None]
    for name in OF_GUIDES:
        known = [frame[name].to_numpy(np.float64, na_value=np.nan) for frame in guided]
        table[name] = np.concatenate([np.full(of_rows, np.nan), *known])
    whole = [name for name in names if tables.BY_NAME[name].kind == "integer"]
    table = table.astype(dict.fromkeys(whole, "Int64"))[list(names)]
    places = np.asarray(shapely.points(np.concatenate([walk.xy for walk in walks])), dtype=object)
    return tables.check(table, names).assign(geometry=places)
