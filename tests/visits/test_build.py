"""From tables to a task, and from there to days that can be kept."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from districtplan.handbook import packaged
from districtplan.inputs.calendar import calendar
from districtplan.travel import straight
from districtplan.visits import Effort, schedule
from districtplan.visits.build import Counts, crew_of, task_of, visits_of, ways_of
from districtplan.visits.days import Hours, working_days
from districtplan.visits.sessions import Policy, work_units
from districtplan.visits.stages import windows
from districtplan.visits.task import DAY_S, NO_WAY_S
from districtplan.visits.timetable import timetable
from tests.conftest import plan_of
from tests.visits.checker import faults

FIRST = date(2025, 12, 1)
QUICK = Effort(iterations=100, stale=50)
HOURS = Hours(storm_from=840, storm_to=1020, back_by=1080, rain_day_every=5)
LOOKS = ("weeding_1", "weeding_2", "weeding_3")
POLICY = Policy(
    sessions=("consent", *LOOKS), demos=("pegging", "planting", *LOOKS, "harvest"),
    flagged=("pegging",), structures=("storm",), rest=LOOKS, rest_every=3,
)  # fmt: skip
AGENTS = pd.DataFrame(
    [
        {"mode": mode, "serves": serves, "barred": (), "furthest_m": 10**9, "days_most": 10**9,
         "week_days": (0, 1, 2, 3, 4), "from_min": 420, "to_min": 840, "most_min": 420,
         "carries_g": 10**6}
        for mode, serves in ((0, ("Upper Ridge",)), (1, ()))
    ]
)  # fmt: skip
NO_LEAVE = pd.DataFrame(columns=["agent", "first_day", "last_day"])


@pytest.fixture(scope="module")
def district():
    """Two bases, a meeting place, twelve plots of two villages."""
    rng = np.random.default_rng(4)
    plots = pd.DataFrame(
        {
            "demo": [one == 0 for one in range(12)],
            "above_class": [one in (3, 7) for one in range(12)],
            "provisional": [one == 5 for one in range(12)],
            "structures": [one == 2 for one in range(12)],
        }
    )
    place = rng.uniform(0, 4_000, (15, 2))
    works = calendar(plan_of(), packaged())
    dated = windows(works, {}, [date(2026, 4, 20)], packaged())
    near = straight(place[3:], place[2:3], 1.3, 3_000)
    units = work_units(plots, near, dated, POLICY)
    far = straight(place, place, 1.3, 1e9).whole(15, 15)
    return units, far


def planned(district, units=None):
    given, far = district
    units = given if units is None else units
    days = working_days(AGENTS, NO_LEAVE, HOURS, FIRST, FIRST + timedelta(days=220))
    villages = ["Lower Ford", *["Upper Ridge", "Lower Ford"] * 6]
    task = task_of(
        visits_of(units, Counts(2, 1, 12), FIRST),
        crew_of(AGENTS, villages),
        days.shifts,
        ways_of([far / 60, far / 300], [0 * far, far]),
    )
    found = schedule(task, QUICK)
    rows = timetable(task, found.days)
    assert faults(task, rows, found.dropped) == []
    return task, days, found, rows


def test_a_season_from_tables(district):
    units, _ = district
    task, days, found, rows = planned(district)
    assert found.dropped == {}
    made = rows[rows["visit"] >= 0]
    assert len(made) == len(units) > 20
    assert (task.visits.service == 60 * units["minutes"]).all()
    assert task.visits.priority.tolist() == units["priority"].tolist()
    assert len(set(units["priority"])) > 1
    for row in made.itertuples():
        unit = units.iloc[row.visit]
        assert unit["first_day"] <= days.date[row.shift] <= unit["last_day"]
        assert days.date[row.shift] not in set(days.held_back["date"])
        if row.agent == 0:
            assert task.visits.plot[row.visit] in range(1, 13, 2)


def test_a_visit_fixed_by_hand_is_made_that_day_by_that_agent(district):
    units, _ = district
    fixed = units.assign(agent=-1, fixed_day=None)
    at = units.index[units["stage"] == "pegging"][0]
    day = units["first_day"][at] + timedelta(days=9)
    fixed.loc[at, "agent"] = 1
    fixed.at[at, "fixed_day"] = day  # noqa: PD008 - a single cell that holds a date
    _, days, _, rows = planned(district, fixed)
    row = rows[rows["visit"] == at].iloc[0]
    assert (row["agent"], days.date[row["shift"]]) == (1, day)


def test_seconds_are_rounded_up_and_no_way_is_none():
    ways = ways_of([np.array([[0, 1 / 7], [np.inf, 0]])], [np.array([[0, 0.2], [0, 0]])])
    assert ways.seconds[0].tolist() == [[0, 9], [NO_WAY_S, 0]]
    assert ways.metres[0].tolist() == [[0, 1], [0, 0]]


def test_windows_end_with_their_last_day(district):
    units, _ = district
    visits = visits_of(units, Counts(2, 1, 12), FIRST)
    days = [(day - FIRST).days for day in units["last_day"]]
    assert (visits.closes // DAY_S == days).all()
    assert (visits.opens % DAY_S == 0).all()


def test_a_number_beyond_what_there_is_is_refused(district):
    task, _, _, _ = planned(district)
    with pytest.raises(ValueError, match="place of a visit 14 isn't one of 3"):
        task_of(
            task.visits, task.crew, task.shifts, ways_of([np.zeros((3, 3))], [np.zeros((3, 3))])
        )
