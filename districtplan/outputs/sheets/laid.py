"""Rows, guide lines and pegs that were laid out before, by plot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from districtplan.outputs.sheets.outline import in_degrees

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

QUARTER_TURN = 90
KINDS = ("rows", "guides", "pegs")


@dataclass(frozen=True)
class Laid:
    """What was laid out on the plots; a table that isn't there is None, and rows are then drawn.

    Attributes
    ----------
    rows : pandas.DataFrame | None
        ``plot_id``, ``row`` (its number in the plot) and ``geometry`` (lines in the district's
        UTM zone).
    guides : pandas.DataFrame | None
        ``plot_id`` and ``geometry`` (lines).
    pegs : pandas.DataFrame | None
        ``plot_id``, ``number``, ``along_m`` from the start, ``drop_cm`` since the peg before,
        ``bearing_magnetic_deg`` to the next peg, ``step_cm`` aside (to the right positive) and
        ``geometry`` (points), in the order of walking; what a peg doesn't have is missing.
    """

    rows: pd.DataFrame | None = None
    guides: pd.DataFrame | None = None
    pegs: pd.DataFrame | None = None


@dataclass(frozen=True)
class Found:
    """What was laid out on one plot, in degrees; None where nothing was."""

    rows: pd.DataFrame | None = None
    guides: pd.DataFrame | None = None
    pegs: pd.DataFrame | None = None


def by_plot(laid: Laid, wanted: set[str], crs: CRS) -> dict[str, Found]:
    """Sort what was laid out by plot.

    Parameters
    ----------
    laid : Laid
        All of it.
    wanted : set[str]
        Ids of the plots asked for.
    crs : pyproj.CRS
        CRS of its geometry.

    Returns
    -------
    dict[str, Found]
        What there is, by id; plots without anything are left out.
    """
    found: dict[str, dict[str, pd.DataFrame]] = {}
    for kind in KINDS:
        table = getattr(laid, kind)
        if table is None:
            continue
        here = table[table["plot_id"].isin(wanted)]
        here = here.assign(geometry=in_degrees(here["geometry"].to_numpy(dtype=object), crs))
        for plot_id, part in here.groupby("plot_id", sort=False):
            found.setdefault(str(plot_id), {})[kind] = part.reset_index(drop=True)
    return {plot_id: Found(**parts) for plot_id, parts in found.items()}


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
