"""Rows, guide lines and pegs that were laid out before, by plot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan.outputs.sheets.outline import in_degrees

if TYPE_CHECKING:
    from districtplan.results import Results
    from districtplan.rows import Walk

QUARTER_TURN = 90
BEANS = "beans"


@dataclass(frozen=True)
class Found:
    """What was laid out on one plot; None where nothing was.

    Attributes
    ----------
    rows : pandas.DataFrame | None
        ``row`` (its number in the plot) and ``geometry``, the rows of beans.
    guides : pandas.DataFrame | None
        ``geometry``, the guide lines.
    pegs : pandas.DataFrame | None
        ``number`` (through all lines of the plot), ``line``, the columns made by pegs and
        ``geometry``, in the order of walking.
    corners : pandas.DataFrame | None
        ``letter``, ``xy`` (as ties have it) and ``geometry``, corners that lines are measured from.
    walks : tuple[tuple[int, Walk], ...]
        Lines as they are set out, and their numbers.
    every : int
        One row in so many was drawn.
    """

    rows: pd.DataFrame | None = None
    guides: pd.DataFrame | None = None
    pegs: pd.DataFrame | None = None
    corners: pd.DataFrame | None = None
    walks: tuple[tuple[int, Walk], ...] = ()
    every: int = 1


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
    tables = {
        "rows": (rows[rows["crop"] == BEANS], results.grid_crs),
        "guides": (guides[guides["geometry"].notna()], results.guides.crs),
        "pegs": (pegs, results.grid_crs),
        "corners": (_corners(results, wanted), results.grid_crs),
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
    table = pd.DataFrame(list(named), columns=["plot_id", "xy"])
    letters = [chr(ord("A") + place) for place in table.groupby("plot_id").cumcount()]
    points = np.array([shapely.Point(xy) for xy in table["xy"]], dtype=object)
    return table.assign(letter=letters, geometry=points)


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
