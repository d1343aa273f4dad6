"""A planned season as tables: visits, days, load, costs, what is left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.visits.cost import costs, spent
from districtplan.visits.days import HOUR_MIN, MINUTE_S
from districtplan.visits.given import PARTED
from districtplan.visits.quality import AS_PLANNED, HOUR_S, NEAREST, quality
from districtplan.visits.season import CANCELLED, KM_M
from districtplan.visits.task import DAY_S
from districtplan.visits.units import parts

if TYPE_CHECKING:
    from districtplan.visits.relief import Relief
    from districtplan.visits.season import Planned, Season

PLANNED, LEFT_OUT, DONE = "planned", "left out", "done"
"""What became of a visit."""
_OF_PLACES = ("plot_id", "village")
_ROADHEAD = ("roadhead_longitude_deg", "roadhead_latitude_deg")
COLUMNS = (*tables.made_by("visits"), *_OF_PLACES)
"""Columns that the table of visits may have."""
LITRE_ML = 1_000
SHARE_PCT = 100
ROUNDED = 6
"""Decimals of minutes below which a sum is no more than its parts."""


@dataclass(frozen=True)
class VisitPlan:
    """Who visits which plot on which day.

    Attributes
    ----------
    visits : pandas.DataFrame
        One row a visit, those planned by agent, day and time, then those left out by priority, then
        those of the plan before that there are no longer.
    days : pandas.DataFrame
        One row a day of an agent in the field.
    load : pandas.DataFrame
        One row an agent and week.
    costs : pandas.DataFrame
        One row an agent and month.
    left_out : pandas.DataFrame
        Visits left out, counted by stage and reason.
    stages : pandas.DataFrame
        Windows of the stages by village.
    relief : pandas.DataFrame
        What a change would gain or lose.
    held_back : pandas.DataFrame
        Days held back for rain.
    changed : pandas.DataFrame
        Visits with another day than in the plan before; without rows where none is carried on.
    agents : pandas.DataFrame
        One row an agent: id, name and base.
    quality : pandas.DataFrame
        The plan beside the simple one, nearest first.
    reproducible : bool
        Whether no clock stopped the search.
    speeds : pandas.DataFrame
        Speeds that recorded trips tell.
    """

    visits: pd.DataFrame
    days: pd.DataFrame
    load: pd.DataFrame
    costs: pd.DataFrame
    left_out: pd.DataFrame
    stages: pd.DataFrame
    relief: pd.DataFrame
    held_back: pd.DataFrame
    changed: pd.DataFrame
    agents: pd.DataFrame
    quality: pd.DataFrame
    reproducible: bool
    speeds: pd.DataFrame = field(default_factory=pd.DataFrame)


def told(
    season: Season,
    planned: Planned,
    stages: pd.DataFrame,
    places: pd.DataFrame,
    before: pd.DataFrame | None,
) -> VisitPlan:
    """Put a plan in tables.

    Parameters
    ----------
    season : Season
        What was planned.
    planned : Planned
        Its plan.
    stages : pandas.DataFrame
        Windows by village: columns made by visit stages.
    places : pandas.DataFrame
        ``plot_id`` (none of a meeting place), ``longitude_deg`` and ``latitude_deg`` of what is
        followed, by number.
    before : pandas.DataFrame | None
        Rows used of the plan before; None where none is carried on.

    Returns
    -------
    VisitPlan
        All tables, in the declared columns.
    """
    visits = _visits(season, planned, places)
    changed = _none("visit changes")
    if before is not None:
        visits = _carried(visits, before)
        changed = _changed(visits, before)
        visits = visits.drop(columns="moved_from")
    agents = season.agents
    days = _days(season, planned.rows)
    name = agents["agent_id"].to_numpy(dtype=object)
    reliefs = [_relief(one, name) for one in planned.reliefs]
    held = season.days.held_back
    return VisitPlan(
        visits=tables.check(visits, (*tables.made_by("visits"), *_OF_PLACES)),
        days=tables.check(days, ("agent_id", "visit_day", *tables.made_by("visit days"))),
        load=_load(days),
        costs=_costs(season, planned.rows),
        left_out=_left_out(visits),
        stages=stages,
        relief=pd.DataFrame(reliefs, columns=list(tables.made_by("visit relief"))),
        held_back=pd.DataFrame(
            {
                "agent_id": name[held["agent"].to_numpy(dtype=np.int64)],
                "held_back_day": held["date"],
            }
        ),
        changed=changed,
        agents=agents[["agent_id", "name", "mode", "longitude_deg", "latitude_deg"]],
        quality=quality(
            {
                AS_PLANNED: _walked(season, planned.rows),
                NEAREST: _walked(season, planned.simple),
            },
            len(agents),
        ),
        reproducible=planned.reproducible,
    )


def _none(maker: tables.Maker) -> pd.DataFrame:
    return pd.DataFrame(columns=list(tables.made_by(maker)))


def clock(minutes: int) -> str:
    """Write a time of the day.

    Parameters
    ----------
    minutes : int
        From midnight.

    Returns
    -------
    str
        Such as 07:30.
    """
    return f"{minutes // HOUR_MIN:02d}:{minutes % HOUR_MIN:02d}"


def _time(seconds: int, *, up: bool = False) -> str:
    minutes = -(-(seconds % DAY_S) // MINUTE_S) if up else (seconds % DAY_S) // MINUTE_S
    return clock(minutes)


def _minutes(seconds: pd.Series) -> pd.Series:
    return -(-seconds.astype("int64") // MINUTE_S)


def _visits(season: Season, planned: Planned, places: pd.DataFrame) -> pd.DataFrame:
    own = season.numbered
    units = own.units
    made = {int(row["visit"]): row for row in planned.rows.to_dict("records")}
    name = season.agents["agent_id"].tolist()
    followed = own.followed
    rows = []
    for number, unit in enumerate(units.to_dict("records")):
        place = places.iloc[followed[number]]
        rows.append(
            {
                "visit_id": unit["visit_id"],
                "visit_stage": unit["stage"],
                "visit_kind": unit["held"],
                "visit_place": unit["place"],
                "plot_id": "" if pd.isna(place["plot_id"]) else place["plot_id"],
                "village": unit["village"],
                "visit_farmers": int(unit["farmers"]),
                "visit_why": unit["reason"],
                "visit_first_day": unit["first_day"],
                "visit_last_day": unit["last_day"],
                "visit_by_hand": int(unit["fixed_day"] is not None or bool(unit["agent_id"])),
                "visit_no_hoe": int(unit["no_hoe"]),
                "visit_priority": int(unit["priority"]),
                "place_longitude_deg": place["longitude_deg"],
                "place_latitude_deg": place["latitude_deg"],
                **_roadhead(season, made.get(number), followed[number]),
                "visit_sequence": 0,
                "visit_agents_before": "",
                "done": "",
                **_when(season, made.get(number), planned.dropped.get(number), name),
            }
        )
    return _in_order(pd.DataFrame(rows))


def _when(
    season: Season, row: dict[Any, Any] | None, reason: str | None, name: list[str]
) -> dict[str, Any]:
    if row is None:
        empty = dict.fromkeys(
            ("agent_id", "visit_day", "visit_leaves", "visit_begins", "visit_ends")
        )
        numbers = {"visit_stop": None, "visit_way_min": None, "visit_ride_km": np.nan}
        return {**empty, **numbers, "visit_status": LEFT_OUT, "visit_left_out": reason}
    return {
        "agent_id": name[row["agent"]],
        "visit_day": season.days.date[row["shift"]],
        "visit_stop": int(row["sequence"]),
        "visit_leaves": _time(row["leaves"], up=row["sequence"] > 1),
        "visit_begins": _time(row["begins"], up=True),
        "visit_ends": _time(row["ends"], up=True),
        "visit_way_min": _clocked_min(row),
        "visit_ride_km": row["metres"] / KM_M,
        "visit_status": PLANNED,
        "visit_left_out": None,
    }


def _roadhead(season: Season, row: dict[Any, Any] | None, followed: int) -> dict[str, float]:
    """Say where what was ridden on the way to a place stays; NaN where nothing was, or all of it.

    Where only the walk from the stop before leads to a place, the vehicle stands as it stood.
    """
    if row is None or not row["metres"]:
        return dict.fromkeys(_ROADHEAD, np.nan)
    wet = season.days.date[row["shift"]] >= season.onset
    speed = season.agents["wet_speed_km_h" if wet else "speed_km_h"].iloc[row["agent"]]
    heads = season.measured.heads_deg[season.measured.mode(speed, wet=wet)]
    at = (np.nan, np.nan) if heads is None else heads[len(season.agents) + followed].tolist()
    return dict(zip(_ROADHEAD, at, strict=True))


def _clocked_min(row: dict[Any, Any]) -> int:
    """Give minutes of a way as the clock shows them, so that times on a sheet add up."""
    leaves = row["leaves"] if row["sequence"] == 1 else _up(row["leaves"]) * MINUTE_S
    return int(_up(row["arrives"]) - leaves // MINUTE_S)


def _up(seconds: int) -> int:
    return -(-seconds // MINUTE_S)


def _in_order(table: pd.DataFrame) -> pd.DataFrame:
    """Put planned visits by agent, day and stop, others behind them by priority."""
    table = table.assign(
        visit_stop=table["visit_stop"].astype("Int64"),
        visit_way_min=table["visit_way_min"].astype("Int64"),
        late=table["visit_status"].map({PLANNED: 0, DONE: 0, LEFT_OUT: 1, CANCELLED: 2}),
        when=[date.max if day is None else day for day in table["visit_day"]],
        rank=table["visit_priority"].where(table["visit_status"] == LEFT_OUT, 0),
    )
    keys = ["late", "agent_id", "when", "rank", "visit_stop", "visit_id"]
    table = table.sort_values(keys, kind="stable", ignore_index=True)
    return table.drop(columns=["late", "when", "rank"])


def _walked(season: Season, rows: pd.DataFrame) -> pd.DataFrame:
    """Say what is walked of each way: all but what is ridden at the speed of that day."""
    agents, onset = season.agents, season.onset
    wet = np.array([day >= onset for day in season.days.date], np.bool_)
    number = rows["agent"].to_numpy(dtype=np.int64)
    speed = np.where(
        wet[rows["shift"].to_numpy(dtype=np.int64)],
        agents["wet_speed_km_h"].to_numpy(dtype=np.float64)[number],
        agents["speed_km_h"].to_numpy(dtype=np.float64)[number],
    )
    # Nobody rides who has no speed; ways are whole seconds, which leave less than one of a ride.
    metres = rows["metres"].to_numpy(dtype=np.float64)
    walked = rows["travel_s"].to_numpy() - HOUR_S * metres / KM_M / np.where(speed > 0, speed, 1)
    return rows.assign(walk_s=np.where(walked < 1, 0.0, walked))


def _days(season: Season, rows: pd.DataFrame) -> pd.DataFrame:
    found = spent(rows)
    name = season.agents["agent_id"].to_numpy(dtype=object)
    shifts, at = season.days.shifts, found["shift"].to_numpy(dtype=np.int64)
    grouped = _walked(season, rows).groupby("shift")
    leaves, home = grouped["leaves"].min(), grouped["arrives"].max()
    km = grouped["metres"].sum().to_numpy() / KM_M
    walk = grouped["walk_s"].sum().to_numpy()
    road = _minutes(found["travel_s"])
    ridden = (found["travel_s"].to_numpy() - walk) / MINUTE_S
    ride = np.minimum(np.ceil(ridden.round(ROUNDED)).astype(np.int64), road)
    slack = (shifts.longest[at] - found["away_s"]) // MINUTE_S
    return pd.DataFrame(
        {
            "agent_id": name[found["agent"].to_numpy(dtype=np.int64)],
            "visit_day": [season.days.date[shift] for shift in at],
            "day_visits": found["visits"].to_numpy(dtype=np.int64),
            "day_leaves": [_time(one) for one in leaves],
            "day_home": [_time(one, up=True) for one in home],
            "day_way_min": road,
            "day_ride_min": ride,
            "day_walk_min": road - ride,
            "day_work_min": _minutes(found["work_s"]),
            "day_wait_min": _minutes(found["wait_s"]),
            "day_slack_min": slack.astype("int64"),
            "day_way_share_pct": SHARE_PCT * found["road_share"].astype(float),
            "day_ride_km": km.astype(float),
        }
    )


def _load(days: pd.DataFrame) -> pd.DataFrame:
    week = [day - timedelta(days=day.weekday()) for day in days["visit_day"]]
    away = days[["day_way_min", "day_work_min", "day_wait_min"]].sum(axis=1) / HOUR_MIN
    grouped = days.assign(load_week=week, load_hours=away).groupby(["agent_id", "load_week"])
    found = grouped.agg(
        load_days=("visit_day", "nunique"), load_visits=("day_visits", "sum"),
        load_hours=("load_hours", "sum"),
    )  # fmt: skip
    return found.astype({"load_hours": float}).reset_index()


def _costs(season: Season, rows: pd.DataFrame) -> pd.DataFrame:
    agents = season.agents
    litres = np.array(agents["litres_100_km"].astype(float).fillna(0), np.float64)
    found = costs(rows, season.days.date, litres)
    return pd.DataFrame(
        {
            "agent_id": agents["agent_id"].to_numpy(dtype=object)[
                found["agent"].to_numpy(dtype=np.int64)
            ],
            "cost_month": found["month"],
            "cost_days": found["days"].astype("int64"),
            "cost_visits": found["visits"].astype("int64"),
            "cost_ride_km": found["metres"].to_numpy(dtype=float) / KM_M,
            "cost_fuel_l": found["fuel_ml"].to_numpy(dtype=float) / LITRE_ML,
        }
    )


def _left_out(visits: pd.DataFrame) -> pd.DataFrame:
    missing = visits[visits["visit_left_out"].notna()]
    keys = ["visit_stage", "visit_left_out"]
    return missing.groupby(keys, sort=True).size().rename("visits_left_out").reset_index()


def _relief(one: Relief, name: Any) -> dict[str, Any]:  # noqa: ANN401 - an array of text
    who = None if one.agent is None else str(name[one.agent])
    return {"relief": one.change, "relief_agent": who, "relief_gained": one.gained}


def _carried(visits: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    """Put what is done and what was planned before beside the new plan."""
    old: dict[str, dict[str, Any]] = {
        row["visit_id"]: {str(name): value for name, value in row.items()}
        for row in before.to_dict("records")
    }
    rows = []
    for row in visits.to_dict("records"):
        known = old.pop(row["visit_id"], None)
        beside: dict[str, Any] = {"moved_from": None}
        if known is not None:
            beside = {
                "visit_sequence": known["visit_sequence"],
                "moved_from": known["visit_day"],
                **_fate(row, known),
            }
        carried = {str(name): value for name, value in row.items()} | beside
        if known is not None:
            carried["visit_agents_before"] = _agents_before(known, carried["agent_id"])
        rows.append(carried)
    rows += [
        _gone(one, visits.columns.tolist()) for one in old.values() if one["visit_day"] is not None
    ]
    return _in_order(pd.DataFrame(rows, columns=[*visits, "moved_from"]))


def _agents_before(known: dict[str, Any], agent: str | None) -> str:
    """List who had a visit in plans before and has it no longer."""
    had = [*known["visit_agents_before"], *([known["agent_id"]] if known["visit_day"] else [])]
    return PARTED.join(one for one in dict.fromkeys(had) if one != agent)


def _fate(row: dict[Any, Any], known: dict[Any, Any]) -> dict[str, Any]:
    """Say what became of a visit that has a day in the plan before."""
    if known["done"]:
        return _done(known)
    if known["visit_day"] is not None and row["visit_status"] == LEFT_OUT:
        # It stays in calendars, as cancelled, so that it vanishes from phones.
        dropped = {"visit_status": CANCELLED, "visit_left_out": row["visit_left_out"], "done": ""}
        return _done(known) | dropped
    return {}


def _done(known: dict[Any, Any]) -> dict[str, Any]:
    return {
        "agent_id": known["agent_id"],
        "visit_day": known["visit_day"],
        # Numbers beside none at all come as fractions.
        "visit_begins": clock(int(known["visit_begins"])),
        "visit_ends": clock(int(known["visit_ends"])),
        "visit_status": DONE,
        "visit_left_out": None,
        "done": "yes",
    }


def _gone(known: dict[Any, Any], names: list[str]) -> dict[str, Any]:
    """Tell of a visit of the plan before that nothing asks for any more."""
    stage, kind, place = parts(known["visit_id"])
    return {
        **dict.fromkeys(names),
        **_done(known),
        "done": "yes" if known["done"] else "",
        "visit_status": DONE if known["done"] else CANCELLED,
        "visit_id": known["visit_id"],
        "visit_stage": stage,
        "visit_kind": kind,
        "visit_place": place,
        "visit_farmers": 0,
        "visit_why": "no longer asked for",
        "visit_by_hand": 0,
        "visit_no_hoe": 0,
        "visit_priority": 0,
        "visit_first_day": known["visit_day"],
        "visit_last_day": known["visit_day"],
        "village": "",
        "plot_id": "",
        "visit_ride_km": np.nan,
        "place_longitude_deg": np.nan,
        "place_latitude_deg": np.nan,
        **dict.fromkeys(_ROADHEAD, np.nan),
        "visit_sequence": known["visit_sequence"],
        "visit_agents_before": _agents_before(known, known["agent_id"]),
        "moved_from": known["visit_day"],
    }


def _changed(visits: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    """List visits with another day than before, and those that are new or gone."""
    gone = set(before.loc[before["visit_status"] == CANCELLED, "visit_id"])
    old_agent = before.set_index("visit_id")["agent_id"]
    had = {
        visit: agent
        for visit, agent, day in zip(
            before["visit_id"], before["agent_id"], before["visit_day"], strict=True
        )
        if day is not None
    }
    columns = ("visit_id", "agent_id", "visit_day", "moved_from", "visit_status")
    moved = [
        now != was or (visit in had and had[visit] != agent)
        if status in (PLANNED, LEFT_OUT)
        else status == CANCELLED and visit not in gone
        for visit, agent, now, was, status in zip(*(visits[name] for name in columns), strict=True)
    ]
    told_of = visits[moved]
    return pd.DataFrame(
        {
            "visit_id": told_of["visit_id"],
            "changed_from_day": told_of["moved_from"],
            "changed_from_agent": _text_or_none(told_of["visit_id"].map(old_agent)),
            "changed_to_day": [
                None if status == CANCELLED else day
                for day, status in zip(told_of["visit_day"], told_of["visit_status"], strict=True)
            ],
            "changed_to_agent": _text_or_none(
                told_of["agent_id"].where(told_of["visit_status"] == PLANNED)
            ),
        }
    ).reset_index(drop=True)


def _text_or_none(texts: pd.Series) -> pd.Series:
    """Make what is missing None: a column of text has NaN there, which would be printed."""
    return texts.astype(object).where(texts.notna(), None)
