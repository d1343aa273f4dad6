"""The stage: the rows of every plot, and the land that they don't use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows import land as of_land
from districtplan.rows.band import families
from districtplan.rows.corner import first_start
from districtplan.rows.straight import Land, Layout, count, one_row

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.plan import Plan
    from districtplan.rows.band import Family
    from districtplan.rows.corner import Start
    from districtplan.rows.land import Clear
    from districtplan.rows.straight import Counts

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

CURVED = "guide lines"
BASES = {
    "straight": "straight rows",
    CURVED: "straight rows in place of curved ones",
    "any direction": "straight rows along the longer side",
    "measure on the ground": "area over spacing",
}
"""What holes are counted along, by row method."""
ALONG_GUIDES = "rows along guide lines"
AREA = BASES["measure on the ground"]
BOX_POINTS = 5
"""Points of a box's ring, the first again at its end."""
DECIMALS = 6
"""Decimals kept before rounding half up, so that 2.4999999996 counts as the half that it is."""


@dataclass(frozen=True)
class Laid:
    """The rows of plots, ready to be drawn.

    Attributes
    ----------
    plot_id : numpy.ndarray
        Ids of the plots that rows are laid over, shape (plots,).
    polygons : numpy.ndarray
        What is planted, in the UTM zone, shape (plots,).
    land : Land
        What is planted, each plot in metres from its origin.
    origin : numpy.ndarray
        Their origins, shape (plots, 2) [m of the UTM zone].
    scale : numpy.ndarray
        Metres of the UTM zone in a metre on the ellipsoid, shape (plots,).
    layouts : tuple[tuple[Family, Layout], ...]
        How the rows of each family lie.
    stand_in : numpy.ndarray
        Plots whose straight rows only stand in for curved ones when they are counted, shape
        (plots,).
    """

    plot_id: Objects
    polygons: Objects
    land: Land
    origin: Floats
    scale: Floats
    layouts: tuple[tuple[Family, Layout], ...]
    stand_in: NDArray[np.bool_]


def lay(
    plots: pd.DataFrame,
    ground: pd.DataFrame,
    grid_crs: CRS,
    clear: Clear,
    plan: Plan,
) -> tuple[pd.DataFrame, Objects, Laid]:
    """Lay rows over plots and count them.

    Rows are spaced on the ground: on the map their distance is the spacing times the cosine of the
    slope across them. They run along the contour, so that the slope across is the plot's; the grade
    along rows, within its limit, would change lengths by less than 0.02 %. Where the bearing is to
    be measured, rows are counted as their mean over all bearings and starts, which is the area
    over the spacing. Where rows should curve, straight ones at the plot's bearing stand for them
    until they are drawn (:func:`with_curved`), or for good where the team finds their course on the
    ground: on the same land they have the same length but for what their ends add or leave.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha``, ``longitude_deg``, ``latitude_deg`` and ``geometry``, the last in
        the UTM zone.
    ground : pandas.DataFrame
        ``plot_id``, ``slope_used_pct``, ``row_method``, ``row_bearing_grid_deg`` and
        ``downslope_true_deg`` of the same plots.
    grid_crs : pyproj.CRS
        The zone.
    clear : Clear
        What rows keep clear of, in the zone.
    plan : Plan
        Its sections ``practice`` and ``rows``.

    Returns
    -------
    rows : pandas.DataFrame
        ``plot_id`` and the columns that :mod:`districtplan.tables` gives the stage.
    planted : numpy.ndarray
        What is planted of each plot, in the zone, shape (plots,).
    laid : Laid
        The rows themselves, of plots that have a bearing.
    """
    ground = ground.set_index("plot_id").loc[plots["plot_id"]].reset_index()
    place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    scale = geodesy.point_scale(grid_crs, *place)
    north = geodesy.convergence_deg(grid_crs, *place)
    outlines = plots["geometry"].to_numpy(dtype=object)
    planted = of_land.planted(outlines, clear, plan.rows.edge_margin_m * scale)
    level = np.cos(np.arctan(ground["slope_used_pct"].to_numpy() / 100))
    basis = ground["row_method"].map(BASES).to_numpy(dtype=object)
    along = np.flatnonzero(basis != AREA)
    laid = _laid(
        outlines[along],
        planted.polygons[along],
        scale[along],
        ground.iloc[along].assign(plot_id=plots["plot_id"].to_numpy()[along], north=north[along]),
        plan,
    )
    share = shapely.area(planted.polygons) / shapely.area(outlines)
    area_m2 = 10_000 * plots["area_ha"].to_numpy() * share

    table = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy(), "holes_basis": basis})
    table["row_spacing_map_m"] = plan.practice.bean_rows_apart_cm / 100 * level
    table["land_taken_m2"] = planted.taken / scale**2
    table["flow_strip_m2"] = planted.strips / scale**2
    table["row_gap_m2"] = planted.gaps / scale**2
    counts = [
        count(laid.land, layout, family.hole_m, plan.rows.row_length_min_m)
        for family, layout in laid.layouts
    ]
    for crop, stem in (("beans", ""), ("maize", "maize_")):
        of_crop = [
            (family, counted)
            for (family, _), counted in zip(laid.layouts, counts, strict=True)
            if family.crop == crop
        ]
        for name, values in _crop(of_crop, along, area_m2 / level).items():
            table[f"{stem}{name}"] = values
    short = sum((counted.short for counted in counts), np.zeros(len(along), dtype=np.int64))
    table["short_rows"] = _spread(short, along, len(table))
    start = _start(outlines[along], laid, counts, 1 / level[along])
    table["first_row_corner"] = _words(start.corner, along, len(table))
    table["first_row_way"] = _words(start.way, along, len(table))
    table["first_row_start_m"] = pd.Series(start.metres, along).reindex(table.index)
    return tables.check(table, ("plot_id", *tables.made_by("rows"))), planted.polygons, laid


def with_curved(table: pd.DataFrame, counts: pd.DataFrame, gap_m: float) -> pd.DataFrame:
    """Put the counts of rows that follow guide lines in place of those of straight rows.

    Parameters
    ----------
    table : pandas.DataFrame
        The table of :func:`lay`.
    counts : pandas.DataFrame
        ``plot_id``, ``crop``, ``rows``, ``short_rows``, ``row_length_m``, ``holes`` and, of all
        crops, ``row_breaks`` of plots whose rows are drawn along guide lines.
    gap_m : float
        Length that a break leaves without a row [m].

    Returns
    -------
    pandas.DataFrame
        The same table; where its first row would have started is null for these plots, since the
        guide line is what is set out first.
    """
    found = table.set_index("plot_id")
    ids = pd.unique(counts["plot_id"])
    for crop, of_crop in counts.set_index("plot_id").groupby("crop"):
        stem = "" if crop == "beans" else f"{crop}_"
        for name in ("rows", "row_length_m", "holes"):
            found.loc[of_crop.index, f"{stem}{name}"] = of_crop[name]
    found.loc[ids, "short_rows"] = counts.groupby("plot_id")["short_rows"].sum().reindex(ids)
    breaks = counts.groupby("plot_id")["row_breaks"].first().reindex(ids)
    found.loc[ids, "row_breaks"] = breaks
    found.loc[ids, "row_gap_m2"] = breaks * gap_m * found["row_spacing_map_m"].reindex(ids)
    found.loc[ids, "holes_basis"] = ALONG_GUIDES
    found.loc[ids, ["first_row_corner", "first_row_way"]] = None
    found.loc[ids, "first_row_start_m"] = np.nan
    return tables.check(found.reset_index(), [str(name) for name in table])


def by_area(area_m2: Floats, spacing_m: float, hole_m: float) -> tuple[Floats, Floats]:
    """Count along rows of unknown bearing: what a plot holds in the mean over bearings and starts.

    Parameters
    ----------
    area_m2 : numpy.ndarray
        Area of the ground, shape (plots,) [m²].
    spacing_m : float
        From row to row [m].
    hole_m : float
        From hole to hole [m].

    Returns
    -------
    length_m : numpy.ndarray
        Length of the rows, shape (plots,) [m].
    holes : numpy.ndarray
        Planting holes, halves up, shape (plots,).
    """
    length = area_m2 / spacing_m
    return length, np.floor(np.round(length / hole_m, DECIMALS) + 0.5)


def _laid(
    outlines: Objects, polygons: Objects, scale: Floats, ground: pd.DataFrame, plan: Plan
) -> Laid:
    level = np.cos(np.arctan(ground["slope_used_pct"].to_numpy() / 100))
    given = ground["row_bearing_grid_deg"].to_numpy()
    unknown = np.isnan(given)
    bearing = given.copy()
    bearing[unknown] = _longer_side(outlines[unknown])
    # Rows are counted downhill from the uppermost; where there is no one fall, from the north.
    fall = ground["downslope_true_deg"].to_numpy() - ground["north"].to_numpy()
    downhill = np.cos(np.radians(fall - bearing - 90))
    side = np.where(downhill < 0, -1.0, 1.0)
    origin = shapely.bounds(outlines).reshape(-1, 4)[:, :2]
    layouts = [
        (family, Layout(bearing, side, family.spacing_m * level, family.first_m * level))
        for family in families(plan)
    ]
    land = Land.of(polygons, origin, scale)
    return Laid(
        ground["plot_id"].to_numpy(dtype=object),
        polygons,
        land,
        origin,
        scale,
        tuple(layouts),
        ground["row_method"].to_numpy() == CURVED,
    )


def _longer_side(outlines: Objects) -> Floats:
    """Give the bearing of the longer side of the smallest box around each plot [degrees]."""
    boxes = shapely.oriented_envelope(outlines)
    corners = shapely.get_coordinates(boxes).reshape(-1, BOX_POINTS, 2)
    sides = corners[:, 1:3] - corners[:, :2]
    longer = np.hypot(*sides.T).argmax(axis=0)
    east, north = sides[np.arange(len(sides)), longer].T
    return geodesy.line_deg(np.degrees(np.arctan2(east, north)))


def _crop(
    counted: list[tuple[Family, Counts]], along: Integers, ground_m2: Floats
) -> dict[str, pd.Series]:
    """Add up the families of a crop; null where it isn't planted, rows where they aren't known."""
    plots = len(ground_m2)
    rows: Integers = np.zeros(len(along), dtype=np.int64)
    length, holes = np.zeros(plots), np.zeros(plots)
    for family, counts in counted:
        metres, number = by_area(ground_m2, family.spacing_m, family.hole_m)
        metres[along], number[along] = counts.length_m, counts.holes
        length, holes, rows = length + metres, holes + number, rows + counts.rows
    if not counted:
        nothing = pd.Series(pd.NA, index=range(plots), dtype="Int64")
        empty = pd.Series(np.nan, index=range(plots))
        return {"rows": nothing, "row_length_m": empty, "holes": nothing}
    return {
        "rows": _spread(rows, along, plots),
        "row_length_m": pd.Series(length),
        "holes": pd.Series(holes.astype(np.int64), dtype="Int64"),
    }


def _spread(values: Integers, along: Integers, plots: int) -> pd.Series:
    """Put whole numbers of the plots that have rows among all, null elsewhere."""
    return pd.Series(values, index=along, dtype="Int64").reindex(range(plots))


def _words(values: Objects, along: Integers, plots: int) -> Objects:
    """Put words of the plots that have rows among all, None elsewhere."""
    words = np.full(plots, None, dtype=object)
    words[along] = values
    return words


def _start(outlines: Objects, laid: Laid, counts: list[Counts], stretch: Floats) -> Start:
    """Find where the first row long enough to be laid starts, of whichever family."""
    plots = len(outlines)
    outermost, first_m = np.full(plots, np.inf), np.zeros(plots)
    for (_, layout), counted in zip(laid.layouts, counts, strict=True):
        reach = layout.first_m + counted.first * layout.spacing_m
        sooner = (counted.first >= 0) & (reach < outermost)
        outermost[sooner] = first_m[sooner] = reach[sooner]
    layout = laid.layouts[0][1]
    one = one_row(laid.land, Layout(layout.bearing_deg, layout.side, layout.spacing_m, first_m))
    return first_start(outlines, laid.origin, laid.scale, layout, (one, stretch))
