"""A season of visits: its parts put together, planned, and told as tables.

Days before the rains and days in them are planned apart, since those who ride go slower in the
wet, or on foot. What has more visits is planned first; then each place keeps its agent.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan.visits.assign import NOBODY, assign
from districtplan.visits.build import Counts, crew_of, served, task_of, visits_of
from districtplan.visits.nearest import nearest_first
from districtplan.visits.relief import Relief, cut, reliefs
from districtplan.visits.replan import replan
from districtplan.visits.schedule import PROCESSES, schedule
from districtplan.visits.sessions import SESSION, SINGLE
from districtplan.visits.timetable import COLUMNS, HOME, timetable
from districtplan.visits.units import NO_PLOT

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.visits.days import Days
    from districtplan.visits.reasons import Reason
    from districtplan.visits.relief import Change
    from districtplan.visits.route import Effort
    from districtplan.visits.schedule import Schedule
    from districtplan.visits.task import Task, Ways

    Ints = NDArray[np.int64]
    Floats = NDArray[np.float64]

MUCH = 2**40
"""A limit that binds nobody."""
KM_M, LITRE_KM = 1_000, 100
"""Metres in a kilometre; kilometres that fuel is counted by."""
CANCELLED = "cancelled"
"""What became of a visit that is no longer made."""
SEVERAL_FROM = 500
"""Visits from which the start of other processes is worth its time."""
NEVER = -1
"""Moment before all days."""
_NO_DAY: Reason = "no day"
_NOBODY: Reason = "nobody may go"


class Numbered(NamedTuple):
    """What is visited, by number: meeting places that are no plot, then plots.

    Attributes
    ----------
    units : pandas.DataFrame
        All visits, numbered as :func:`~.build.visits_of` takes them; ``held`` says how.
    meetings : numpy.ndarray
        Meeting places by their numbers before.
    plots : numpy.ndarray
        Plots by their numbers before.
    villages : list[str]
        Village of each.
    """

    units: pd.DataFrame
    meetings: Ints
    plots: Ints
    villages: list[str]

    @property
    def followed(self) -> Ints:
        """Say what each visit belongs to: one agent follows all visits of it.

        Returns
        -------
        numpy.ndarray
            Numbers, shape (visits,).
        """
        session = (self.units["kind"] == SESSION).to_numpy()
        at = self.units["at"].to_numpy(dtype=np.int64)
        return np.where(session, at, len(self.meetings) + at)


def numbered(units: pd.DataFrame) -> Numbered:
    """Count through what is visited, so that a session at a plot goes with its other visits.

    Parameters
    ----------
    units : pandas.DataFrame
        What :func:`~.units.units` gives.

    Returns
    -------
    Numbered
        The same visits.
    """
    alone = (units["plot"] == NO_PLOT).to_numpy()
    at = np.where(alone, units["at"], units["plot"]).astype(np.int64)
    meetings, plots = np.unique(at[alone]), np.unique(at[~alone])
    number = np.where(alone, np.searchsorted(meetings, at), np.searchsorted(plots, at))
    village_of = dict(
        zip(zip(alone.tolist(), at.tolist(), strict=True), units["village"], strict=True)
    )
    villages = [str(village_of[True, one]) for one in meetings.tolist()]
    villages += [str(village_of[False, one]) for one in plots.tolist()]
    kind = np.where(alone, SESSION, SINGLE)
    told = units.assign(held=units["kind"], at=number, kind=kind)
    return Numbered(told, meetings, plots, villages)


class Measured(NamedTuple):
    """Ways between bases, meeting places and plots, in this order, by speed.

    Attributes
    ----------
    speeds : list[float]
        Of those who ride, each once; 0 of who goes on foot [km/h].
    ways : Ways
        A mode for each speed; where roads are closed in the rains, then one for each in the rains.
    heads_deg : list[numpy.ndarray | None]
        By mode, where what is ridden stays, for each place, shape (places, 2): longitude, latitude
        [degrees]; None of who goes on foot or rides straight to it.
    """

    speeds: list[float]
    ways: Ways
    heads_deg: list[Floats | None]

    def mode(self, speed: float, *, wet: bool) -> int:
        """Find a way of going about.

        Parameters
        ----------
        speed : float
            The speed [km/h].
        wet : bool
            Whether it is in the rains.

        Returns
        -------
        int
            Number of its ways.
        """
        return self.speeds.index(speed) + (len(self.speeds) if wet and self.closes else 0)

    @property
    def closes(self) -> bool:
        """Say whether roads are closed in the rains.

        Returns
        -------
        bool
            Whether ways in the rains are others.
        """
        return len(self.ways.seconds) > len(self.speeds)


@dataclass(frozen=True)
class Season:
    """What is planned.

    Attributes
    ----------
    numbered : Numbered
        The visits.
    agents : pandas.DataFrame
        Agents as :func:`~.given.accept_agents` takes them.
    days : Days
        Their working days.
    first : date
        Day from whose midnight seconds count.
    onset : date
        When the rains begin: from then on the wet speeds hold.
    measured : Measured
        The ways.
    """

    numbered: Numbered
    agents: pd.DataFrame
    days: Days
    first: date
    onset: date
    measured: Measured


class Planned(NamedTuple):
    """A plan of a season.

    Attributes
    ----------
    rows : pandas.DataFrame
        What :func:`~.timetable.timetable` gives, visits and shifts by the numbers of the season.
    dropped : dict[int, Reason]
        Why others are left out, by number.
    reliefs : list[Relief]
        What a change would gain or lose.
    reproducible : bool
        Whether no clock stopped the search.
    simple : pandas.DataFrame
        Rows of the plan that goes to the nearest visit first, with the same agents.
    """

    rows: pd.DataFrame
    dropped: dict[int, Reason]
    reliefs: list[Relief]
    reproducible: bool
    simple: pd.DataFrame


class Before(NamedTuple):
    """A plan that is carried on, by numbers of the season.

    Attributes
    ----------
    agent_of : numpy.ndarray
        Agent of what is followed, -1 where nobody was, shape (followed,).
    day : dict[int, tuple[int, date, int]]
        Agent, day and minute of each visit that was planned.
    done : frozenset[int]
        Visits that were made.
    """

    agent_of: Ints
    day: dict[int, tuple[int, date, int]]
    done: frozenset[int]


class Help(NamedTuple):
    """What is tried to make room for visits.

    Attributes
    ----------
    tried : bool
        Whether any is.
    cut_share : float
        Share of days that the cut takes.
    """

    tried: bool
    cut_share: float


class _Part(NamedTuple):
    """Visits and days of one part of the season."""

    visits: Ints
    shifts: Ints
    wet: bool


def speeds(agents: pd.DataFrame) -> list[float]:
    """List the speeds of agents, in the dry and in the wet.

    Parameters
    ----------
    agents : pandas.DataFrame
        ``speed_km_h`` and ``wet_speed_km_h``.

    Returns
    -------
    list[float]
        Each once, rising [km/h].
    """
    return sorted({*agents["speed_km_h"].tolist(), *agents["wet_speed_km_h"].tolist()})


def before(own: Numbered, agents: pd.DataFrame, carried: pd.DataFrame) -> Before:
    """Read a plan that is carried on by the numbers of a season.

    Parameters
    ----------
    own : Numbered
        The visits.
    agents : pandas.DataFrame
        ``agent_id`` by number.
    carried : pandas.DataFrame
        What :func:`~.given.accept_carried_on` takes.

    Returns
    -------
    Before
        The plan; of agents that there are no longer only what is done.
    """
    number = {name: at for at, name in enumerate(agents["agent_id"])}
    visit_of = {name: at for at, name in enumerate(own.units["visit_id"])}
    agent_of, followed = np.full(len(own.villages), NOBODY), own.followed
    day, done = {}, set()
    for row in carried.to_dict("records"):
        visit, agent = visit_of.get(row["visit_id"]), number.get(row["agent_id"])
        if visit is None or row["visit_day"] is None:
            continue
        if row["done"]:
            done.add(visit)
        elif row["visit_status"] == CANCELLED:
            continue
        if agent is not None:
            day[visit] = (agent, row["visit_day"], row["visit_begins"])
            agent_of[followed[visit]] = agent
    return Before(agent_of, day, frozenset(done))


def plan(season: Season, effort: Effort, wanted: Help, stood: Before | None = None) -> Planned:
    """Plan a season, or carry its plan on.

    Large ones use two processes; a script that calls this needs no ``if __name__ == "__main__"``.

    Parameters
    ----------
    season : Season
        What is planned.
    effort : Effort
        When searches stop.
    wanted : Help
        Whether relief is worked out; never of a plan that is carried on.
    stood : Before | None, default None
        The plan that is carried on; None to plan anew.

    Returns
    -------
    Planned
        The plan.
    """
    agent_of = _bound(season, stood)
    left = _limits(season, stood)
    tables, reproducible = list[pd.DataFrame](), True
    simple = list[pd.DataFrame]()
    dropped: dict[int, Reason] = {}
    helped: list[Relief] = []
    for part in _parts(season, stood):
        task = _task(season, part, agent_of, left)
        mine = np.where(agent_of == NOBODY, assign(task).agent, agent_of)
        if not len(part.shifts):
            days, why = {}, _dayless(task)
        elif stood is not None:
            carried = replan(task, _stood(season, part, stood, mine), (), NEVER, mine)
            days, why = carried.days, carried.dropped
        else:
            found = schedule(task, effort, _processes(task))
            days, why, mine = found.days, found.dropped, found.agent_of
            reproducible &= found.reproducible
            helped += _helped(season, task, found, (effort, wanted), wet=part.wet)
        rows = timetable(task, days).astype(np.int64)
        tables.append(_renumbered(rows, part))
        nearest = timetable(task, nearest_first(task, mine)).astype(np.int64)
        simple.append(_renumbered(nearest, part))
        dropped |= {int(part.visits[visit]): reason for visit, reason in why.items()}
        agent_of = np.where(agent_of == NOBODY, mine, agent_of)
        left = left.without(rows)
    return Planned(_joined(tables), dropped, _together(helped), reproducible, _joined(simple))


def _dayless(task: Task) -> dict[int, Reason]:
    """Say why visits are left out where nobody works: above all, that nobody may go."""
    may = task.may()
    return {visit: _NO_DAY if may[:, visit].any() else _NOBODY for visit in range(len(task.visits))}


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """Put the rows of all parts by day and stop; without any row columns have no kind."""
    table = pd.concat([pd.DataFrame(columns=list(COLUMNS)), *tables]).astype(np.int64)
    return table.sort_values(["shift", "sequence"], kind="stable", ignore_index=True)


class _Left(NamedTuple):
    """Paid days and ridden metres that are left of each agent's."""

    days: Ints
    metres: Ints

    def without(self, rows: pd.DataFrame) -> _Left:
        """Take off what rows of a timetable use."""
        used = rows.groupby("agent").agg(days=("shift", "nunique"), metres=("metres", "sum"))
        days, metres = self.days.copy(), self.metres.copy()
        days[used.index] -= used["days"].to_numpy()
        metres[used.index] -= used["metres"].to_numpy()
        return _Left(days, metres)


def _bound(season: Season, stood: Before | None) -> Ints:
    """Say which agent what is followed is bound to: by hand, else as the plan before had it."""
    own = season.numbered
    bound = np.full(len(own.villages), NOBODY)
    number = {name: at for at, name in enumerate(season.agents["agent_id"])}
    for followed, name in zip(own.followed, own.units["agent_id"], strict=True):
        if name:
            bound[followed] = number[name]
    if stood is None:
        return bound
    may = served(season.agents, own.villages)[stood.agent_of, np.arange(len(own.villages))]
    # Who may no longer go there hands the place over; nobody (-1) stays nobody either way.
    return np.where(bound == NOBODY, np.where(may, stood.agent_of, NOBODY), bound)


def _limits(season: Season, stood: Before | None) -> _Left:
    agents = season.agents
    range_m = (
        KM_M * LITRE_KM * agents["fuel_l"].astype(float) / agents["litres_100_km"].astype(float)
    )
    days = agents["days_most"].astype(float)
    left = _Left(
        *(
            np.where(limit.isna(), MUCH, limit.fillna(0)).astype(np.int64)
            for limit in (days, range_m)
        )
    )
    return left if stood is None else left.without(_made(season, stood))


def _made(season: Season, stood: Before) -> pd.DataFrame:
    """Give the days that were worked, and what was ridden on them."""
    own, agents = season.numbered, season.agents
    of_day: dict[tuple[int, date], list[tuple[int, int]]] = {}
    for visit in sorted(stood.done & set(stood.day)):
        agent, day, minute = stood.day[visit]
        of_day.setdefault((agent, day), []).append((minute, visit))
    rows = []
    for (agent, day), stops in of_day.items():
        column = "wet_speed_km_h" if day >= season.onset else "speed_km_h"
        mode = season.measured.mode(agents[column].iloc[agent], wet=day >= season.onset)
        at = [agent, *(len(agents) + own.followed[visit] for _, visit in sorted(stops)), agent]
        gone = season.measured.ways.metres[mode][at[:-1], at[1:]].sum()
        rows.append((agent, day.toordinal(), int(np.ceil(gone))))
    return pd.DataFrame(rows, columns=["agent", "shift", "metres"], dtype=np.int64)


def _parts(season: Season, stood: Before | None) -> Iterator[_Part]:
    """Part the season where the rains begin, if anybody then goes at another speed."""
    units = season.numbered.units
    agents = season.agents
    open_visits = np.ones(len(units), np.bool_)
    if stood is not None:
        open_visits[list(stood.done)] = False
    ends = [
        last if fixed is None else fixed
        for last, fixed in zip(units["last_day"], units["fixed_day"], strict=True)
    ]
    slower = bool((agents["speed_km_h"] != agents["wet_speed_km_h"]).any())
    slower |= season.measured.closes
    dry = np.array([slower and day < season.onset for day in ends], np.bool_)
    dry_day = np.array([slower and day < season.onset for day in season.days.date], np.bool_)
    parts = [
        _Part(np.flatnonzero(open_visits & (dry == one)), np.flatnonzero(dry_day == one), not one)
        for one in (False, True)
    ]
    yield from sorted(
        (part for part in parts if len(part.visits)), key=lambda one: -len(one.visits)
    )


def _task(season: Season, part: _Part, agent_of: Ints, left: _Left) -> Task:
    own, agents, measured = season.numbered, season.agents, season.measured
    column = "wet_speed_km_h" if part.wet else "speed_km_h"
    crew = crew_of(
        agents.assign(
            mode=[measured.mode(speed, wet=part.wet) for speed in agents[column]],
            furthest_m=np.maximum(left.metres, 0),
            days_most=np.maximum(left.days, 0),
        ),
        own.villages,
    )
    counts = Counts(len(agents), len(own.meetings), len(own.plots))
    units = own.units.iloc[part.visits].assign(agent=agent_of[own.followed[part.visits]])
    visits = visits_of(units, counts, season.first)
    shifts = season.days.shifts.take(part.shifts)
    return task_of(visits, crew, shifts, measured.ways)


def _stood(season: Season, part: _Part, stood: Before, agent_of: Ints) -> dict[int, list[int]]:
    """Give the days of the plan before in a part's numbers; what is another agent's now is left."""
    followed = season.numbered.followed
    agents, dates = season.days.shifts.agent, season.days.date
    place = {
        (int(agents[shift]), dates[shift]): at for at, shift in enumerate(part.shifts.tolist())
    }
    stops: dict[int, list[tuple[int, int]]] = {}
    for at, visit in enumerate(part.visits.tolist()):
        if visit in stood.day:
            agent, day, minute = stood.day[visit]
            if (agent, day) in place and agent == agent_of[followed[visit]]:
                stops.setdefault(place[agent, day], []).append((minute, at))
    return {shift: [visit for _, visit in sorted(told)] for shift, told in stops.items()}


def _renumbered(rows: pd.DataFrame, part: _Part) -> pd.DataFrame:
    visit = rows["visit"].to_numpy(dtype=np.int64)
    return rows.assign(
        visit=np.where(visit == HOME, HOME, part.visits[visit]),
        shift=part.shifts[rows["shift"].to_numpy(dtype=np.int64)],
    )


def _helped(
    season: Season, task: Task, found: Schedule, asked: tuple[Effort, Help], *, wet: bool
) -> list[Relief]:
    """Say what changes would gain or lose in a part."""
    effort, wanted = asked
    if not wanted.tried:
        return []
    agents = season.agents
    tank = KM_M * LITRE_KM * agents["tank_l"].astype(float) / agents["litres_100_km"].astype(float)
    tank_m = 0 if tank.isna().all() else int(tank.max())
    fastest = season.measured.mode(max(season.measured.speeds), wet=wet)
    return [
        *reliefs(task, found, tank_m, fastest, effort, _processes(task)),
        cut(task, found, wanted.cut_share, effort, _processes(task)),
    ]


def _processes(task: Task) -> int:
    return 1 if len(task.visits) < SEVERAL_FROM else PROCESSES


def _together(helped: list[Relief]) -> list[Relief]:
    """Add the parts of the season up."""
    gained: dict[tuple[Change, int | None], int] = {}
    for one in helped:
        key = (one.change, one.agent)
        gained[key] = gained.get(key, 0) + one.gained
    return [Relief(change, agent, count) for (change, agent), count in gained.items()]
