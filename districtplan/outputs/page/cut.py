"""A run cut into its villages: each is a run of its own, by the same plan.

What is worded of a plot needs no more than its village, so that a village's data is made as the
district's would be, and can be loaded by itself.
"""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from districtplan.outputs.page import lines

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from districtplan.conservation import Works
    from districtplan.demos import Allotment
    from districtplan.results import Results

    Integers = NDArray[np.int64]

AROUND_M = 300.0
"""Flow lines as near as this to the plots of a village are drawn with them [m]."""


def in_order(results: Results) -> Results:
    """Put the plots of each village beside one another, villages in the order of their totals.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    Results
        The same run, its plots in another order; those of a village keep theirs. Rows along guide
        lines are thinned to what pages hold.
    """
    number = _numbers(results)[results.plots["village"]].to_numpy(dtype=np.int64)
    order = np.argsort(number, kind="stable")
    rows = lines.thinned_rows(results)
    bought = results.purchase
    return dataclasses.replace(
        results,
        plots=results.plots.iloc[order].reset_index(drop=True),
        row_lines=dataclasses.replace(rows, planted=rows.planted[order]),
        purchase=dataclasses.replace(bought, kits=bought.kits.iloc[order].reset_index(drop=True)),
    )


def villages(results: Results) -> list[Results]:
    """Cut a run into its villages.

    Parameters
    ----------
    results : Results
        The run, in order.

    Returns
    -------
    list[Results]
        A run for each row of ``results.villages``, with the tables that pages of a village need:
        plots, guide lines, rows, pegs, flow lines around, measures chosen, vetoes, kits, totals,
        demonstration plots.
    """
    count = len(results.villages)
    number = _numbers(results)[results.plots["village"]].to_numpy(dtype=np.int64)
    ends = np.searchsorted(number, np.arange(count + 1))
    of_plot = pd.Series(number, index=results.plots["plot_id"])

    def parted(table: pd.DataFrame) -> list[pd.DataFrame]:
        own = table["plot_id"].map(of_plot).to_numpy(dtype=np.float64)
        # Rows of plots that aren't of this run come last, and go nowhere.
        order = np.argsort(own, kind="stable")
        cuts = np.searchsorted(own[order], np.arange(count + 1))
        return [table.iloc[order[a:b]].reset_index(drop=True) for a, b in pairwise(cuts)]

    guides, proposal = results.guides, results.proposal
    tables = {
        "lines": parted(guides.lines),
        "line_pegs": parted(guides.pegs),
        "boundaries": parted(guides.boundaries),
        "rows": parted(results.row_lines.lines),
        "pegs": parted(results.pegs.table),
        "chosen": parted(proposal.chosen),
        "days": parted(results.works.days),
        "walk_over": parted(proposal.walk_over),
        "left_out": parted(proposal.priorities.left_out),
    }
    beside = {
        name: parted(given.used)
        for name, given in results.beside.items()
        if "plot_id" in given.used
    }
    flow = _flow(results, ends)
    demos = _demos(results.demos, results.villages["village"], parted)
    first = list(proposal.priorities.chosen.columns)
    offered = list(proposal.options.offered.columns)

    def village(at: int) -> Results:
        own = slice(ends[at], ends[at + 1])
        part = {name: parts[at] for name, parts in tables.items()}
        chosen = part["chosen"]
        kits = results.purchase.kits.iloc[own].reset_index(drop=True)
        total = results.villages.iloc[[at]].reset_index(drop=True)
        aside = results.set_aside[results.set_aside["village"] == total["village"].iloc[0]]
        return dataclasses.replace(
            results,
            plots=results.plots.iloc[own].reset_index(drop=True),
            guides=dataclasses.replace(
                guides, lines=part["lines"], pegs=part["line_pegs"], boundaries=part["boundaries"]
            ),
            row_lines=dataclasses.replace(
                results.row_lines, lines=part["rows"], planted=results.row_lines.planted[own]
            ),
            pegs=dataclasses.replace(results.pegs, table=part["pegs"]),
            flow_lines=results.flow_lines.iloc[flow[at]],
            proposal=dataclasses.replace(
                proposal,
                priorities=dataclasses.replace(
                    proposal.priorities,
                    chosen=chosen[[n for n in first if n in chosen]],
                    left_out=part["left_out"],
                ),
                options=proposal.options._replace(offered=chosen[offered]),
                walk_over=part["walk_over"],
            ),
            works=_works(results, results.plots.iloc[own], part),
            purchase=dataclasses.replace(results.purchase, kits=kits),
            beside={
                name: dataclasses.replace(results.beside[name], used=parts[at])
                for name, parts in beside.items()
            },
            demos=demos[at],
            visits=None,
            villages=total,
            district=total.iloc[0].drop("village"),
            set_aside=aside,
            rows_read=len(kits) + len(aside),
            forecasts=(),
        )

    return [village(at) for at in range(count)]


def _numbers(results: Results) -> pd.Series:
    names = results.villages["village"]
    return pd.Series(np.arange(len(names)), index=names.to_numpy(dtype=object))


def _demos(
    found: Allotment | None,
    names: pd.Series,
    parted: Callable[[pd.DataFrame], list[pd.DataFrame]],
) -> list[Allotment | None]:
    """Cut the choice of demonstration plots: those of a village, and those that its farmers go to.

    What is told of the choice as a whole stays the district's, and so do the numbers of rows of
    those chosen, by which maps name them. Halves are those of the village's own.
    """
    if found is None:
        return [None] * len(names)
    home = pd.Series(found.people_village).groupby(found.people_village).indices
    plots = parted(found.plots)

    def village(name: str, own: pd.DataFrame) -> Allotment:
        served = found.served[found.served["village"] == name]
        theirs = found.chosen["village"].eq(name) | found.chosen["plot_id"].isin(served["plot_id"])
        at = np.flatnonzero(theirs)
        comers = [found.comers[one] for one in at]
        people = np.unique(np.concatenate([home.get(name, np.empty(0, np.int64)), *comers]))
        chosen = found.chosen.iloc[at]
        here = chosen.loc[chosen["village"] == name, "plot_id"]
        return dataclasses.replace(
            found,
            chosen=chosen,
            plots=own,
            villages=found.villages[found.villages["village"] == name],
            people_m=found.people_m[people],
            people_village=found.people_village[people],
            reached=found.reached[people],
            chosen_m=found.chosen_m[at],
            comers=tuple(np.searchsorted(people, one) for one in comers),
            served=served,
            laid={one: found.laid[one] for one in here if one in found.laid},
        )

    return [village(name, own) for name, own in zip(names.astype(str), plots, strict=True)]


def _works(results: Results, plots: pd.DataFrame, part: dict[str, pd.DataFrame]) -> Works:
    """Keep the works of the hillsides that a village has land on."""
    works, there = results.works, set(plots["work_site"])
    order = works.order[works.order["work_site"].isin(there)]
    worked = set(plots.loc[plots["plot_id"].isin(part["chosen"]["plot_id"]), "work_site"])
    return dataclasses.replace(
        works,
        order=order.reset_index(drop=True),
        days=part["days"],
        waiting=works.waiting & there,
        sites=len(worked),
        sites_drawn=len(worked.intersection(order["work_site"])),
    )


def _flow(results: Results, ends: Integers) -> list[Integers]:
    """Find the flow lines near each village, by place, in their order."""
    tree = shapely.STRtree(results.flow_lines["geometry"].to_numpy(dtype=object))
    bounds = shapely.bounds(results.plots["geometry"].to_numpy(dtype=object))
    move = Transformer.from_crs(results.plots_crs, results.grid_crs, always_xy=True)
    found = []
    for start, end in pairwise(ends):
        own = bounds[start:end]
        corners = (*own[:, :2].min(axis=0), *own[:, 2:].max(axis=0))
        west, south, east, north = move.transform_bounds(*corners)
        box = shapely.box(west - AROUND_M, south - AROUND_M, east + AROUND_M, north + AROUND_M)
        found.append(np.sort(tree.query(box)).astype(np.int64))
    return found
