"""Rows, guide lines, pegs and flow lines for the page's script.

Straight rows take no bytes of their own: the script lays them again from the outline, the bearing,
the distance and where the first one lies, as the rows stage does. It is handed the planted land of
plots that aren't planted all over. Rows that follow guide lines are handed over as lines.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from districtplan import geodesy
from districtplan.outputs.page import shapes
from districtplan.rows.band import families

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.results import Results, RowLines

    Objects = NDArray[np.object_]

VERTICES_MAX = 1_000_000
"""Most points of each kind of line and of pegs of a village: about 5 MB [points]."""
CURVED_MAX = 3_000_000
"""Most points of rows along guide lines over all villages: about 10 MB [points]."""
GUIDED = "guide lines"
DEGREES = CRS.from_epsg(4326)


def rows(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Gather what the script needs to lay rows.

    Parameters
    ----------
    results : Results
        The run.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``families`` (crop, ``first_m`` and ``spacing_m`` on the ground), ``apart_m`` of bean rows,
        ``rightwards`` of each plot: 1 where rows are counted to the right of their bearing; and
        land that is planted, of the plots where it isn't all: ``planted`` (places of the plots) and
        ``land`` (shapes).
    """
    plots, plan = results.plots, results.plan
    fall = plots["downslope_true_deg"].to_numpy(dtype=np.float64)
    bearing = plots["row_bearing_true_deg"].to_numpy(dtype=np.float64)
    # As rows are counted: downhill, to the right where there is no one fall.
    leftwards = np.cos(np.radians(fall - bearing - 90)) < 0
    taken = plots[["land_taken_m2", "flow_strip_m2", "row_gap_m2"]].gt(0).any(axis="columns")
    some = taken.to_numpy() | (plan.rows.edge_margin_m > 0)
    places = np.flatnonzero(some)
    found: dict[str, Any] = {
        "families": [
            {"crop": f.crop, "first_m": f.first_m, "spacing_m": f.spacing_m} for f in families(plan)
        ],
        "apart_m": plan.practice.bean_rows_apart_cm / 100,
        "rightwards": np.where(leftwards, 0, 1).tolist(),
        "planted": places.tolist(),
    }
    if len(places):
        land = results.row_lines.planted[places]
        found["land"] = shapes.pack(land, results.grid_crs, origin_deg)
    return found


def guides(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Pack guide lines.

    Parameters
    ----------
    results : Results
        The run.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``lines`` of each plot as a stream, then the streams of their shapes; all None and
        ``left_out`` their number where they would make the page too large.
    """
    return _by_plot(results, results.guides.lines, origin_deg)


def boundaries(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Pack lines between parts that have an arc each.

    Parameters
    ----------
    results : Results
        The run.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        The same as of guide lines.
    """
    return _by_plot(results, results.guides.boundaries, origin_deg)


def _by_plot(
    results: Results, table: pd.DataFrame, origin_deg: tuple[float, float]
) -> dict[str, Any]:
    # Where the team finds the course on the ground there is none to draw.
    drawn = table[~shapely.is_missing(table["geometry"].to_numpy(dtype=object))]
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    at = drawn["plot_id"].map(place).to_numpy(dtype=np.int64)
    order = np.argsort(at, kind="stable")
    lines = _thinned(drawn["geometry"].to_numpy(dtype=object)[order])
    if shapely.get_num_coordinates(lines).sum() > VERTICES_MAX:
        return {"left_out": len(lines), "lines": None}
    of_plot = np.bincount(at, minlength=len(results.plots))
    packed = shapes.pack_lines(lines, results.guides.crs, origin_deg)
    return {"left_out": 0, "lines": shapes.counts(of_plot), **packed}


def thinned_rows(results: Results) -> RowLines:
    """Leave out rows along guide lines that pages wouldn't hold, and all others.

    Straight rows are laid by the script.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    RowLines
        Rows along guide lines, simplified to what the map's step can show; ``every``: of these
        rows one in so many.
    """
    drawn = results.row_lines
    method = results.plots.set_index("plot_id")["row_method"]
    table = drawn.lines[drawn.lines["plot_id"].map(method).eq(GUIDED).to_numpy()]
    found = _thinned(table["geometry"].to_numpy(dtype=object))
    every = drawn.every * max(
        int(np.ceil(shapely.get_num_coordinates(found).sum() / CURVED_MAX)), 1
    )
    kept = (table["row"].to_numpy(dtype=np.int64) - 1) % every == 0
    return dataclasses.replace(drawn, lines=table[kept].assign(geometry=found[kept]), every=every)


def curved(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Pack rows that follow guide lines.

    Parameters
    ----------
    results : Results
        The run, its rows thinned.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``lines`` of each plot as a stream, ``place`` of each line's row among those packed of its
        plot and ``maize`` (1 for a row of maize) as streams, then the streams of their shapes; and
        ``every``: one row in so many is packed.
    """
    table, every = results.row_lines.lines, results.row_lines.every
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    at = table["plot_id"].map(place).to_numpy(dtype=np.int64)
    order = np.argsort(at, kind="stable")
    table = table.iloc[order]
    return {
        "every": every,
        "lines": shapes.counts(np.bincount(at, minlength=len(results.plots))),
        "place": shapes.counts((table["row"].to_numpy(dtype=np.int64) - 1) // every),
        "maize": shapes.counts(table["crop"].eq("maize").to_numpy(dtype=np.int64)),
        **shapes.pack_lines(table["geometry"].to_numpy(dtype=object), results.grid_crs, origin_deg),
    }


def pegs(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Pack control pegs, and where lines start that a team finds on the ground.

    Parameters
    ----------
    results : Results
        The run.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        The streams of the pegs' places, one shape a plot, empty where it has none, in the order
        that they are numbered; ``left_out``: their number where they would make the page too
        large, and then no streams.
    """
    table, lines = results.pegs.table, results.guides.lines
    starts = lines[shapely.is_missing(lines["geometry"].to_numpy(dtype=object))]
    standing = geodesy.reproject(
        table["geometry"].to_numpy(dtype=object), results.grid_crs, DEGREES
    )
    begun = shapely.points(
        starts[["start_longitude_deg", "start_latitude_deg"]].to_numpy(dtype=np.float64)
    )
    points = np.concatenate([standing, np.asarray(begun, dtype=object).reshape(-1)])
    if len(points) > VERTICES_MAX:
        return {"left_out": len(points)}
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    at = pd.concat([table["plot_id"], starts["plot_id"]]).map(place).to_numpy(dtype=np.int64)
    order = np.argsort(at, kind="stable")
    found = np.full(len(results.plots), shapely.MultiPoint(), dtype=object)
    some, together = np.unique(at[order], return_inverse=True)
    found[some] = shapely.multipoints(points[order], indices=together)
    return {"left_out": 0, **shapes.pack_lines(found, DEGREES, origin_deg)}


def flow(results: Results, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Pack flow lines, the largest first.

    Parameters
    ----------
    results : Results
        The run.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``number`` of each line among those of the district, so that one that runs through two
        villages is drawn once, ``area_ha``, ``at_least`` and the streams of their shapes;
        ``left_out``: how many of the smallest aren't there, since the page would grow too large.
    """
    table = results.flow_lines
    lines = _thinned(table["geometry"].to_numpy(dtype=object))
    vertices = np.cumsum(shapely.get_num_coordinates(lines))
    kept = int(np.searchsorted(vertices, VERTICES_MAX, side="right"))
    area = table["upslope_area_ha"].to_numpy(dtype=np.float64)[:kept]
    return {
        "left_out": len(lines) - kept,
        "number": table.index[:kept].tolist(),
        "area_ha": np.round(area, 1).tolist(),
        "at_least": table["upslope_area_at_least"].to_numpy(dtype=np.int64)[:kept].tolist(),
        **shapes.pack_lines(lines[:kept], results.grid_crs, origin_deg),
    }


def _thinned(lines: Objects) -> Objects:
    """Leave out points that the map's step couldn't show."""
    return np.asarray(shapely.simplify(lines, shapes.STEP_M), dtype=object)
