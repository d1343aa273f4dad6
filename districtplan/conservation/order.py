"""The order of work on a site, what each plot owes, and what is safe if only some take part."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.conservation.outlets import TO_BUILD

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from numpy.typing import NDArray

    from districtplan.conservation.structure_lines import Drawn, Line

    Floats = NDArray[np.float64]

BEFORE, NOW = "the season before", "this season"
WORKS = ("outlet", "waterway", "cut_off_drain", "structures", "rows")
"""Works of a site in their order: what takes water comes before what sends it."""


def order_of_work(
    sites: pd.DataFrame, drawn: Mapping[str, Sequence[Drawn]], above: Collection[str]
) -> pd.DataFrame:
    """Put the works of each site in order.

    Outlets are looked over and waterways dug and grassed a season before water is sent into them;
    then the cut-off drain above the top plot, structures from the top down, and rows. Whatever
    carries water needs the written agreement of all villages of the site and of the plots below it
    that belong to others.

    Parameters
    ----------
    sites : pandas.DataFrame
        ``plot_id`` and the columns of work sites.
    drawn : Mapping[str, Sequence[Drawn]]
        Lines of each site, by its name: one entry a measure.
    above : Collection[str]
        Names of sites whose first entry is a cut-off drain.

    Returns
    -------
    pandas.DataFrame
        One row a step: ``work_site`` and the columns of the order of work.
    """
    found: list[dict[str, object]] = []
    ordered = sites.sort_values(["work_site", "site_place"])
    for name, own in ordered.groupby("work_site", sort=True):
        site = str(name)
        plots = tuple(own["plot_id"])
        asked = tuple(own["site_villages"].iloc[0]) + tuple(own["site_neighbours"].iloc[0])
        works = _works(plots, drawn.get(site, ()), drain_first=site in above)
        for step, (work, who) in enumerate(works, start=1):
            rows_alone = work in WORKS[-1:]
            found.append(
                {
                    "work_site": site,
                    "work_step": step,
                    "work": work,
                    "work_season": BEFORE if work in WORKS[:2] else NOW,
                    "work_plots": who,
                    "work_agreed_by": () if rows_alone else asked,
                }
            )
    columns = ("work_site", *tables.made_by("work order"))
    return tables.check(pd.DataFrame(found, columns=list(columns)), columns)


def _works(
    plots: tuple[str, ...], drawn: Sequence[Drawn], *, drain_first: bool
) -> list[tuple[str, tuple[str, ...]]]:
    works: list[tuple[str, tuple[str, ...]]] = []
    if any(line.outlet is not None for one in drawn for line in one.lines):
        works.append(("outlet", plots))
    if any(one.waterway is not None for one in drawn):
        works.append(("waterway", plots))
    for place, one in enumerate(drawn):
        if not one.lines:
            continue
        if drain_first and place == 0:
            # It protects all of them, though it crosses none.
            works.append(("cut_off_drain", plots))
            continue
        on = {plot for line in one.lines for plot in line.plot_ids}
        works.append(("structures", tuple(plot for plot in plots if plot in on)))
    return [*works, ("rows", plots)]


def days_owed(
    sites: pd.DataFrame, own_days: Floats, area_ha: Floats, common_days: Mapping[str, float]
) -> pd.DataFrame:
    """Share out the labour: each plot its own lines, and common works by area.

    Parameters
    ----------
    sites : pandas.DataFrame
        ``plot_id`` and ``work_site``.
    own_days : numpy.ndarray
        Person-days of what stands on each plot, NaN where not known, shape (plots,).
    area_ha : numpy.ndarray
        Area of each plot, shape (plots,) [ha].
    common_days : Mapping[str, float]
        Person-days of waterway, outlet and cut-off drain by work site, NaN where not known; a site
        left out has no such works.

    Returns
    -------
    pandas.DataFrame
        One row a plot: ``plot_id`` and ``days_owed``, NaN where any part isn't known.
    """
    site = sites["work_site"]
    whole = pd.Series(area_ha, index=sites.index).groupby(site).transform("sum").to_numpy()
    common = site.map(lambda name: common_days.get(name, 0.0)).to_numpy(dtype=np.float64)
    found = pd.DataFrame(
        {"plot_id": sites["plot_id"], "days_owed": own_days + common * area_ha / whole}
    )
    return tables.check(found, ("plot_id", *tables.made_by("days")))


def safe_if(
    drawn: Drawn, taking_part: Collection[str]
) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
    """Say which lines are safe to build if only some plots take part.

    Level lines hold what falls on their own plot: each is safe alone. A graded line is safe where
    every plot that it crosses takes part, since a line that stops short of its outlet drops all its
    water on whoever is below; of one that isn't, no part is offered here, but ``structure_plots``
    tells how far from the outlet up it could be built. A line into a waterway to build is safe only
    if the waterway is built, and so needs the plots that the waterway crosses as well.

    Parameters
    ----------
    drawn : Drawn
        Lines of one measure on one site.
    taking_part : Collection[str]
        Ids of the plots that take part.

    Returns
    -------
    safe : tuple[Line, ...]
        Lines that can be built.
    unsafe : tuple[Line, ...]
        The others.
    """
    there = set(taking_part)
    dug = drawn.waterway is None or there.issuperset(drawn.waterway_plots)
    safe: list[Line] = []
    unsafe: list[Line] = []
    for line in drawn.lines:
        if line.outlet is None:
            sound = bool(there.intersection(line.plot_ids))
        else:
            sound = there.issuperset(line.plot_ids) and (dug or line.outlet != TO_BUILD)
        (safe if sound else unsafe).append(line)
    return tuple(safe), tuple(unsafe)
