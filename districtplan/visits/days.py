"""Days on which agents work, cut to the hours in which field work is safe."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan.visits.task import DAY_S, Shifts

if TYPE_CHECKING:
    from collections.abc import Collection

MINUTE_S = 60
HOUR_MIN = 60
WIDTH = 6
"""Numbers that tell a day: those of shifts, and the date."""


@dataclass(frozen=True)
class Hours:
    """Hours of the district, in minutes from midnight.

    Attributes
    ----------
    storm_from, storm_to : int
        Hours in which storms are usual: nobody is in the field [minutes].
    back_by : int
        When everybody is back, before dark [minutes].
    rain_day_every : int
        One working day in so many is held back for rain; 0 for none.
    holidays : Collection[datetime.date]
        Days on which nobody works.
    fixed : Collection[datetime.date]
        Days on which a visit is fixed by hand: the next one is held back in their place.
    stands : Collection[tuple[int, datetime.date]]
        Agents by number, with days on which the plan before has visits: alike.
    """

    storm_from: int
    storm_to: int
    back_by: int
    rain_day_every: int
    holidays: Collection[date] = ()
    fixed: Collection[date] = ()
    stands: Collection[tuple[int, date]] = ()


class Days(NamedTuple):
    """Working days.

    Attributes
    ----------
    shifts : Shifts
        Those that visits are planned on.
    date : list[datetime.date]
        Day of each.
    held_back : pandas.DataFrame
        Days held back for rain: ``agent`` by number, ``date``.
    """

    shifts: Shifts
    date: list[date]
    held_back: pd.DataFrame


def working_days(
    agents: pd.DataFrame, leave: pd.DataFrame, hours: Hours, first: date, last: date
) -> Days:
    """List the days of all agents.

    Parameters
    ----------
    agents : pandas.DataFrame
        By number: ``week_days`` (numbers, Monday is 0), ``from_min`` and ``to_min`` [minutes from
        midnight], ``most_min`` away [minutes], ``carries_g`` [g].
    leave : pandas.DataFrame
        ``agent`` by number, ``first_day`` and ``last_day`` of leave.
    hours : Hours
        What holds for all.
    first, last : datetime.date
        First day, from whose midnight seconds count, and last.

    Returns
    -------
    Days
        By agent and then by time. A day with no safe hours is none.
    """
    rows, held = [], []
    for agent, told in enumerate(agents.to_dict("records")):
        begins, ends = _safe(int(told["from_min"]), int(told["to_min"]), hours)
        away = {
            row["first_day"] + timedelta(days=day)
            for row in leave[leave["agent"] == agent].to_dict("records")
            for day in range((row["last_day"] - row["first_day"]).days + 1)
        }
        worked = [
            day
            for day in (first + timedelta(days=number) for number in range((last - first).days + 1))
            if day.weekday() in told["week_days"] and day not in away and day not in hours.holidays
        ]
        owed = 0
        for day in worked if begins < ends else []:
            owed += 1
            kept = day in hours.fixed or (agent, day) in hours.stands
            if 0 < hours.rain_day_every <= owed and not kept:
                owed -= hours.rain_day_every
                held.append((agent, day))
                continue
            midnight = DAY_S * (day - first).days
            longest = min(int(told["most_min"]), ends - begins)
            rows.append(
                (
                    agent, midnight + MINUTE_S * begins, midnight + MINUTE_S * ends,
                    MINUTE_S * longest, int(told["carries_g"]), day.toordinal(),
                )
            )  # fmt: skip
    table = np.array(rows, np.int64).reshape(-1, WIDTH)
    *shifts, ordinals = table.T
    return Days(
        Shifts(*shifts),
        [date.fromordinal(day) for day in ordinals.tolist()],
        pd.DataFrame(held, columns=["agent", "date"]),
    )


def _safe(begins: int, ends: int, hours: Hours) -> tuple[int, int]:
    """Keep the longer part of a day, before or after the hours of storms."""
    ends = min(ends, hours.back_by)
    if hours.storm_to <= begins or hours.storm_from >= ends:
        return begins, ends
    before, after = hours.storm_from - begins, ends - hours.storm_to
    return (begins, hours.storm_from) if before >= after else (hours.storm_to, ends)
