"""What the page of a district shows before any village's own data is there.

A dot for each plot, of its size and class; a box for each village; what the legend tells of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from districtplan.outputs import wording
from districtplan.outputs.page import shapes
from districtplan.rows.band import families

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.results import Results

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

DOT_STEP_M = 1.0
"""Steps that dots are placed in, on the map's plane [m]."""
STRAIGHT, GUIDED, MEASURE = "straight", "guide lines", "measure on the ground"
LEVELLED, NO_CURVE = "level lines", "level on the ground"
BEYOND = "slope_beyond_equations"


def villages(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """List the villages, the plots of each and where they lie.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``names`` and ``plots``, their numbers; ``by_bearing``, on how many of these straight rows
        can follow the printed bearing; ``boxes``, four zigzag numbers each: west, south, east and
        north in steps from the origin.
    """
    names = results.villages["village"].astype(str).tolist()
    counts = results.plots["village"].value_counts()[names].to_numpy(dtype=np.int64)
    starts = np.cumsum(counts) - counts
    served = wording.by_bearing(results).to_numpy(dtype=np.int64)
    edges = _edges(results, origin_deg)
    low = np.minimum.reduceat(edges[:, :2], starts)
    high = np.maximum.reduceat(edges[:, 2:], starts)
    boxes = np.hstack([low, high]).ravel()
    return {
        "names": names,
        "plots": shapes.counts(counts),
        "by_bearing": shapes.counts(np.add.reduceat(served, starts)),
        "boxes": shapes.counts(shapes.zigzag(boxes)),
    }


def dots(results: Results, origin_deg: tuple[float, float], *, by_slope: bool) -> dict[str, Any]:
    """Place a dot for each plot.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    by_slope : bool
        Whether classes are those of slope.

    Returns
    -------
    dict[str, Any]
        Streams: ``moves``, zigzag differences east and north of a point inside each plot,
        ``across``, the longer side of its box, both in ``step_m``; ``class``, 0 where there is
        none; ``bare``, 1 where the bearing is found on the ground.
    """
    plots = results.plots
    inside = shapes.on_plane(
        plots["longitude_deg"].to_numpy(dtype=np.float64),
        plots["latitude_deg"].to_numpy(dtype=np.float64),
        origin_deg,
    )
    times = round(DOT_STEP_M / shapes.STEP_M)
    edges = _edges(results, origin_deg)
    across = np.maximum(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])
    places = np.rint(inside / times).astype(np.int64)
    moves = places - np.vstack([[0, 0], places[:-1]])
    number = plots["slope_class_number" if by_slope else "erosion_class_number"]
    return {
        "step_m": DOT_STEP_M,
        "moves": shapes.counts(shapes.zigzag(moves.ravel())),
        "across": shapes.counts(-(-across // times)),
        "class": shapes.counts(number.astype("Int64").to_numpy(dtype=np.int64, na_value=0)),
        "bare": shapes.counts(to_find(plots).astype(np.int64)),
    }


def to_find(plots: pd.DataFrame) -> Flags:
    """Tell where no curve is drawn from the raster and someone must go and find the level.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots.

    Returns
    -------
    numpy.ndarray
        Whether it is so, shape (plots,).
    """
    found = plots["row_method"].eq(MEASURE) | plots["guide_kind"].eq(NO_CURVE)
    return found.to_numpy(dtype=np.bool_)


def legend(results: Results, *, by_slope: bool) -> dict[str, Any]:
    """Tell what occurs, so that the legend lists no more.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    by_slope : bool
        Whether classes are those of slope.

    Returns
    -------
    dict[str, Any]
        ``classes``, ``methods`` and ``guides`` (kinds of lines that are drawn) that occur, and
        whether there is any of the others.
    """
    plots = results.plots
    number = plots["slope_class_number" if by_slope else "erosion_class_number"]
    barred = wording.barred(plots)
    find = to_find(plots)
    course = results.guides.lines
    drawn = set(
        course.loc[~shapely.is_missing(course["geometry"].to_numpy(dtype=object)), "plot_id"]
    )
    guided = plots["plot_id"].isin(drawn).to_numpy() & ~barred
    method = plots["row_method"].mask(find, MEASURE)
    least = results.flow_lines["upslope_area_at_least"]
    pegged = {*results.pegs.table["plot_id"], *course["plot_id"]}
    return {
        "classes": sorted(number.dropna().astype(int).unique().tolist()),
        "methods": sorted(method.unique().tolist()),
        "guides": sorted(plots.loc[guided, "guide_kind"].dropna().unique().tolist()),
        "parts": bool(len(results.guides.boundaries)),
        "dash": bool((method.eq(GUIDED).to_numpy() & ~guided & ~barred).any()),
        "curved": bool(len(results.row_lines.lines)),
        "maize": any(family.crop == "maize" for family in families(results.plan)),
        "pegs": bool((plots["plot_id"].isin(pegged).to_numpy() & ~barred).any()),
        "barred": bool(barred.any()),
        "excluded": any(
            wording.excluded(row) is not None for row in wording.records(plots[["erosion_flags"]])
        ),
        "beyond": any(BEYOND in flags for flags in plots["erosion_flags"]),
        "flow": sorted({int(one) for one in least}),
    }


def _edges(results: Results, origin_deg: tuple[float, float]) -> NDArray[np.int64]:
    """Give the box of each plot: west, south, east and north in steps from the origin."""
    outlines = results.plots["geometry"].to_numpy(dtype=object)
    points, of_plot = shapely.get_coordinates(outlines, return_index=True)
    longitude, latitude = shapes.degrees(points, results.plots_crs)
    steps = shapes.on_plane(longitude, latitude, origin_deg)
    starts = np.searchsorted(of_plot, np.arange(len(outlines)))
    return np.hstack(
        [np.minimum.reduceat(steps, starts, axis=0), np.maximum.reduceat(steps, starts, axis=0)]
    )
