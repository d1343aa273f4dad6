"""Who takes part: enrolment, consent, land under the crop, a cap on the kit.

Lines that are never one sum: enrolled; demo kits; registered but not enrolled; and land on which
the crop isn't planted, a line for each reason: belts of rivers and of forest, closed, too steep by
the plan's rule.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.accepted import NUMBER, SHOWN_MAX, TEXT_MAX, Given

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.plan import Plan

    Floats = NDArray[np.float64]

ENROLMENT = (
    "plot_id",
    "farmer_id",
    "group",
    "enrolled",
    "consent",
    "demo",
    "closed",
    "bean_area_ha",
    "bean_share",
)
"""Columns of a file of who takes part."""
BELTS = ("river buffer", "forest buffer")
"""Lines of land in belts; of plots that only reach into one, too."""
NO_GO = (*BELTS, "closed", "too steep")
"""Lines of land that nobody plants: a kit tells such land in a column of its own, and holds nothing
for it."""
NO_GO_HA = {line: f"{line.replace(' ', '_')}_ha" for line in NO_GO}
"""Column of a kit that tells its land on each of these lines."""
LINES = ("enrolled", "demo", "registered", *NO_GO)
ANSWERS = ("enrolled", "consent", "demo", "closed")


def accept_enrolment(given: pd.DataFrame, plots: pd.DataFrame) -> Given:
    """Take the rows that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``ENROLMENT`` as text, ``reason`` and ``remedy``.
    plots : pandas.DataFrame
        ``plot_id`` and ``area_ha`` of the plots used.

    Returns
    -------
    Given
        Rows used: ``plot_id``, ``farmer_id`` and ``group`` (empty where not given), ``enrolled``,
        ``consent``, ``takes_part`` (both), ``demo`` and ``closed``, and ``bean_share``, the share
        of the plot under the crop; and rows set aside. Who doesn't consent takes no part.
    """
    given = given.reset_index(drop=True)
    for name in ANSWERS:
        given[name] = given[name].str.lower()
    area = given["plot_id"].map(plots.set_index("plot_id")["area_ha"]).astype("float64")
    numbers = {
        name: pd.to_numeric(given[name].where(given[name].str.fullmatch(NUMBER)), errors="coerce")
        for name in ("bean_area_ha", "bean_share")
    }
    for wrong, reason, remedy in _checks(given, area, numbers):
        new = wrong & given["reason"].isna()
        given.loc[new, "reason"] = reason if isinstance(reason, str) else reason[new]
        given.loc[new, "remedy"] = remedy
    aside = given["reason"].notna()
    share = numbers["bean_share"].fillna(numbers["bean_area_ha"] / area).fillna(1.0)
    used = given[["plot_id", "farmer_id", "group"]].assign(
        enrolled=given["enrolled"] == "yes",
        consent=given["consent"] == "yes",
        takes_part=(given["enrolled"] == "yes") & (given["consent"] == "yes"),
        demo=given["demo"] == "yes",
        closed=given["closed"] == "yes",
        bean_share=share.astype("float64"),
    )
    told = given.loc[aside, ["source_row", "plot_id", "reason", "remedy"]]
    told["plot_id"] = told["plot_id"].str[:TEXT_MAX]
    return Given(used[~aside].reset_index(drop=True), told.reset_index(drop=True), len(given))


def _checks(
    given: pd.DataFrame, area: pd.Series, numbers: dict[str, pd.Series]
) -> Iterator[tuple[pd.Series, str | pd.Series, str]]:
    yield area.isna(), "no plot that is used has this plot_id", "Correct the id"
    again = given["plot_id"].duplicated(keep=False)
    yield again, "this plot_id stands in several rows", "Keep one of them"
    for name in ANSWERS:
        known = ("yes", "no") if name == "enrolled" else ("yes", "no", "")
        told = name + " = " + given[name].str[:SHOWN_MAX].map(ascii) + " isn't yes or no"
        yield ~given[name].isin(known), told, "Write yes or no"
    for name, values in numbers.items():
        told = name + " = " + given[name].str[:SHOWN_MAX].map(ascii) + " isn't a number"
        yield (given[name] != "") & values.isna(), told, "Write digits only, such as 0.25"
    both = (given["bean_area_ha"] != "") & (given["bean_share"] != "")
    yield both, "it has both bean_area_ha and bean_share", "Give one of them"
    too_large = (numbers["bean_share"] > 1) | (numbers["bean_area_ha"] > area)
    yield too_large, "more land is under the crop than the plot has", "Correct it, or the outline"


def taking_part(
    joined: pd.DataFrame,
    enrolled: pd.DataFrame | None,
    plan: Plan,
    in_belts: tuple[Floats, Floats] | None = None,
) -> pd.DataFrame:
    """Put each plot on its line, with its land under the crop.

    Parameters
    ----------
    joined : pandas.DataFrame
        ``plot_id``, ``village``, ``area_ha`` and ``slope_used_pct``.
    enrolled : pandas.DataFrame | None
        Rows used of the file of who takes part; None where the plan names none.
    plan : Plan
        Its cap on a farmer's kit, and the slope from which perennials take the place of crops.
    in_belts : tuple[numpy.ndarray, numpy.ndarray] | None, default None
        Share of each plot in the belts of rivers and of forest, where such are drawn.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``village`` and the columns made by taking part. Without a file, all plots are
        registered: what they need is an upper limit. ``bean_share`` is of the land out of belts.
    """
    river, forest = (np.zeros(len(joined)),) * 2 if in_belts is None else in_belts
    found = joined[["plot_id", "village"]].reset_index(drop=True)
    names = ["plot_id", "farmer_id", "group", "takes_part", "demo", "closed", "bean_share"]
    listed = pd.DataFrame(columns=names) if enrolled is None else enrolled
    # A file with no row in use has columns of no kind.
    beside = found.merge(listed, on="plot_id", how="left", validate="one_to_one")
    answers = {name: beside[name].eq(other=True) for name in ("takes_part", "demo", "closed")}
    steep = joined["slope_used_pct"].to_numpy() >= plan.erosion.perennials_from_slope_pct
    whole = np.isclose(river + forest, 1)
    line = np.select(
        [
            answers["closed"],
            steep,
            whole & (river >= forest),
            whole,
            answers["demo"],
            answers["takes_part"],
        ],
        ["closed", "too steep", *BELTS, "demo", "enrolled"],
        "registered",
    )
    # Closed and steep plots stand on their own lines, with all of their land.
    elsewhere = np.isin(line, NO_GO[2:])
    river, forest = np.where(elsewhere, 0, river), np.where(elsewhere, 0, forest)
    area = joined["area_ha"].to_numpy()
    left = np.where(whole | elsewhere, 0, 1 - river - forest)
    given = beside["bean_share"].astype("float64").fillna(1.0).to_numpy()
    share = pd.Series(np.where(left > 0, np.minimum(given / np.where(left > 0, left, 1), 1), 0))
    open_ha = pd.Series(left * area)
    farmer = beside["farmer_id"].where(beside["farmer_id"].fillna("") != "", found["plot_id"])
    group = beside["group"].where(beside["group"].fillna("") != "", found["village"])
    if plan.enrolment.kit_max_ha is not None:
        kits = (share * open_ha).where(line == "enrolled", 0.0).groupby(farmer).transform("sum")
        share *= (plan.enrolment.kit_max_ha / kits).clip(upper=1).where(line == "enrolled", 1.0)
    found = found.assign(
        farmer_id=farmer.astype("str"),
        group=group.astype("str"),
        order_line=line,
        bean_share=share,
        bean_area_ha=share * open_ha,
        river_buffer_ha=river * area,
        forest_buffer_ha=forest * area,
        closed_ha=np.where(line == "closed", area, 0),
        too_steep_ha=np.where(line == "too steep", area, 0),
    )
    return tables.check(found, ("plot_id", "village", *tables.made_by("taking part")))
