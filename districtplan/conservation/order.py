"""The order of work on a site, what each plot owes, and what is safe if only some take part."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.conservation.outlets import TO_BUILD
from districtplan.conservation.structure_lines import DRAWN

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from districtplan.conservation.structure_lines import Drawn, Line

    Floats = NDArray[np.float64]

BEFORE, NOW = "the season before", "this season"
FIND = "find_outlet"
LAY_OUT, BELOW = "lay_out", "lay_out_below"
LAST = "rows"
WORKS = (FIND, LAY_OUT, BELOW, "outlet", "waterway", "cut_off_drain", "structures", "cover", LAST)
"""Works of a site in their order: what takes water comes before what sends it."""
EARLY = (FIND, LAY_OUT, BELOW, "outlet", "waterway")
"""Works of a season before the others."""
RIDGES = "contour_ridges"
"""Measure that the rows themselves are."""
WATER = "gathered_water"
"""What waits for an outlet beside measures: gathered water that none takes yet."""
NO_OUTLET, NOT_SPANNED, BETWEEN = "no_outlet", "head_not_spanned", "plots_between"
WATERWAY = "grassed_waterway"


def order_of_work(
    sites: pd.DataFrame,
    drawn: Mapping[str, Mapping[str, Drawn]],
    above: Collection[str],
    days: Mapping[tuple[str, str], float] | None = None,
    planted: Mapping[str, Mapping[str, tuple[str, ...]]] | None = None,
    priced_m: Mapping[tuple[str, str], float] | None = None,
) -> pd.DataFrame:
    """Put the works of each site in order.

    Where water has nowhere safe to go, gathered water among it, an outlet is found first, by a
    technician, and what would carry that water waits; lines with an outlet of their own don't.
    Where plots that may bear no line lie
    between, one lays out what takes their water off those below. Outlets are looked over and
    waterways dug and grassed a season before water is sent into them; then the cut-off drain above
    the top plot, structures from the top down, and rows. Whatever carries water needs the written
    agreement of all villages of the site and of the plots below it that belong to others.

    Parameters
    ----------
    sites : pandas.DataFrame
        ``plot_id`` and the columns of work sites.
    drawn : Mapping[str, Mapping[str, Drawn]]
        Lines by name of the site, and of the measure.
    above : Collection[str]
        Measures that lie above the top plot.
    days : Mapping[tuple[str, str], float] | None, default None
        Person-days by site and measure, NaN where not known.
    planted : Mapping[str, Mapping[str, tuple[str, ...]]] | None, default None
        Plots by site and measure that isn't along lines: permanent cover, and rows with ridges.
    priced_m : Mapping[tuple[str, str], float] | None, default None
        Metres by site and measure that its days are counted for.

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
        laid = _works(plots, drawn.get(site, {}), above)
        laid += _of_rows(plots, (planted or {}).get(site, {}))
        for step, work in enumerate(laid, start=1):
            # What a technician lays out is in no figure.
            built = (site, "" if work.name in (LAY_OUT, BELOW) else work.structure or "")
            found.append(
                {
                    "work_site": site,
                    "work_step": step,
                    "work": work.name,
                    "work_season": BEFORE if work.name in EARLY else NOW,
                    "work_structure": work.structure,
                    "work_lines": work.lines,
                    "work_length_m": work.length_m,
                    "work_priced_length_m": (priced_m or {}).get(built, np.nan),
                    "work_outlet": work.outlet,
                    "work_waits": work.waits,
                    "work_person_days": (days or {}).get(built, np.nan),
                    "work_plots": work.plots,
                    "work_agreed_by": asked if work.carries else (),
                }
            )
    columns = ("work_site", *tables.made_by("work order"))
    table = pd.DataFrame(found, columns=list(columns))
    types = {"work_step": "int64", "work_lines": "Int64"}
    metres = ("work_length_m", "work_priced_length_m")
    types |= dict.fromkeys((*metres, "work_person_days"), "float64")
    return tables.check(table.astype(types), columns)


def without_rows(order: pd.DataFrame, barred: Collection[str]) -> pd.DataFrame:
    """Leave plots on which no rows may be out of the step that lays rows.

    Parameters
    ----------
    order : pandas.DataFrame
        What :func:`order_of_work` gives.
    barred : Collection[str]
        Ids of these plots.

    Returns
    -------
    pandas.DataFrame
        The order; the step is left out where none of its plots is left.
    """
    last = order["work"] == LAST
    plots = [
        tuple(plot for plot in own if plot not in barred) if rows else own
        for own, rows in zip(order["work_plots"], last, strict=True)
    ]
    kept = order.assign(work_plots=pd.Series(plots, index=order.index, dtype=object))
    return kept[~last | (kept["work_plots"].map(len) > 0)]


def shared(order: pd.DataFrame, barred: Collection[str], away: Collection[str]) -> pd.DataFrame:
    """Leave work to the plots that owe it; the others on which water is led must agree.

    Parameters
    ----------
    order : pandas.DataFrame
        What :func:`order_of_work` gives.
    barred : Collection[str]
        Ids of plots for which nothing is chosen, closed ones among them.
    away : Collection[str]
        Ids of those of them that don't take part, and may bear what leads water.

    Returns
    -------
    pandas.DataFrame
        The order. Where a work is on such plots alone, all others of the site do it.
    """
    every = {
        site: tuple(dict.fromkeys(plot for own in plots for plot in own if plot not in barred))
        for site, plots in order.groupby("work_site", sort=False)["work_plots"]
    }
    doing, asked = [], []
    told = zip(order["work_site"], order["work_plots"], order["work_agreed_by"], strict=True)
    for site, own, names in told:
        doing.append(tuple(plot for plot in own if plot not in barred) or every[site])
        asked.append((*names, *(plot for plot in own if names and plot in away)))
    return order.assign(
        work_plots=pd.Series(doing, index=order.index, dtype=object),
        work_agreed_by=pd.Series(asked, index=order.index, dtype=object),
    )


class _Work(NamedTuple):
    name: str
    plots: tuple[str, ...]
    carries: bool
    structure: str | None = None
    lines: int | None = None
    length_m: float = np.nan
    outlet: str | None = None
    waits: tuple[str, ...] = ()


def _works(
    plots: tuple[str, ...], drawn: Mapping[str, Drawn], above: Collection[str]
) -> list[_Work]:
    works: list[_Work] = []
    gathered = drawn.get(WATERWAY)
    left = gathered is not None and gathered.reason is not None
    waits = [WATER] if left else []
    waits += [name for name, one in drawn.items() if name != WATERWAY and one.reason == NO_OUTLET]
    if waits:
        works.append(_Work(FIND, plots, carries=True, waits=tuple(waits)))
    works += [
        _Work(LAY_OUT, plots, carries=True, structure=name)
        for name, one in drawn.items()
        if one.reason == NOT_SPANNED
    ]
    works += [
        _Work(BELOW, one.bare, carries=True, structure=name)
        for name, one in drawn.items()
        if one.reason == BETWEEN
    ]
    waterways = [one.waterway for one in drawn.values() if one.waterway is not None]
    ends = [line.outlet for one in drawn.values() for line in one.lines if line.outlet is not None]
    taking = () if gathered is None else gathered.takes
    there = sorted({*ends, *taking, *(dug.ends_at for dug in waterways)} - {TO_BUILD})
    if there:
        works.append(_Work("outlet", plots, carries=True, outlet="; ".join(there)))
    if waterways:
        dug = waterways[0]
        works.append(
            _Work(
                "waterway",
                plots,
                carries=True,
                structure=WATERWAY,
                lines=1,
                length_m=float(dug.line.length),
                outlet=dug.ends_at,
            )
        )
    first = sorted(drawn, key=lambda name: name not in above)
    works += [_of_lines(name, drawn[name], plots, above) for name in first if drawn[name].lines]
    return works


def _of_rows(plots: tuple[str, ...], planted: Mapping[str, tuple[str, ...]]) -> list[_Work]:
    """Give what is planted: cover that stays, then rows, on whatever plots have any."""
    cover = {name: set(own) for name, own in planted.items() if name != RIDGES}
    works = [
        _Work("cover", tuple(plot for plot in plots if plot in own), carries=False, structure=name)
        for name, own in cover.items()
    ]
    kept = [plot for plot in plots if not any(plot in own for own in cover.values())]
    # Rows have ridges where these are chosen, and no others are paid for.
    ridged = set(planted.get(RIDGES, ()))
    rows = {
        structure: tuple(plot for plot in kept if (plot in ridged) == (structure is not None))
        for structure in (RIDGES, None)
    }
    return works + [
        _Work(LAST, own, carries=False, structure=structure)
        for structure, own in rows.items()
        if own
    ]


def _of_lines(name: str, drawn: Drawn, plots: tuple[str, ...], above: Collection[str]) -> _Work:
    on = {plot for line in drawn.lines for plot in line.plot_ids}
    ends = sorted({line.outlet for line in drawn.lines if line.outlet is not None})
    known = all(line.state == DRAWN for line in drawn.lines)
    length = sum(float(line.shape.length) for line in drawn.lines)
    drain = name in above
    return _Work(
        "cut_off_drain" if drain else "structures",
        # A drain above protects all of them, though it crosses none.
        plots if drain else tuple(plot for plot in plots if plot in on),
        carries=bool(ends),
        structure=name,
        lines=len(drawn.lines),
        length_m=length if known else np.nan,
        outlet="; ".join(ends) or None,
    )


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
        Area of each plot, 0 for one that owes nothing of common works, shape (plots,) [ha].
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
    common = np.array([common_days.get(name, 0.0) for name in site], dtype=np.float64)
    owes = area_ha > 0
    shared = np.divide(common * area_ha, whole, out=np.zeros_like(area_ha), where=owes)
    found = pd.DataFrame({"plot_id": sites["plot_id"], "days_owed": own_days + shared})
    return tables.check(found, ("plot_id", *tables.made_by("days")))


def safe_if(
    drawn: Drawn, taking_part: Collection[str]
) -> tuple[tuple[Line, ...], tuple[Line, ...]]:
    """Say which lines are safe to build if only some plots take part.

    Level lines hold what falls on their own plot: each is safe, whoever takes part. A graded line
    is safe where every plot that it crosses takes part, since a line that stops short of its outlet
    drops all its water on whoever is below; of one that isn't, no part is offered here, but
    ``structure_plots`` tells how far from the outlet up it could be built. A line into a waterway
    to build is safe only if the waterway is built, and so needs the plots that the waterway crosses
    as well.

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
        joined = there.issuperset(line.plot_ids) and (dug or line.outlet != TO_BUILD)
        sound = line.outlet is None or joined
        (safe if sound else unsafe).append(line)
    return tuple(safe), tuple(unsafe)
