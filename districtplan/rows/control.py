"""Control pegs of a district: of first rows that are to be set out, and of every guide line.

A line on the contour is designed level, so that its drops are 0, whatever the raster says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows.guides import OF_GUIDES
from districtplan.rows.setting_out import Pegged, Rules, Site, describe, stand

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.guides import Guides
    from districtplan.rows.lay import Laid
    from districtplan.rows.setting_out import Walk

    Objects = NDArray[np.object_]

METHOD = "straight"
LEVEL_PCT = 0.0
"""Grade of lines on the contour [%]."""


@dataclass(frozen=True)
class Pegs:
    """Lines of a district as they are set out.

    Attributes
    ----------
    table : pandas.DataFrame
        ``plot_id``, ``line``, the columns made by pegs and ``geometry`` in the UTM zone; one row a
        peg, in the order of walking, first rows before guide lines.
    walks : Mapping[tuple[str, int], Walk]
        The lines by plot and number, in the same order.
    """

    table: pd.DataFrame
    walks: Mapping[tuple[str, int], Walk]


@dataclass(frozen=True)
class _Line:
    """A line on its way to be set out: its plot and number, its course, pegs that stand already."""

    plot_id: str
    number: int
    course: shapely.LineString
    pegs: pd.DataFrame | None


def control_pegs(
    plots: pd.DataFrame, laid: Laid, guides: Guides, plan: Plan, handbook: Handbook
) -> Pegs:
    """Set out the first rows of some plots, and the guide lines of all that have any.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots whose first rows are wanted and those with guide lines: ``plot_id``,
        ``longitude_deg``, ``latitude_deg``, ``declination_deg``, ``slope_used_pct``,
        ``downslope_true_deg``, ``row_method`` and ``geometry``, the last in the UTM zone.
    laid : Laid
        The rows of the district.
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
    zone = laid.crs
    sites = _sites(plots, zone)
    found = [line for line in (*_rows(plots, laid), *_drawn(guides, zone)) if line.plot_id in sites]
    pegged = [_pegged(line, sites[line.plot_id], rules) for line in found]
    ends = np.array([xy[[0, -1]] for xy, _ in pegged]).reshape(-1, 2)
    longitude, latitude = (
        degrees.reshape(-1, 2) for degrees in geodesy.lonlat(zone, ends[:, 0], ends[:, 1])
    )
    walks = {
        (line.plot_id, line.number): describe(
            Pegged(shapely.get_coordinates(line.course), *places, *end),
            LEVEL_PCT,
            sites[line.plot_id],
            rules,
        )
        for line, places, *end in zip(found, pegged, longitude, latitude, strict=True)
    }
    return Pegs(_table(found, list(walks.values())), walks)


def _sites(plots: pd.DataFrame, zone: CRS) -> dict[str, Site]:
    """Look up how the map lies at all plots at once."""
    place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    north = geodesy.convergence_deg(zone, *place)
    slope = plots["slope_used_pct"].to_numpy() / 100
    downhill = np.radians(plots["downslope_true_deg"].to_numpy() - north)
    # Where no one fall is known an edge is as long as on the map.
    east_north = np.nan_to_num(-slope * np.stack([np.sin(downhill), np.cos(downhill)]))
    listed = zip(
        plots["plot_id"],
        plots["geometry"],
        north.tolist(),
        plots["declination_deg"].tolist(),
        geodesy.point_scale(zone, *place).tolist(),
        east_north.T.tolist(),
        strict=True,
    )
    return {
        plot_id: Site(outline, zone, turn, declination, scale, (east, north_))
        for plot_id, outline, turn, declination, scale, (east, north_) in listed
    }


def _rows(plots: pd.DataFrame, laid: Laid) -> list[_Line]:
    wanted = set(plots.loc[plots["row_method"] == METHOD, "plot_id"])
    return [
        _Line(plot_id, 1, line, None)
        for plot_id, line in zip(laid.plot_id, laid.first, strict=True)
        if plot_id in wanted and line is not None
    ]


def _drawn(guides: Guides, zone: CRS) -> list[_Line]:
    lines = guides.lines[guides.lines["geometry"].notna()]
    if not len(lines):
        return []
    moved = geodesy.reproject(lines["geometry"].to_numpy(dtype=object), guides.crs, zone)
    places = geodesy.reproject(guides.pegs["geometry"].to_numpy(dtype=object), guides.crs, zone)
    pegs = dict(iter(guides.pegs.assign(geometry=places).groupby(["plot_id", "line"], sort=False)))
    return [
        _Line(plot_id, int(number), course, pegs[plot_id, number])
        for plot_id, number, course in zip(lines["plot_id"], lines["line"], moved, strict=True)
    ]


def _pegged(
    line: _Line, site: Site, rules: Rules
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give a line's pegs and their places along it."""
    if line.pegs is not None:
        places = shapely.get_coordinates(line.pegs["geometry"].to_numpy(dtype=object))
        return places, line.pegs["peg_along_m"].to_numpy()
    xy = shapely.get_coordinates(line.course)
    local, along = stand((xy - xy[0]) / site.scale, rules.step_m, rules.turn_max_deg)
    return xy[0] + local * site.scale, along


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
