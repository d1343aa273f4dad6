"""Files on visits: what can be used is read, what can't is told with row, reason and remedy."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from districtplan import visits
from districtplan.errors import InputError

GOOD = {
    "agent_id": "T1", "name": "Tavi Orrel",
    "longitude_deg": "33.12345678901234", "latitude_deg": "-1.8",
    "week_days": "mon Wed", "from": "07:00", "to": "13:30", "hours_most": "6",
    "mode": "Motorcycle", "speed_km_h": "25", "wet_speed_km_h": "", "serves": "Sondo | Upper",
    "barred": "", "litres_100_km": "2.5", "fuel_l": "40", "tank_l": "9", "days_most": "",
}  # fmt: skip
VILLAGES = {"Sondo", "Upper"}


def given(*rows: dict[str, str], columns=visits.AGENTS) -> pd.DataFrame:
    filled = [dict.fromkeys(columns, "") | row for row in rows]
    table = pd.DataFrame(filled, columns=list(columns), dtype=object)
    return table.assign(source_row=range(1, len(rows) + 1), reason=None, remedy=None)


def test_an_agent_as_typed():
    found = visits.accept_agents(given(GOOD), VILLAGES)
    assert found.set_aside.empty
    row = found.used.iloc[0]
    assert (row["week_days"], row["from"], row["to"]) == ((0, 2), 420, 810)
    assert (row["speed_km_h"], row["wet_speed_km_h"]) == (25, 25)
    assert row["serves"] == ("Sondo", "Upper")
    # As a script writes it, with all its decimals.
    assert row["longitude_deg"] == 33.12345678901234
    assert visits.speeds(found.used) == [25.0]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"agent_id": " "}, "no agent_id that can be printed"),
        ({"longitude_deg": "east"}, "longitude_deg = 'east' isn't a number of degrees"),
        ({"latitude_deg": "91"}, "latitude_deg = '91' isn't"),
        ({"week_days": "mon noday"}, "week_days = 'mon noday' isn't a list of days"),
        ({"week_days": ""}, "week_days = '' isn't a list of days"),
        ({"from": "7"}, "from = '7' isn't a time of the day"),
        ({"to": "24:00"}, "to = '24:00' isn't a time of the day"),
        ({"to": "06:00"}, "ends before it begins"),
        ({"hours_most": "99"}, "hours_most = '99' isn't a number from 0.5 to 24"),
        ({"mode": "rocket"}, "mode = 'rocket' isn't one of on foot, bicycle"),
        ({"mode": "on foot"}, "goes on foot and has a speed"),
        ({"speed_km_h": ""}, "rides and has no speed_km_h"),
        ({"speed_km_h": "1e3"}, "speed_km_h = '1e3' isn't a number"),
        ({"wet_speed_km_h": "30"}, "wet_speed_km_h is above speed_km_h"),
        ({"litres_100_km": ""}, "burns fuel and has no litres_100_km"),
        ({"serves": "Atlantis"}, "serves names 'Atlantis', which no plot that is used is in"),
    ],
)
def test_a_wrong_agent_is_told_with_its_row_and_stops_the_run(changed, said):
    found = visits.accept_agents(given(GOOD, GOOD | {"agent_id": "T2"} | changed), VILLAGES)
    assert len(found.used) == 1
    with pytest.raises(InputError) as caught:
        visits.require(found, "agents.csv", least=1)
    (fault,) = caught.value.faults
    assert fault.where.startswith("agents.csv row 2 (row 3 of a spreadsheet), agent_id ")
    assert said in fault.what
    assert fault.remedy


def test_two_agents_of_one_id_and_a_file_without_any_are_refused():
    twice = visits.accept_agents(given(GOOD, GOOD), VILLAGES)
    with pytest.raises(InputError, match="stands in several rows"):
        visits.require(twice, "agents.csv")
    many = given(*(GOOD | {"agent_id": f"T{number}"} for number in range(3)))
    with pytest.raises(InputError, match="has 3 rows, more than 2"):
        visits.require(visits.accept_agents(many, VILLAGES), "agents.csv", most=2)
    none = visits.accept_agents(given(), VILLAGES)
    with pytest.raises(InputError, match=r"agents\.csv: has no row"):
        visits.require(none, "agents.csv", least=1)


def test_leave_places_and_what_was_seen():
    leave = visits.accept_leave(
        given(
            {"agent_id": "T1", "first_day": "2026-03-01", "last_day": "2026-03-02"},
            {"agent_id": "T9", "first_day": "2026-03-01", "last_day": "2026-03-02"},
            {"agent_id": "T1", "first_day": "2026-03-03", "last_day": "2026-03-02"},
            columns=visits.LEAVE,
        ),
        {"T1"},
    )
    assert leave.used["first_day"].tolist() == [date(2026, 3, 1)]
    assert leave.set_aside["source_row"].tolist() == [2, 3]
    seen = visits.accept_observed(
        given(
            {"event": "Planting", "day": "2026-03-20"},
            {"event": "planting", "day": "2026-03-21"},
            {"event": "storm", "day": "2026-04-01", "village": "Sondo"},
            {"event": "storm", "day": "2026-04-09", "village": "Sondo"},
            {"event": "eclipse", "day": "2026-04-01"},
            {"event": "onset", "day": "1st of March"},
            {"event": "harvest", "day": "2025-06-20"},
            {"event": "harvest", "day": "2026-06-20"},
            {"event": "storm", "day": "2026-04-11"},
            columns=visits.OBSERVED,
        ),
        VILLAGES,
        (date(2025, 9, 13), date(2026, 9, 14)),
        made_on=date(2026, 4, 10),
    )
    assert seen.used["event"].tolist() == ["planting", "storm", "storm"]
    aside = seen.set_aside.set_index("source_row")["reason"]
    assert aside.index.tolist() == [2, 5, 6, 7, 8, 9]
    assert "day = 2025-06-20 lies more than half a year from the onset" in aside[7]
    assert "day = 2026-04-11 lies after visits.made_on = 2026-04-10" in aside[9]


def test_trips_tell_speeds_where_there_are_enough():
    found = visits.accept_trips(
        given(
            {"agent_id": "T1", "day": "2026-02-01", "km": "10", "minutes": "60"},
            {"agent_id": "T1", "day": "2026-02-02", "km": "30", "minutes": "60"},
            {"agent_id": "T1", "day": "2026-03-20", "km": "6", "minutes": "60"},
            {"agent_id": "T1", "day": "2026-03-20", "km": "6", "minutes": "0"},
            {"agent_id": "T1", "day": "2026-03-20", "km": "", "minutes": "9"},
            {"agent_id": "T9", "day": "2026-02-02", "km": "30", "minutes": "60"},
            {"agent_id": "T1", "day": "2026-02-02", "km": "1", "minutes": "600"},
            columns=visits.TRIPS,
        ),
        {"T1"},
    )
    assert found.set_aside["source_row"].tolist() == [4, 5, 6, 7]
    agents = visits.accept_agents(given(GOOD), VILLAGES).used
    onset = date(2026, 3, 8)
    known, told = visits.calibrated(agents, found.used, onset, 2)
    # 40 km in two hours; one trip in the rains tells nothing.
    assert known[["speed_km_h", "wet_speed_km_h"]].iloc[0].tolist() == [20, 25]
    assert told.to_dict("records") == [
        {"agent_id": "T1", "speed_wet": 0, "speed_trips": 2, "speed_recorded_km_h": 20.0,
         "speed_given_km_h": 25.0}
    ]  # fmt: skip
    none, empty = visits.calibrated(agents, found.used.iloc[:0], onset, 1)
    assert none.equals(agents)
    assert empty.empty


def test_trips_on_foot_tell_how_fast_people_walk():
    agents = pd.DataFrame({"agent_id": ["T1", "T2", "T3"], "mode": ["on foot", "car", "on foot"]})
    trips = pd.DataFrame(
        [("T1", 2.0, 60.0), ("T3", 1.0, 30.0), ("T2", 40.0, 60.0)],
        columns=["agent_id", "km", "minutes"],
    )
    factor, told = visits.walked(agents, trips, 3.0, 2)
    # 3 km in an hour and a half.
    assert factor == 1.5
    assert told[["speed_trips", "speed_recorded_km_h", "speed_given_km_h"]].to_numpy().tolist() == [
        [2, 2.0, 3.0]
    ]
    factor, told = visits.walked(agents, trips, 3.0, 3)
    assert (factor, len(told)) == (1.0, 0)


def test_what_is_fixed_by_hand_names_one_agent_a_place():
    known = visits.Fixable(
        {"K1", "K2"}, {"planting", "harvest"}, {("tree", "planting")}, {"T1"},
        (date(2025, 1, 1), date(2027, 7, 1)),
    )  # fmt: skip
    found = visits.accept_by_hand(
        given(
            {"place": "K1", "stage": "planting", "agent_id": "T1"},
            {"place": "K1", "stage": "harvest", "day": "2026-06-01"},
            {"place": "tree", "stage": "planting", "day": "2026-03-20"},
            {"place": "tree", "stage": "harvest", "day": "2026-03-20"},
            {"place": "K2", "stage": "planting"},
            {"place": "K2", "stage": "moonrise", "agent_id": "T1"},
            {"place": "K2", "stage": "harvest", "agent_id": "T2"},
            {"place": "K2", "stage": "planting", "day": "2062-03-20"},
            columns=visits.BY_HAND,
        ),
        known,
    )
    assert found.used["place"].tolist() == ["K1", "K1", "tree"]
    assert found.set_aside["source_row"].tolist() == [4, 5, 6, 7, 8]


def test_a_row_by_hand_that_is_set_aside_takes_no_place_from_others():
    known = visits.Fixable(
        {"K1"}, {"planting"}, set(), {"T1", "T2"}, (date(2025, 9, 1), date(2027, 1, 1))
    )
    found = visits.accept_by_hand(
        given(
            {"place": "K1", "stage": "planting", "agent_id": "T1", "day": "2062-03-20"},
            {"place": "K1", "stage": "planting", "agent_id": "T2", "day": "2026-03-20"},
            columns=visits.BY_HAND,
        ),
        known,
    )
    assert found.used[["source_row", "agent_id"]].to_numpy().tolist() == [[2, "T2"]]
    assert found.set_aside["source_row"].tolist() == [1]


def test_a_plan_before_is_read_back():
    row = {"visit_id": "harvest/single/K1", "agent_id": "T1", "visit_day": "2026-06-01",
           "visit_begins": "08:00", "visit_ends": "09:30", "visit_sequence": "2",
           "visit_agents_before": "T3|T2"}  # fmt: skip
    found = visits.accept_carried_on(
        given(
            row,
            row | {"visit_id": "harvest/single/a", "done": "maybe"},
            row | {"visit_id": "harvest/single/b", "visit_day": "", "done": "yes"},
            row | {"visit_id": "harvest/single/c", "visit_sequence": "-1"},
            row | {"visit_id": "harvest/single/d", "done": "Yes"},
            row | {"visit_id": "elsewhere"},
            row | {"visit_id": "storm-2026-04-11/single/K1", "visit_day": ""},
            columns=visits.CARRIED_ON,
        ),
        {"harvest", "storm"},
    )
    assert found.used["visit_id"].tolist() == [
        "harvest/single/K1", "harvest/single/d", "storm-2026-04-11/single/K1"
    ]  # fmt: skip
    assert found.used["done"].tolist() == [False, True, False]
    assert found.used["visit_begins"].tolist()[:2] == [480, 480]
    assert found.used["visit_agents_before"].tolist() == [("T3", "T2")] * 3
    assert found.set_aside["source_row"].tolist() == [2, 3, 4, 6]
