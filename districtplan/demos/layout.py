"""The two halves of each demonstration plot, as shapes on the ground."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import tables
from districtplan.demos.comparison import Halves, Rules, halve

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from districtplan.handbook import Handbook
    from districtplan.plan import Demos

MESSAGE, USUAL = "message", "as usual"
FLAT = "any direction"
"""Row method of a plot on which rows may run anywhere."""


class Laid(NamedTuple):
    """Halves of a plot, with which of them gets the message.

    Attributes
    ----------
    halves : Halves
        The halves, in metres of the zone.
    side : str
        ``left`` or ``right``, looking uphill.
    net_area_m2 : float
        Area that each net plot stands for, on the map [m²].
    """

    halves: Halves
    side: str
    net_area_m2: float


def layouts(
    chosen: pd.DataFrame,
    plots: pd.DataFrame,
    planted: NDArray[np.object_],
    asked: Demos,
    book: Handbook,
) -> dict[str, Laid]:
    """Lay halves out where a bearing is known and two net plots have room.

    Parameters
    ----------
    chosen : pandas.DataFrame
        Demonstration plots: ``plot_id``, ``demo_provisional`` and ``demo_side``.
    plots : pandas.DataFrame
        ``plot_id``, ``row_method``, ``row_bearing_grid_deg``, ``row_bearing_true_deg``,
        ``downslope_true_deg`` and ``row_spacing_map_m`` of all plots.
    planted : numpy.ndarray
        The land that is planted of each, in metres of the zone, shape (plots,).
    asked : Demos
        Size of the net plots.
    book : Handbook
        Table ``demo_comparison``.

    Returns
    -------
    dict[str, Laid]
        By id; the others are laid out on the ground.
    """
    place = {plot: at for at, plot in enumerate(plots["plot_id"])}
    found = {}
    for row in chosen[chosen["demo_provisional"] == 0].itertuples():
        at = place[row.plot_id]
        plot, land = plots.iloc[at], planted[at]
        bearing = _bearing(plot, land)
        if np.isnan(bearing) or np.isnan(plot["row_spacing_map_m"]):
            continue
        rules = replace(
            Rules.of(book, float(plot["row_spacing_map_m"])),
            net_rows=asked.net_rows,
            net_length_m=asked.net_length_m,
        )
        halves = halve(land, bearing, _downhill(plot, bearing), rules)
        if halves is not None:
            found[str(row.plot_id)] = Laid(halves, str(row.demo_side), rules.net_area_m2)
    return found


def parts(laid: dict[str, Laid]) -> pd.DataFrame:
    """List the shapes of halves, as a layer.

    Parameters
    ----------
    laid : dict[str, Laid]
        Halves by plot.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``demo_part``, ``demo_treated`` and ``geometry`` in the zone.
    """
    rows: list[tuple[str, str, str | None, BaseGeometry]] = []
    for plot, one in laid.items():
        halves = one.halves
        for side, half, net in (
            ("left", halves.left, halves.net_left),
            ("right", halves.right, halves.net_right),
        ):
            treated = MESSAGE if side == one.side else USUAL
            rows.append((plot, f"{side} half", treated, half))
            rows.append((plot, f"net plot of the {side} half", treated, net))
        rows.append((plot, "bund or path between", None, halves.divide))
    columns = ("plot_id", "demo_part", "demo_treated")
    found = pd.DataFrame(rows, columns=[*columns, "geometry"])
    tables.check(found[list(columns)], columns)
    return found


def _bearing(plot: pd.Series, land: shapely.Geometry) -> float:
    """Give the direction of rows from grid north; on level land along the longer side."""
    if not pd.isna(plot["row_bearing_grid_deg"]):
        return float(plot["row_bearing_grid_deg"])
    if plot["row_method"] != FLAT or shapely.is_empty(land):
        return float("nan")
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(land))
    sides = np.diff(corners[:3], axis=0)
    east, north = sides[np.argmax(np.hypot(*sides.T))]
    return float(np.degrees(np.arctan2(east, north)) % 180)


def _downhill(plot: pd.Series, bearing: float) -> float:
    """Give which way the plot falls, from grid north: across its rows, on the downhill side."""
    grid, true = plot["row_bearing_grid_deg"], plot["row_bearing_true_deg"]
    if pd.isna(plot["downslope_true_deg"]) or pd.isna(grid):
        return bearing + 90
    return float(plot["downslope_true_deg"] + grid - true)
