"""A task of visits from tables: work units, agents, their days, and ways between places.

Places are numbered: bases by agent, then meeting places, then plots. A meeting place is followed by
one agent as a plot is, so that those who follow and are followed are numbered alike: meeting places
first, then plots.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.days import MINUTE_S
from districtplan.visits.sessions import SESSION
from districtplan.visits.task import ANYONE, DAY_S, NO_WAY_S, Crew, Task, Visits, Ways

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.visits.task import Shifts

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]


class Counts(NamedTuple):
    """How many there are of what is numbered.

    Attributes
    ----------
    agents : int
        Agents, each with a base.
    meetings : int
        Meeting places.
    plots : int
        Plots.
    """

    agents: int
    meetings: int
    plots: int


def visits_of(units: pd.DataFrame, counts: Counts, first: date) -> Visits:
    """Give work units numbers.

    Parameters
    ----------
    units : pandas.DataFrame
        What :func:`~.sessions.work_units` gives, and, where known, ``agent`` (number of the one it
        is bound to, -1 for none), ``fixed_day`` (a date, None for none), and ``carry_g`` [g].
    counts : Counts
        How many agents, meeting places and plots there are.
    first : datetime.date
        Day from whose midnight seconds count.

    Returns
    -------
    Visits
        One a row, in their order. A fixed day takes the place of the window.
    """
    followed = units["at"].to_numpy(dtype=np.int64)
    followed = np.where(units["kind"] == SESSION, followed, counts.meetings + followed)
    low, high = (
        np.array([(day - first).days for day in units[name]], np.int64)
        for name in ("first_day", "last_day")
    )
    if "fixed_day" in units:
        for row, day in enumerate(units["fixed_day"]):
            if day is not None:
                low[row] = high[row] = (day - first).days
    none = np.zeros(len(units), np.int64)
    agent = units["agent"].to_numpy(dtype=np.int64) if "agent" in units else none + ANYONE
    load = units["carry_g"].to_numpy(dtype=np.int64) if "carry_g" in units else none
    return Visits(
        place=counts.agents + followed,
        plot=followed,
        opens=DAY_S * low,
        closes=DAY_S * (high + 1) - 1,
        service=MINUTE_S * units["minutes"].to_numpy(dtype=np.int64),
        priority=units["priority"].to_numpy(dtype=np.int64),
        agent=agent,
        load=load,
    )


def ways_of(minutes: Sequence[Floats], metres: Sequence[Floats]) -> Ways:
    """Bring ways to whole seconds and metres.

    Parameters
    ----------
    minutes : Sequence[numpy.ndarray]
        A mode each, infinite where no way leads, shape (places, places) [minutes].
    metres : Sequence[numpy.ndarray]
        What is ridden of them, shape (places, places) [m].

    Returns
    -------
    Ways
        Rounded up, so that nobody is late by rounding.
    """
    seconds = [np.ceil(np.minimum(MINUTE_S * told, NO_WAY_S)).astype(np.int32) for told in minutes]
    # Modes that go the same ways share them: of thousands of places each takes much room.
    whole = {id(told): told for told in metres}
    counted = {key: np.ceil(told).astype(np.int32) for key, told in whole.items()}
    return Ways(seconds, [counted[id(told)] for told in metres])


def served(agents: pd.DataFrame, villages: Sequence[str]) -> Bools:
    """Say which agent may go where.

    Parameters
    ----------
    agents : pandas.DataFrame
        By number: ``serves`` and ``barred`` (villages; an empty ``serves`` is all).
    villages : Sequence[str]
        Village of each meeting place, then of each plot.

    Returns
    -------
    numpy.ndarray
        Bool, shape (agents, villages).
    """
    serves = np.array(
        [
            [
                (not row["serves"] or village in row["serves"]) and village not in row["barred"]
                for village in villages
            ]
            for row in agents.to_dict("records")
        ],
        np.bool_,
    )
    return serves.reshape(len(agents), len(villages))


def crew_of(agents: pd.DataFrame, villages: Sequence[str]) -> Crew:
    """Give agents numbers.

    Parameters
    ----------
    agents : pandas.DataFrame
        By number: ``mode``, ``serves`` and ``barred`` (villages; an empty ``serves`` is all),
        ``furthest_m`` [m] and ``days_most``.
    villages : Sequence[str]
        Village of each meeting place, then of each plot.

    Returns
    -------
    Crew
        With bases numbered as agents are.
    """
    return Crew(
        np.arange(len(agents)),
        agents["mode"].to_numpy(dtype=np.int64),
        served(agents, villages),
        agents["furthest_m"].to_numpy(dtype=np.int64),
        agents["days_most"].to_numpy(dtype=np.int64),
    )


def task_of(visits: Visits, crew: Crew, shifts: Shifts, ways: Ways) -> Task:
    """Put a task together, and hold its parts against each other.

    Parameters
    ----------
    visits : Visits
        What is to be done.
    crew : Crew
        Who does it.
    shifts : Shifts
        On which days.
    ways : Ways
        How they get there.

    Returns
    -------
    Task
        The task.

    Raises
    ------
    ValueError
        If a number points beyond what there is.
    """
    places = len(ways.seconds[0])
    for name, number, most in (
        ("place of a visit", visits.place, places),
        ("plot of a visit", visits.plot, crew.serves.shape[1]),
        ("agent of a visit", visits.agent, len(crew)),
        ("base", crew.base, places),
        ("mode", crew.mode, len(ways.seconds)),
        ("agent of a day", shifts.agent, len(crew)),
    ):
        if len(number) and int(number.max()) >= most:
            raise ValueError(f"{name} {int(number.max())} isn't one of {most}")
    return Task(visits, crew, shifts, ways)
