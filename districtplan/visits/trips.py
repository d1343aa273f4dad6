"""Speeds as recorded trips have them, in place of what the file of agents says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from districtplan import tables
from districtplan.visits.days import HOUR_MIN
from districtplan.visits.given import ON_FOOT

if TYPE_CHECKING:
    from datetime import date

KINDS = {False: "speed_km_h", True: "wet_speed_km_h"}
"""Column of the speed before the rains, and in them."""


def calibrated(
    agents: pd.DataFrame, trips: pd.DataFrame, onset: date, least: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Take the speeds of recorded trips where there are enough of them.

    Parameters
    ----------
    agents : pandas.DataFrame
        ``agent_id``, ``speed_km_h`` and ``wet_speed_km_h``, 0 of who doesn't ride.
    trips : pandas.DataFrame
        ``agent_id``, ``day``, ``km`` ridden and ``minutes`` that it took.
    onset : datetime.date
        When the rains begin.
    least : int
        Fewest trips of an agent, before the rains or in them, that tell a speed.

    Returns
    -------
    agents : pandas.DataFrame
        The same with the speeds that trips tell: all kilometres by all hours, so that long trips
        count by their length.
    told : pandas.DataFrame
        The columns made by visit speeds, one row a speed that trips tell.
    """
    found, rows = agents.copy(), list[tuple[str, int, int, float, float]]()
    wet = trips["day"].map(lambda day: day >= onset) if len(trips) else trips["day"]
    for at, row in enumerate(agents.to_dict("records")):
        for rains, column in KINDS.items():
            own = trips[(trips["agent_id"] == row["agent_id"]) & (wet == rains)]
            # Who can't ride then has no speed to correct.
            if len(own) < least or not row[column]:
                continue
            speed = _speed(own)
            found.loc[found.index[at], column] = speed
            rows.append((row["agent_id"], int(rains), len(own), speed, float(row[column])))
    return found, _table(rows)


def walked(
    agents: pd.DataFrame, trips: pd.DataFrame, given_km_h: float, least: int
) -> tuple[float, pd.DataFrame]:
    """Take the speed on foot of recorded trips where there are enough of them.

    Parameters
    ----------
    agents : pandas.DataFrame
        ``agent_id`` and ``mode``.
    trips : pandas.DataFrame
        ``agent_id``, ``km`` and ``minutes``: those of agents on foot count, all together, on dry
        days and wet ones.
    given_km_h : float
        Speed on foot that minutes are measured by [km/h].
    least : int
        Fewest trips that tell a speed.

    Returns
    -------
    factor : float
        How many times as long ways on foot take; 1 where trips tell nothing.
    told : pandas.DataFrame
        The columns made by visit speeds: no row, or one without an agent.
    """
    own = trips[trips["agent_id"].isin(agents.loc[agents["mode"] == ON_FOOT, "agent_id"])]
    if len(own) < least:
        return 1.0, _table([])
    speed = _speed(own)
    return given_km_h / speed, _table([("", 0, len(own), speed, round(given_km_h, 1))])


def _speed(trips: pd.DataFrame) -> float:
    return round(float(HOUR_MIN * trips["km"].sum() / trips["minutes"].sum()), 1)


def _table(rows: list[tuple[str, int, int, float, float]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["agent_id", *tables.made_by("visit speeds")])
