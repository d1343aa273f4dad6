"""Which plots get a sheet: those that the plan's policy names, up to its limit."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import numpy as np

from districtplan.outputs.sheets.names import UNKNOWN_SIGN
from districtplan.outputs.sheets.paper import face
from districtplan.outputs.wording import CROSSED, MEASURE
from districtplan.tables import is_circle

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.plan import Plan

    Integers = NDArray[np.int64]

FLAGGED = (
    "slope_beyond_equations",
    "forest_only",
    "perennials_only",
    "rows_alone_not_enough",
    "loss_class_high",
    "steeper_than_contour_limit",
    "longer_than_contour_limit",
)
"""Flags of plots that someone has to see to; the others tell how numbers came about."""

NAMED_MAX = 5
NAMES = ("plot_id", "village", "farmer_name")
"""Columns whose texts from outside stand on a sheet."""


def chosen(plots: pd.DataFrame, plan: Plan) -> Integers:
    """Choose the plots that get a sheet.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots of a run.
    plan : Plan
        Its section ``sheets``.

    Returns
    -------
    numpy.ndarray
        Their positions in ``plots``, rising; none where there are more than the plan's limit, since
        any part of them would be an arbitrary one.
    """
    wanted = _wanted(plots, plan)
    return wanted if len(wanted) <= plan.sheets.sheets_max else wanted[:0]


def doubts(plots: pd.DataFrame, plan: Plan) -> list[str]:
    """Say which sheets asked for aren't written.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots of a run.
    plan : Plan
        Its section ``sheets``.

    Returns
    -------
    list[str]
        A sentence a doubt; empty where there is none.
    """
    said = []
    asked = plan.sheets.plot_ids
    if asked is not None:
        there = set(plots["plot_id"])
        missing = [name for name in dict.fromkeys(asked) if name not in there]
        if missing:
            named = ", ".join(repr(name) for name in missing[:NAMED_MAX])
            more = f" and {len(missing) - NAMED_MAX} more" if len(missing) > NAMED_MAX else ""
            said.append(
                f"sheets.plot_ids names plots that aren't among those used: {named}{more}. "
                "No sheet is written for them."
            )
    count = len(_wanted(plots, plan))
    if count > plan.sheets.sheets_max:
        said.append(
            f"{count:,} plots were to get a sheet of paper, more than sheets.sheets_max = "
            f"{plan.sheets.sheets_max:,}, so none was written. List the plots of this week in "
            "sheets.plot_ids, or raise sheets.sheets_max."
        )
    return [*said, *_unprintable(plots.iloc[chosen(plots, plan)])]


def _unprintable(plots: pd.DataFrame) -> list[str]:
    """Warn of names in scripts that the font of the sheets lacks."""
    columns = [column for column in NAMES if column in plots]
    names = {str(name) for column in columns for name in plots[column].dropna()}
    wide = face("").wide
    lacking = sorted(
        name
        for name in names
        if any(ord(sign) not in wide for sign in unicodedata.normalize("NFC", name))
    )
    if not lacking:
        return []
    count = "A name" if len(lacking) == 1 else f"{len(lacking):,} names"
    return [
        f"{count} on the sheets of paper cannot be printed in full, such as {lacking[0]!r}: the "
        f"font of the sheets lacks some of the signs, and {UNKNOWN_SIGN} stands for each. Each "
        "plot sheet says the row of the plots file. Name a column in a script that the sheets "
        "have, such as Latin, Cyrillic or Arabic, or write the names by hand."
    ]


def _wanted(plots: pd.DataFrame, plan: Plan) -> Integers:
    asked = plan.sheets.plots
    if plan.sheets.plot_ids is not None:
        mask = plots["plot_id"].isin(plan.sheets.plot_ids).to_numpy()
    elif asked == "all":
        mask = np.ones(len(plots), dtype=bool)
    elif asked == "flagged":
        urgent = set(FLAGGED)
        mask = np.array([not urgent.isdisjoint(codes) for codes in plots["erosion_flags"]], bool)
        mask |= (plots["row_method"] == MEASURE).to_numpy()
        mask |= np.array([CROSSED in codes for codes in plots["water_flags"]], bool)
        mask |= (plots["outlet_flags"].map(len) > 0).to_numpy()
    else:  # "none"
        mask = np.zeros(len(plots), dtype=bool)
    # Nobody can set out rows in a circle that stands for a plot.
    known = ~is_circle(plots["outline_repair"]).to_numpy()
    return np.flatnonzero(mask & known).astype(np.int64)
