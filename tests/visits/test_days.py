"""Working days: leave, holidays, rain days, storm hours, back before dark."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import pandas as pd
import pytest

from districtplan.visits.asked import season_days
from districtplan.visits.days import Hours, working_days
from districtplan.visits.task import DAY_S
from tests.conftest import plan_of

MONDAY, SUNDAY = date(2026, 3, 2), date(2026, 3, 15)
HOURS = Hours(storm_from=14 * 60, storm_to=17 * 60, back_by=18 * 60, rain_day_every=0)
AGENT = {"week_days": (0, 1, 2, 3, 4), "from_min": 420, "to_min": 1020, "most_min": 600,
         "carries_g": 9_000}  # fmt: skip
NO_LEAVE = pd.DataFrame(columns=["agent", "first_day", "last_day"])


def days(hours=HOURS, leave=NO_LEAVE, **told):
    return working_days(pd.DataFrame([AGENT | told]), leave, hours, MONDAY, SUNDAY)


def test_week_days_alone_and_out_of_the_storm_hours():
    found = days()
    assert [day.weekday() for day in found.date] == [0, 1, 2, 3, 4] * 2
    assert (found.shifts.leaves % DAY_S == 7 * 3600).all()
    assert (found.shifts.returns % DAY_S == 14 * 3600).all()
    assert (found.shifts.longest == 7 * 3600).all()
    assert found.shifts.leaves[5] == 7 * DAY_S + 7 * 3600


@pytest.mark.parametrize(
    ("hours", "told", "from_h", "to_h"),
    [
        ({"storm_from": 8 * 60, "storm_to": 10 * 60}, {}, 10, 17),
        ({"storm_from": 19 * 60, "storm_to": 20 * 60}, {}, 7, 17),
        ({"storm_from": 5 * 60, "storm_to": 7 * 60}, {}, 7, 17),
        ({"storm_from": 19 * 60, "storm_to": 20 * 60, "back_by": 16 * 60}, {}, 7, 16),
    ],
)
def test_the_longer_safe_part_of_a_day_counts(hours, told, from_h, to_h):
    found = days(replace(HOURS, **hours), **told)
    assert (found.shifts.leaves[0], found.shifts.returns[0]) == (from_h * 3600, to_h * 3600)


def test_one_day_in_five_is_held_back_for_rain():
    found = days(replace(HOURS, rain_day_every=5))
    assert len(found.shifts) == 8
    assert found.held_back["date"].tolist() == [date(2026, 3, 6), date(2026, 3, 13)]


def test_a_day_fixed_by_hand_is_not_held_back_but_the_next_one_is():
    found = days(replace(HOURS, rain_day_every=5, fixed=[date(2026, 3, 6)]))
    assert found.held_back["date"].tolist() == [date(2026, 3, 9), date(2026, 3, 13)]
    assert date(2026, 3, 6) in found.date


def test_leave_and_holidays():
    leave = pd.DataFrame(
        [{"agent": 0, "first_day": date(2026, 3, 3), "last_day": date(2026, 3, 4)}]
    )
    found = days(replace(HOURS, holidays=[date(2026, 3, 9)]), leave)
    assert len(found.date) == 7
    assert not {date(2026, 3, 3), date(2026, 3, 4), date(2026, 3, 9)} & set(found.date)


def test_a_day_without_safe_hours_is_none():
    found = days(replace(HOURS, back_by=400))
    assert len(found.shifts) == 0
    assert found.date == []


@pytest.mark.parametrize(
    ("key", "value", "hours", "count"),
    [
        ("storm_from", "12:00", (7, 12, 5), 10),
        ("storm_to", "08:00", (8, 17, 6), 10),
        ("back_by", "13:00", (7, 13, 6), 10),
        ("rain_day_every", 5, (7, 14, 6), 8),
        ("holidays", [date(2026, 3, 9)], (7, 14, 6), 9),
        ("made_on", date(2026, 3, 4), (7, 14, 6), 7),
    ],
)
def test_what_the_plan_says_of_hours_and_days_holds(key, value, hours, count):
    usual = {"storm_from": "14:00", "storm_to": "17:00", "rain_day_every": 0}
    usual |= {"storm_from": "07:00"} if key == "storm_to" else {}
    plan = plan_of(visits={**usual, key: value})
    units = pd.DataFrame({"first_day": [MONDAY], "last_day": [SUNDAY], "fixed_day": [None]})
    agents = pd.DataFrame(
        [{"agent_id": "T1", "from": 420, "to": 1020, "hours_most": 6.0, "week_days": range(5)}]
    )
    leave = pd.DataFrame(columns=["agent_id", "first_day", "last_day"])
    found, first = season_days(SimpleNamespace(units=units), agents, leave, plan)
    assert first == MONDAY
    assert len(found.date) == count
    one = found.shifts.take([0])
    told = (one.leaves % DAY_S, one.returns % DAY_S, one.longest)
    assert tuple(int(part[0]) // 3600 for part in told) == hours
