"""What a plan costs by agent and month, and how its days are spent."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.timetable import HOME

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def costs(rows: pd.DataFrame, dates: list[date], litres_100_km: Floats) -> pd.DataFrame:
    """Add up what is ridden, burnt and paid.

    Parameters
    ----------
    rows : pandas.DataFrame
        What :func:`~.timetable.timetable` gives.
    dates : list[datetime.date]
        Day of each shift.
    litres_100_km : numpy.ndarray
        Fuel by agent, 0 of those on foot [l/100 km].

    Returns
    -------
    pandas.DataFrame
        ``agent``, ``month`` (first day of it), ``days`` in the field, each an allowance,
        ``visits``, ``metres`` ridden [m], ``fuel_ml`` rounded up once a month [ml].
    """
    month = [dates[shift].replace(day=1) for shift in rows["shift"]]
    grouped = rows.assign(month=month, made=rows["visit"] != HOME).groupby(["agent", "month"])
    found = grouped.agg(
        days=("shift", "nunique"), visits=("made", "sum"), metres=("metres", "sum")
    ).reset_index()
    # A litre on 100 km is a hundredth of a millilitre a metre.
    burnt = found["metres"].to_numpy() * litres_100_km[found["agent"]] / 100
    return found.assign(fuel_ml=np.ceil(burnt).astype(np.int64))


def spent(rows: pd.DataFrame) -> pd.DataFrame:
    """Say how each day in the field is spent.

    Parameters
    ----------
    rows : pandas.DataFrame
        What :func:`~.timetable.timetable` gives.

    Returns
    -------
    pandas.DataFrame
        ``shift``, ``agent``, ``visits``, ``away_s`` from leaving the base to coming back,
        ``travel_s``, ``work_s``, ``wait_s`` [s], and ``road_share``, that of the ways in the day.
    """
    told = rows.assign(
        made=rows["visit"] != HOME,
        work_s=rows["ends"] - rows["begins"],
        wait_s=rows["begins"] - rows["arrives"],
    )
    found = told.groupby(["shift", "agent"]).agg(
        visits=("made", "sum"), begun=("leaves", "min"), over=("ends", "max"),
        travel_s=("travel_s", "sum"), work_s=("work_s", "sum"), wait_s=("wait_s", "sum"),
    )  # fmt: skip
    away = found["over"] - found["begun"]
    found = found.assign(away_s=away, road_share=found["travel_s"] / away.clip(lower=1))
    columns = ["visits", "away_s", "travel_s", "work_s", "wait_s", "road_share"]
    return found[columns].reset_index()


def spread(rows: pd.DataFrame, agents: int) -> tuple[int, int]:
    """Say how evenly work is shared.

    Parameters
    ----------
    rows : pandas.DataFrame
        What :func:`~.timetable.timetable` gives.
    agents : int
        How many agents there are.

    Returns
    -------
    tuple[int, int]
        Least and most time that an agent is away from its base over all days [s].
    """
    days = spent(rows)
    away = np.zeros(agents, np.int64)
    np.add.at(away, *(days[name].to_numpy(dtype=np.int64) for name in ("agent", "away_s")))
    return int(away.min()), int(away.max())
