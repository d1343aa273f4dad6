"""All visits of a season with their names: what policy asks for, and what is fixed by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from districtplan.travel import Links
from districtplan.visits.sessions import SESSION, SINGLE, work_units
from districtplan.visits.stages import STORM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from districtplan.visits.dated import Dated
    from districtplan.visits.sessions import Policy

BY_HAND = "by hand"
NO_PLOT = -1
"""Number of the plot of a meeting place that is none."""
PARTS = "/"


class Ground(NamedTuple):
    """Who is visited, and where sessions are held.

    Attributes
    ----------
    plots : pandas.DataFrame
        By number: ``plot_id``, ``village``, ``demo``, ``above_class``, ``provisional``,
        ``structures`` and ``visited``, bool.
    meetings : pandas.DataFrame
        By number: ``meeting_place``, ``village``, ``plot``, the number of the demonstration plot
        that it is, -1 of none.
    near : Links
        From plots to meeting places in walking distance, by number.
    """

    plots: pd.DataFrame
    meetings: pd.DataFrame
    near: Links


def units(ground: Ground, dated: Dated, policy: Policy) -> pd.DataFrame:
    """List all visits of a season that policy asks for.

    Parameters
    ----------
    ground : Ground
        Who is visited.
    dated : Dated
        Windows of the stages.
    policy : Policy
        Which plots get what.

    Returns
    -------
    pandas.DataFrame
        What :func:`~.sessions.work_units` gives, by time, with ``visit_id``, the same in every run:
        stage, kind and place; ``place``, ``village``, ``plot`` (number, -1 of a meeting place that
        is none), ``agent_id``, empty, and ``fixed_day``, None. A demonstration plot where a session
        is held is not visited by itself at that stage.
    """
    found = [
        _of_group(ground, dated, policy, number) for number in sorted(set(dated.group.values()))
    ]
    return _ordered(_named(pd.concat(found, ignore_index=True), ground))


def _ordered(table: pd.DataFrame) -> pd.DataFrame:
    order = table.sort_values(["first_day", "stage", "kind", "place"], kind="stable")
    return order.reset_index(drop=True)


def _of_group(ground: Ground, dated: Dated, policy: Policy, number: int) -> pd.DataFrame:
    """List the visits of villages that share their windows, by the numbers of all plots."""
    near = _nearest(ground.near)
    own = ground.plots["village"].map(dated.group) == number
    taken = own & ground.plots["visited"]
    chosen = np.flatnonzero(taken)
    held = ground.meetings["village"].map(dated.group).to_numpy() == number
    # Who takes part may come from a village with other windows: the place's own count.
    comes = ground.plots["visited"].to_numpy(dtype=np.bool_)[near.start] & held[near.end]
    walked = Links(near.start[comes], near.end[comes], near.cost[comes])
    table = dated.windows[dated.windows["group"] == number]
    found = work_units(ground.plots[taken].reset_index(drop=True), walked, table, policy)
    single = (found["kind"] == SINGLE).to_numpy()
    at = found["at"].to_numpy(dtype=np.int64)
    return found.assign(at=np.where(single, chosen[np.where(single, at, 0)] if len(chosen) else at,
                                    at))  # fmt: skip


def _nearest(near: Links) -> Links:
    """Keep the nearest meeting place of each plot; of equally near ones the first."""
    order = np.lexsort((near.end, near.cost, near.start))
    _, first = np.unique(near.start[order], return_index=True)
    kept = order[first]
    return Links(near.start[kept], near.end[kept], near.cost[kept])


def _named(table: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    session = (table["kind"] == SESSION).to_numpy()
    at = table["at"].to_numpy(dtype=np.int64)
    rows = [
        _place(ground, int(number), session=bool(held))
        for number, held in zip(at, session, strict=True)
    ]
    place, village, plot = (list(part) for part in zip(*rows, strict=True)) if rows else ([],) * 3
    table = table.assign(
        place=pd.Series(place, dtype=object),
        village=pd.Series(village, dtype=object),
        plot=np.array(plot, np.int64),
        agent_id="",
        fixed_day=pd.Series([None] * len(table), dtype=object),
    )
    table["visit_id"] = [visit_id(row) for row in table.to_dict("records")]
    there = {
        (row["stage"], row["first_day"], row["plot"])
        for row in table[session].to_dict("records")
        if row["plot"] != NO_PLOT
    }
    shown = zip(table["stage"], table["first_day"], table["plot"], strict=True)
    twice = np.array([key in there for key in shown], np.bool_) & ~session
    return table[~twice]


def _place(ground: Ground, at: int, *, session: bool) -> tuple[str, str, int]:
    if session:
        row = ground.meetings.iloc[at]
        return str(row["meeting_place"]), str(row["village"]), int(row["plot"])
    row = ground.plots.iloc[at]
    return str(row["plot_id"]), str(row["village"]), at


def visit_id(row: dict[Any, Any]) -> str:
    """Name a visit so that it keeps its name in every plan.

    Parameters
    ----------
    row : dict[Any, Any]
        ``stage``, ``first_day`` (of storms), ``kind`` and ``place``.

    Returns
    -------
    str
        Such as ``pegging/single/A-01``.
    """
    stage = row["stage"]
    if stage == STORM:
        # Each storm has a round of its own.
        stage = f"{stage}-{row['first_day'].isoformat()}"
    return PARTS.join((stage, row["kind"], row["place"]))


def parts(name: str) -> tuple[str, str, str]:
    """Take the name of a visit apart.

    Parameters
    ----------
    name : str
        What :func:`visit_id` gives, or what somebody made of it.

    Returns
    -------
    tuple[str, str, str]
        Stage (of storms without the day), kind and place, empty where there is none.
    """
    stage, kind, place = (*name.split(PARTS, 2), "", "")[:3]
    return STORM if stage.startswith(f"{STORM}-") else stage, kind, place


def with_hand(
    table: pd.DataFrame, ground: Ground, dated: Dated, by_hand: pd.DataFrame
) -> pd.DataFrame:
    """Fix the agent and the day of visits; add those that policy doesn't ask for.

    Parameters
    ----------
    table : pandas.DataFrame
        What :func:`units` gives.
    ground : Ground
        Who is visited.
    dated : Dated
        Windows of the stages.
    by_hand : pandas.DataFrame
        ``place``, ``stage``, ``agent_id`` (empty where not named) and ``day`` (None alike).

    Returns
    -------
    pandas.DataFrame
        The same table; an agent named for one visit to a place has all of them, since one agent
        follows a place.
    """
    if by_hand.empty:
        return table
    parts = [table, *_added(table, ground, dated, by_hand)]
    table = pd.concat(parts, ignore_index=True)
    rows = by_hand.to_dict("records")
    agent_of = {row["place"]: row["agent_id"] for row in rows if row["agent_id"]}
    day_of = {(row["place"], row["stage"]): row["day"] for row in rows}
    pairs = zip(table["place"], table["stage"], strict=True)
    table["fixed_day"] = pd.Series([day_of.get(pair) for pair in pairs], dtype=object)
    table["agent_id"] = [agent_of.get(place, "") for place in table["place"]]
    return _ordered(table)


def _added(
    table: pd.DataFrame, ground: Ground, dated: Dated, by_hand: pd.DataFrame
) -> Iterator[pd.DataFrame]:
    known = set(zip(table["place"], table["stage"], strict=True))
    number = {plot: at for at, plot in enumerate(ground.plots["plot_id"])}
    for row in by_hand.to_dict("records"):
        at = number.get(row["place"])
        if (row["place"], row["stage"]) in known or at is None:
            continue
        group = dated.group[ground.plots["village"].iloc[at]]
        windows = dated.windows
        own = windows[(windows["group"] == group) & (windows["stage"] == row["stage"])]
        added = own.assign(
            kind=SINGLE, at=at, farmers=1, reason=BY_HAND, place=row["place"],
            village=ground.plots["village"].iloc[at], plot=at,
        )  # fmt: skip
        added["visit_id"] = [visit_id(one) for one in added.to_dict("records")]
        yield added[[name for name in table if name in added]].assign(agent_id="", fixed_day=None)
