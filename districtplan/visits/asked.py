"""What the plan asks of visits, in the words of the stages that plan them."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.accepted import SHOWN_MAX
from districtplan.errors import Fault, InputError
from districtplan.visits.dated import ONSET, dated
from districtplan.visits.days import HOUR_MIN, Days, Hours, working_days
from districtplan.visits.given import Fixable
from districtplan.visits.route import ITERATIONS, STALE, Effort
from districtplan.visits.season import MUCH, Help
from districtplan.visits.sessions import SESSION, Policy
from districtplan.visits.stages import STORM, TABLE
from districtplan.visits.units import NO_PLOT

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import date

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.visits.dated import Dated
    from districtplan.visits.season import Before, Numbered
    from districtplan.visits.units import Ground

MEASURE = "measure on the ground"
ROADS = ("road", "culvert")
"""Kinds of features that who rides goes along."""
SEASONS = ("early", "usual", "late")
FAR_DAYS = 183
"""What was seen or fixed further from the season than half a year is of another [days]."""


class About(NamedTuple):
    """Plots that are visited for a reason, by their ids.

    Attributes
    ----------
    demos, structures : Collection[str]
        Demonstration plots; plots with structures, standing or chosen.
    taking_part : Collection[str] | None
        Whose farmers take part; None where that isn't known.
    closed : Collection[str]
        Where nothing is planted.
    """

    demos: Collection[str]
    structures: Collection[str]
    taking_part: Collection[str] | None
    closed: Collection[str]


def plots(joined: pd.DataFrame, about: About, plan: Plan) -> pd.DataFrame:
    """Say of plots why they are visited.

    Parameters
    ----------
    joined : pandas.DataFrame
        ``plot_id``, ``village``, ``row_method``, ``erosion_class_number`` and ``slope_used_pct``.
    about : About
        What is known of some.
    plan : Plan
        Its class of soil loss; without tonnes its slope.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``village``, ``demo``, ``above_class``, ``provisional``, ``structures`` and
        ``visited``.
    """
    ids = joined["plot_id"]
    visited = ~ids.isin(list(about.closed))
    if about.taking_part is not None and plan.visits.visited == "taking part":
        visited &= ids.isin([*about.taking_part, *about.demos])
    if plan.tonnes:
        above = joined["erosion_class_number"].fillna(0) > plan.visits.class_above
    else:
        above = joined["slope_used_pct"] > plan.erosion.structures_from_slope_pct
    return pd.DataFrame(
        {
            "plot_id": ids,
            "village": joined["village"],
            "demo": ids.isin(list(about.demos)) & visited,
            "above_class": above.astype(bool),
            "provisional": joined["row_method"] == MEASURE,
            "structures": ids.isin(list(about.structures)),
            "visited": visited,
        }
    ).reset_index(drop=True)


def meetings(known: pd.DataFrame, listed: pd.DataFrame) -> pd.DataFrame:
    """List where sessions are held: at demonstration plots, then at meeting places.

    Parameters
    ----------
    known : pandas.DataFrame
        What :func:`plots` gives.
    listed : pandas.DataFrame
        ``meeting_place`` and ``village``.

    Returns
    -------
    pandas.DataFrame
        ``meeting_place``, ``village`` and ``plot``, its number, -1 of none.
    """
    at = np.flatnonzero(known["demo"])
    shown = known.iloc[at]
    return pd.DataFrame(
        {
            "meeting_place": [*shown["plot_id"], *listed["meeting_place"]],
            "village": [*shown["village"], *listed["village"]],
            "plot": np.array([*at, *[NO_PLOT] * len(listed)], np.int64),
        }
    )


def policy(plan: Plan, handbook: Handbook) -> Policy:
    """Read which plots get what.

    Parameters
    ----------
    plan : Plan
        The plan.
    handbook : Handbook
        Table ``visit_stages``.

    Returns
    -------
    Policy
        The same in the words of sessions.
    """
    wanted = plan.visits
    every = [name for name in handbook.rows(TABLE)["name"] if name != STORM]
    return Policy(
        wanted.session_stages,
        every if wanted.demo_stages is None else wanted.demo_stages,
        wanted.flagged_stages,
        wanted.structure_stages,
        wanted.rest_stages,
        wanted.rest_every,
    )


def effort(plan: Plan) -> Effort:
    """Read when searches stop.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Effort
        Steps and seed.
    """
    wanted = plan.visits
    stale = max(1, wanted.iterations * STALE // ITERATIONS)
    return Effort(wanted.iterations, stale, wanted.seed, wanted.seconds)


def wanted(plan: Plan) -> Help:
    """Read whether relief is worked out.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    Help
        What is tried.
    """
    return Help(plan.visits.relief, plan.visits.cut_share)


def require_lines(plan: Plan, *, paths: bool, roads: bool) -> None:
    """Refuse a plan whose ways go by what nobody drew.

    Parameters
    ----------
    plan : Plan
        The plan.
    paths, roads : bool
        Whether any path or road, and whether any road, is drawn.

    Raises
    ------
    InputError
        With all that is lacking.
    """
    faults = [
        Fault(
            f"[visits] {key}",
            f"goes by {what}, and files.features has none",
            'Draw them there, or give "straight line"',
        )
        for key, what, lacking in (
            ("walk_by", "paths and roads", plan.visits.walk_by == "paths" and not paths),
            ("ride_by", "roads", plan.visits.ride_by == "roads" and not roads),
        )
        if lacking
    ]
    if faults:
        raise InputError(*faults)


def open_in_rains(features: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Leave out the roads that nobody rides along in the rains.

    Parameters
    ----------
    features : pandas.DataFrame
        ``kind`` and ``feature``, what it is called: its name stands in quotation marks.
    plan : Plan
        Names of these roads.

    Returns
    -------
    pandas.DataFrame
        The others.

    Raises
    ------
    InputError
        If no road has such a name, or none is left.
    """
    closed = plan.visits.roads_closed or []
    road = features["kind"].isin(ROADS)
    named = {
        name: road & features["feature"].str.contains(f"“{name}”", regex=False) for name in closed
    }
    faults = [
        Fault(
            f"[visits] roads_closed = {name[:SHOWN_MAX]!a}",
            "is the name of no road or culvert in files.features",
            "Write the name as it stands there",
        )
        for name, found in named.items()
        if not found.any()
    ]
    shut = np.zeros(len(features), np.bool_)
    for found in named.values():
        shut |= found.to_numpy(dtype=np.bool_)
    if closed and not faults and not road[~shut].any():
        faults = [
            Fault(
                "[visits] roads_closed",
                "closes every road",
                "Give agents wet_speed_km_h = 0: they go on foot in the rains",
            )
        ]
    if faults:
        raise InputError(*faults)
    return features.loc[~shut]


def seen_days(calendar: pd.DataFrame) -> tuple[date, date]:
    """Say when what is told can have been seen.

    Parameters
    ----------
    calendar : pandas.DataFrame
        Works of all seasons and zones.

    Returns
    -------
    tuple[datetime.date, datetime.date]
        First and last day.
    """
    onsets = calendar.loc[calendar["work"] == ONSET, "first_day"]
    far = timedelta(days=FAR_DAYS)
    return onsets.min() - far, onsets.max() + far


def fixable(table: pd.DataFrame, ground: Ground, known: Dated, agents: pd.DataFrame) -> Fixable:
    """Say what visits may be fixed by hand.

    Parameters
    ----------
    table : pandas.DataFrame
        Visits that policy asks for.
    ground : Ground
        Who is visited.
    known : Dated
        Windows of the stages.
    agents : pandas.DataFrame
        ``agent_id``.

    Returns
    -------
    Fixable
        Plots, stages, sessions and agents.
    """
    held = table[table["kind"] == SESSION]
    far = timedelta(days=FAR_DAYS)
    return Fixable(
        set(ground.plots["plot_id"]),
        set(known.windows["stage"]),
        set(zip(held["place"], held["stage"], strict=True)),
        set(agents["agent_id"]),
        (known.windows["first_day"].min() - far, known.windows["last_day"].max() + far),
    )


def season_days(
    own: Numbered,
    agents: pd.DataFrame,
    leave: pd.DataFrame,
    plan: Plan,
    stood: Before | None = None,
) -> tuple[Days, date]:
    """List the days on which agents work while anything is to be visited.

    Parameters
    ----------
    own : Numbered
        The visits.
    agents : pandas.DataFrame
        Agents as accepted.
    leave : pandas.DataFrame
        ``agent_id``, ``first_day`` and ``last_day``.
    plan : Plan
        Its hours, holidays and the day on which the plan is made.
    stood : Before | None, default None
        The plan that is carried on: no day that it has visits on is held back for rain, however
        leave or what was seen shifts the count.

    Returns
    -------
    days : Days
        Those after the day on which the plan is made.
    first : datetime.date
        Day from whose midnight seconds count.

    Raises
    ------
    InputError
        If nothing is to be visited.
    """
    units, asked = own.units, plan.visits
    if units.empty:
        raise InputError(
            Fault("[visits]", "asks for no visit", "Name stages, demos or meeting places")
        )
    fixed = [day for day in units["fixed_day"] if day is not None]
    first = min([*units["first_day"], *fixed])
    last = max([*units["last_day"], *fixed])
    number = {name: at for at, name in enumerate(agents["agent_id"])}
    stands = () if stood is None else [(agent, day) for agent, day, _ in stood.day.values()]
    hours = Hours(
        _minutes(asked.storm_from), _minutes(asked.storm_to), _minutes(asked.back_by),
        asked.rain_day_every, frozenset(asked.holidays or ()), frozenset(fixed),
        frozenset(stands),
    )  # fmt: skip
    found = working_days(
        agents.assign(
            from_min=agents["from"],
            to_min=agents["to"],
            most_min=[
                MUCH if hours is None or np.isnan(hours) else round(HOUR_MIN * hours)
                for hours in agents["hours_most"]
            ],
            carries_g=MUCH,
        ),
        leave.assign(agent=leave["agent_id"].map(number)),
        hours,
        first,
        last,
    )
    return _after(found, asked.made_on or first - timedelta(days=1)), first


def _after(days: Days, made_on: date) -> Days:
    kept = np.array([day > made_on for day in days.date], np.bool_)
    held = days.held_back
    return Days(
        days.shifts.take(np.flatnonzero(kept)),
        [day for day, one in zip(days.date, kept, strict=True) if one],
        held[np.array([day > made_on for day in held["date"]], np.bool_)].reset_index(drop=True),
    )


def _minutes(text: str) -> int:
    hours, minutes = text.split(":")
    return HOUR_MIN * int(hours) + int(minutes)


def stage_table(
    calendar: pd.DataFrame,
    zone_of: Mapping[str, str],
    known: Dated,
    plan: Plan,
    handbook: Handbook,
) -> pd.DataFrame:
    """Tell the windows of all seasons by village; that of the season planned for as it is seen.

    Parameters
    ----------
    calendar : pandas.DataFrame
        Works of all seasons and zones.
    zone_of : Mapping[str, str]
        Zone by village.
    known : Dated
        Windows that are planned by.
    plan : Plan
        The season planned for.
    handbook : Handbook
        Table ``visit_stages``.

    Returns
    -------
    pandas.DataFrame
        ``village``, ``visit_stage`` and the columns made by visit stages.
    """
    found = []
    villages = sorted(known.group)
    for season in dict.fromkeys(calendar["season"]):
        planned = season == plan.visits.season
        own = known if planned else dated(calendar, zone_of, season, None, (villages, handbook))
        for village in villages:
            table = own.windows[own.windows["group"] == own.group[village]]
            found.append(
                pd.DataFrame(
                    {
                        "village": village,
                        "visit_stage": table["stage"],
                        "stage_season": season,
                        "stage_first_day": table["first_day"],
                        "stage_last_day": table["last_day"],
                        "stage_planned": int(planned),
                        "stage_why": table["source"],
                    }
                )
            )
    names = ("village", "visit_stage", *tables.made_by("visit stages"))
    return pd.concat(found, ignore_index=True)[list(names)]
