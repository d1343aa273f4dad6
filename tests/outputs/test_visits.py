"""Visits as they leave a run: tables, calendars, routes, layers, workbook, words, paper."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from datetime import date, timedelta
from typing import get_args
from xml.etree import ElementTree as ET

import geopandas as gpd
import gpxpy
import icalendar
import openpyxl
import pandas as pd
import pypdf
import pytest

from districtplan import visits
from districtplan.accepted import Given
from districtplan.handbook import packaged
from districtplan.outputs import (
    explanation,
    layers,
    manifest,
    visit_files,
    visit_words,
    wording,
    workbook,
)
from districtplan.outputs.page import visit_view
from districtplan.outputs.plot_table import dictionary
from districtplan.outputs.sheets import day_page
from districtplan.outputs.visit_tables import visit_layers
from districtplan.visits.reasons import Reason
from districtplan.visits.relief import Change
from districtplan.visits.told import LEFT_OUT, PLANNED
from tests.outputs.visited import visited_by

GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def seen(small_results):
    return visited_by(small_results)


@pytest.fixture(scope="module")
def files(seen, texts):
    return visit_files.render(seen, texts)


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_without_agents_there_is_nothing_of_them(small_results, texts):
    assert visit_files.render(small_results, texts) == {}
    assert not dictionary(small_results)["name"].str.startswith("visit_").any()
    assert "visits" not in json.loads(manifest.render(small_results, {})["run.json"])
    book = openpyxl.load_workbook(
        io.BytesIO(workbook.render(small_results, texts)["district.xlsx"])
    )
    assert texts.say("workbook.visits") not in book.sheetnames


def test_every_visit_is_in_the_table_and_every_column_declared(seen, files):
    rows = rows_of(files["visits.csv"])
    assert len(rows) == len(seen.visits.visits) > 10
    assert len({row["visit_id"] for row in rows}) == len(rows)
    told = dictionary(seen).set_index("name")
    for name, content in files.items():
        if name.endswith(".csv"):
            head = content.decode().split("\r\n", 1)[0].split(",")
            assert all(column in told.index for column in head), name
    # Text from outside is no formula.
    assert {row["agent_id"] for row in rows} >= {"'=T1"}


def test_calendars_pass_a_strict_reader(seen, files, texts):
    planned = seen.visits.visits[seen.visits.visits["visit_status"] == PLANNED]
    count = 0
    for name, content in files.items():
        if not name.endswith(".ics"):
            continue
        assert max(map(len, content.split(b"\r\n"))) <= 75
        read = icalendar.Calendar.from_ical(content)
        for event in read.walk("VEVENT"):
            assert event["DTSTART"].dt.tzinfo is None
            assert event["DTEND"].dt > event["DTSTART"].dt
            assert event["DTSTAMP"].dt.date() == seen.plan.district.planting_date
            count += 1
        assert not read.errors
    assert count == len(planned)


def test_a_route_a_day_leads_from_base_to_base(seen, files):
    names = [name for name in files if name.endswith(".gpx")]
    assert len(names) == len(seen.visits.days)
    for name in names:
        root = ET.fromstring(files[name])
        kinds = [child.tag.removeprefix(GPX) for child in root]
        assert kinds == sorted(kinds, key=["metadata", "wpt", "rte", "trk"].index)
        (route,) = gpxpy.parse(files[name].decode()).routes
        assert len(route.points) == len(root.findall(f"{GPX}wpt")) + 2
        places = [(one.get("lat"), one.get("lon")) for one in root.iter(f"{GPX}rtept")]
        assert places[0] == places[-1]
        # Stops stand in the order of their times, and the way goes through them in that order.
        stops = root.findall(f"{GPX}wpt")
        begun = [stop.findtext(f"{GPX}name").split()[0] for stop in stops]
        assert begun == sorted(begun)
        assert places[1:-1] == [(stop.get("lat"), stop.get("lon")) for stop in stops]


def test_months_cost_what_their_days_ride(seen):
    costs, days = seen.visits.costs, seen.visits.days
    assert costs["cost_ride_km"].sum() == pytest.approx(days["day_ride_km"].sum())
    assert costs["cost_ride_km"].sum() > 0


def test_nobody_is_named_in_what_is_shared(results_with_names, texts):
    seen = visited_by(results_with_names, farmer_names=True)
    names = results_with_names.plots["farmer_name"].dropna()
    assert len(names) > 3
    told = {name: content.decode() for name, content in visit_files.render(seen, texts).items()}
    told |= {
        f"layer {name}": str(table.to_numpy().tolist())
        for name, table in visit_layers(seen).items()
    }
    told["view"] = json.dumps(visit_view.district(seen, (33.0, -1.8), texts), ensure_ascii=False)
    told["cards"] = json.dumps(visit_view.of_plots(seen, texts), ensure_ascii=False)
    told["words"] = " ".join(visit_words.finding(seen.visits, texts))
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(seen, texts)["district.xlsx"]))
    for sheet in ("visits", "visit_days", "visit_load", "visit_costs", "visit_quality"):
        rows = book[texts.say(f"workbook.{sheet}")].iter_rows(values_only=True)
        told[f"sheet {sheet}"] = str(list(rows))
    for name, text in told.items():
        assert not any(farmer in text for farmer in names), name


def test_layers_and_workbook_have_them(seen, texts, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(layers.render(seen, texts)["plots.gpkg"])
    points, lines = (gpd.read_file(path, layer=name) for name in ("visits", "visit_routes"))
    assert len(points) == (seen.visits.visits["visit_status"] == PLANNED).sum()
    assert len(lines) == len(seen.visits.days)
    assert set(lines.geom_type) == {"LineString"}
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(seen, texts)["district.xlsx"]))
    said = [row[0] for row in book[texts.say("workbook.visits")].iter_rows(values_only=True)]
    assert said[0] == visit_words.finding(seen.visits, texts)[0]


def test_the_manifest_names_no_folder(seen):
    asked = seen.plan.visits.model_copy(update={"agents": "/home/someone/agents.csv"})
    results = dataclasses.replace(seen, plan=seen.plan.model_copy(update={"visits": asked}))
    written = manifest.render(results, {})["run.json"].decode()
    assert json.loads(written)["settings"]["visits"]["agents"] == "agents.csv"
    assert "someone" not in written


def test_the_finding_says_what_is_left_out_and_why(small_results, seen, texts):
    assert visit_words.finding(seen.visits, texts)[0].startswith("All ")
    late = seen.visits.visits["visit_last_day"].max()
    none = visited_by(small_results, made_on=late)
    first, *rest = visit_words.finding(none.visits, texts)
    assert first.startswith("0 of ")
    assert texts.say("visits.why.no day") in " ".join(rest)
    assert set(none.visits.visits["visit_status"]) == {LEFT_OUT}
    assert set(rest[1:2]) <= set(wording.noticed(none, texts))
    assert day_page.render(none, texts) == {}
    assert visit_files.render(none, texts)["visits.csv"]
    assert layers.render(none, texts)["plots.gpkg"]
    assert workbook.render(none, texts)["district.xlsx"]


def test_a_plot_is_told_who_comes_when(seen, texts):
    row = seen.visits.visits[seen.visits.visits["plot_id"] != ""].iloc[0]
    title = texts.say("explain.visits.title")
    (step,) = (
        one for one in explanation.explain(seen, row["plot_id"], texts) if one.title == title
    )
    assert texts.day(row["visit_day"]) in step.result


def carried_on(results, texts, done=(), **keys):
    """The same district, its plan carried on from its own visits.csv."""
    rows = rows_of(visit_files.render(results, texts)["visits.csv"])
    given = pd.DataFrame(rows)[list(visits.CARRIED_ON)].astype(object)
    given.loc[given["visit_id"].isin(done), "done"] = "yes"
    given = given.assign(source_row=range(1, len(given) + 1), reason=None, remedy=None)
    taken = visits.accept_carried_on(given, set(packaged().rows(visits.STAGES)["name"]))
    assert taken.set_aside.empty
    found = visited_by(results, taken.used, carried_on="visits.csv", **keys)
    beside = {**results.beside, "carried_on": Given(taken.used, taken.set_aside, len(given))}
    return dataclasses.replace(found, beside=beside)


def test_a_plan_carried_on_keeps_what_can_stay(seen, files, texts):
    again = carried_on(seen, texts, made_on=date(2025, 1, 1))
    assert again.visits.changed.empty
    planned = seen.visits.visits["visit_status"] == PLANNED
    before = seen.visits.visits[planned].set_index("visit_id")["visit_day"]
    after = again.visits.visits.set_index("visit_id")["visit_day"]
    assert (after[before.index] == before).all()
    same = visit_files.render(again, texts)
    for name in files:
        if name.endswith(".ics"):
            # But for the day on which it was made, it is what was handed out.
            old, new = (
                [line for line in content.split(b"\r\n") if not line.startswith(b"DTSTAMP")]
                for content in (files[name], same[name])
            )
            assert old == new


def test_what_slipped_moves_and_what_is_dropped_stays_cancelled(seen, texts):
    days = sorted(seen.visits.days["visit_day"])
    middle = days[len(days) // 2]
    table = seen.visits.visits
    past = table[(table["visit_day"] <= middle).fillna(value=False)]
    done = set(past["visit_id"].iloc[1:])
    again = carried_on(seen, texts, done, made_on=middle)
    status = again.visits.visits.set_index("visit_id")["visit_status"]
    assert (status[list(done)] == "done").all()
    slipped = past["visit_id"].iloc[0]
    assert status[slipped] in (PLANNED, "cancelled")
    assert slipped in set(again.visits.changed["visit_id"])
    assert set(again.visits.changed["visit_id"]) == {slipped}
    written = visit_files.render(again, texts)
    old = {
        str(event["UID"]): event
        for name, content in visit_files.render(seen, texts).items()
        if name.endswith(".ics")
        for event in icalendar.Calendar.from_ical(content).walk("VEVENT")
    }
    new = {
        str(event["UID"]): event
        for name, content in written.items()
        if name.endswith(".ics")
        for event in icalendar.Calendar.from_ical(content).walk("VEVENT")
    }
    assert set(old) == set(new)
    raised = {uid for uid in new if new[uid]["SEQUENCE"] > old[uid]["SEQUENCE"]}
    assert raised == {visit_words.uid(seen.plan.district.name, slipped)}
    (uid,) = raised
    assert (str(new[uid]["STATUS"]) == "CANCELLED") is (status[slipped] == "cancelled")
    rows = {row["visit_id"]: row for row in rows_of(written["visits.csv"])}
    assert rows[slipped]["visit_sequence"] == "1"
    # And once more: what was cancelled stays so.
    third = carried_on(again, texts, made_on=middle)
    assert third.visits.changed.empty


def test_what_is_dropped_is_told_with_its_day_and_agent(seen, texts):
    table = seen.visits.visits
    first, *rest = table.loc[table["visit_status"] == PLANNED, "visit_id"]
    before = table.set_index("visit_id").loc[first]
    after_all = date(2031, 1, 1)
    over = carried_on(seen, texts, rest, made_on=after_all)
    day = texts.day(before["visit_day"])
    said = f"{first}: dropped; it was on {day}, {before['agent_id']}."
    assert said in visit_words.changes(over.visits, texts)


def events_of(files, stem: str) -> dict[str, icalendar.Event]:
    (content,) = (files[name] for name in files if name.startswith(stem) and name.endswith(".ics"))
    read = icalendar.Calendar.from_ical(content)
    assert not read.errors
    return {str(event["UID"]): event for event in read.walk("VEVENT")}


def test_a_visit_that_another_agent_takes_over_is_cancelled_for_the_first(seen, texts):
    made = seen.visits.visits
    one = made[(made["visit_status"] == PLANNED) & (made["agent_id"] == "=T1")].iloc[0]
    uid = visit_words.uid(seen.plan.district.name, one["visit_id"])
    early = date(2025, 1, 1)
    second = carried_on(seen, texts, hand={one["visit_place"]: "T2"}, made_on=early)
    third = carried_on(second, texts, made_on=early)
    back = carried_on(third, texts, hand={one["visit_place"]: "=T1"}, made_on=early)
    runs = [visit_files.render(run, texts) for run in (seen, second, third, back)]
    told = []
    for files in runs:
        both = [events_of(files, f"visits/a00{number}").get(uid) for number in (1, 2)]
        told.append([one and (str(one["STATUS"]), one["SEQUENCE"]) for one in both])
    kept = [("CANCELLED", 1), ("CONFIRMED", 1)]
    # The third run hands nothing over, and whoever skipped the second still loses the visit.
    assert told == [
        [("CONFIRMED", 0), None], kept, kept, [("CONFIRMED", 2), ("CANCELLED", 2)]
    ]  # fmt: skip
    assert one["visit_id"] in set(second.visits.changed["visit_id"])
    assert third.visits.changed.empty
    (sentence,) = (
        one_of
        for one_of in visit_words.changes(second.visits, texts)
        if one_of.startswith(f"{one['visit_id']}: from =T1")
    )
    assert "to T2" in sentence


def test_where_nobody_may_go_that_is_why_though_nobody_works_either(small_results, seen):
    village = seen.visits.visits["village"].iloc[0]
    late = seen.visits.visits["visit_last_day"].max()
    none = visited_by(small_results, barred={"=T1": village, "T2": village}, made_on=late)
    table = none.visits.visits
    assert set(table.loc[table["village"] == village, "visit_left_out"]) == {"nobody may go"}
    assert set(table.loc[table["village"] != village, "visit_left_out"]) == {"no day"}


def test_a_plan_carried_on_hands_over_places_where_an_agent_may_no_longer_go(seen, texts):
    made = seen.visits.visits[seen.visits.visits["visit_status"] == PLANNED]
    agent, village = made[["agent_id", "village"]].value_counts().index[0]
    again = carried_on(seen, texts, barred={agent: village}, made_on=date(2025, 1, 1))
    now = again.visits.visits
    there = now[(now["village"] == village) & (now["visit_status"] == PLANNED)]
    assert len(there) > 0
    assert agent not in set(there["agent_id"])
    changed = now[now["visit_id"].isin(again.visits.changed["visit_id"])]
    assert set(changed["village"]) == {village}


def test_a_storm_that_was_none_leaves_its_visits_cancelled(seen, texts):
    table = seen.visits.visits.copy()
    first = table.index[table["visit_status"] == PLANNED][0]
    table.loc[first, "visit_id"] = f"storm-2026-04-11/single/{table.loc[first, 'visit_place']}"
    stormy = dataclasses.replace(seen, visits=dataclasses.replace(seen.visits, visits=table))
    again = carried_on(stormy, texts, made_on=date(2025, 1, 1))
    told = again.visits.visits.set_index("visit_id").loc[table.loc[first, "visit_id"]]
    assert (told["visit_stage"], told["visit_status"]) == ("storm", "cancelled")
    written = b"".join(visit_files.render(again, texts).values()).replace(b"\r\n ", b"")
    assert texts.say("visits.stage.storm").encode() in written


def test_a_day_of_leave_moves_no_day_of_a_plan_carried_on_to_rain_days(seen, texts):
    days = seen.visits.days
    agent = days["agent_id"].value_counts().index[0]
    own = days.loc[days["agent_id"] == agent, "visit_day"]
    away = date(2026, 1, 1)
    while away in set(own):
        away += timedelta(days=1)
    again = carried_on(seen, texts, leave=((agent, away, away),), made_on=date(2025, 1, 1))
    assert again.visits.changed.empty


def pages(content: bytes) -> list[str]:
    read = pypdf.PdfReader(io.BytesIO(content)).pages
    return [" ".join(page.extract_text().split()) for page in read]


def test_the_plan_stands_beside_nearest_first_wherever_a_planner_looks(seen, files, texts):
    planned, simple = rows_of(files["visits/quality.csv"])
    days = seen.visits.days
    assert planned["quality_visits"] == str(days["day_visits"].sum())
    # Minutes of days are rounded up one by one.
    for name, column in (("quality_road_h", "day_way_min"), ("quality_walk_h", "day_walk_min")):
        assert 0 <= days[column].sum() / 60 - float(planned[name]) < len(days) / 60
    assert float(planned["quality_road_share_most_pct"]) == days["day_way_share_pct"].max()
    (sentence,) = (
        one for one in visit_words.finding(seen.visits, texts) if "nearest visit first" in one
    )
    assert f"{float(planned['quality_road_h']):.1f} hours" in sentence
    assert f"{simple['quality_visits']} visits" in sentence
    content = workbook.render(seen, texts)["district.xlsx"]
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    assert texts.say("workbook.visit_quality") in book.sheetnames


def test_a_page_a_day_says_what_to_do_and_what_to_carry(seen, texts):
    files = day_page.render(seen, texts)
    told = [page for content in files.values() for page in pages(content)]
    assert len(told) >= len(seen.visits.days)
    whole = " ".join(told)
    for row in seen.visits.days.to_dict("records"):
        assert any(texts.day(row["visit_day"]) in page for page in told)
    assert texts.say("visits.care.river") in whole
    assert whole.count(texts.say("visits.sheet.care")) == len(seen.visits.days)
    planned = seen.visits.visits[seen.visits.visits["visit_status"] == PLANNED]
    for stage in planned["visit_stage"].unique():
        for tool in texts.say(f"visits.tools.{stage}").split("; "):
            assert tool in whole
    assert day_page.render(seen, texts) == files


def test_what_keeps_an_agent_safe_is_on_the_first_page_of_a_long_day_too(seen, texts):
    found = seen.visits
    day = found.days.iloc[[0]]
    agent, when = day[["agent_id", "visit_day"]].iloc[0]
    planned = found.visits[found.visits["visit_status"] == PLANNED]
    crowded = planned.assign(agent_id=agent, visit_day=when)
    long = dataclasses.replace(
        seen, visits=dataclasses.replace(found, days=day, visits=crowded.reset_index(drop=True))
    )
    (content,) = day_page.render(long, texts).values()
    first, *others = pages(content)
    assert others
    assert texts.say("visits.sheet.overleaf") in first
    for part in ("care.river", "sheet.care", "sheet.word"):
        assert texts.say(f"visits.{part}") in first
    assert all(texts.say("visits.care_short") in page for page in others)
    whole = " ".join([first, *others])
    assert all(place in whole for place in crowded["visit_place"] if place.isascii())


def test_who_walks_from_a_road_is_told_where_the_vehicle_stays(seen, texts):
    found = seen.visits
    table = found.visits.copy()
    at = table.index[table["visit_status"] == PLANNED][:2]
    for row, north in zip(at, (0.01, 0.0001), strict=True):
        table.loc[row, "roadhead_longitude_deg"] = table.loc[row, "place_longitude_deg"]
        table.loc[row, "roadhead_latitude_deg"] = table.loc[row, "place_latitude_deg"] + north
    parked = dataclasses.replace(seen, visits=dataclasses.replace(found, visits=table))
    whole = " ".join(
        page for content in day_page.render(parked, texts).values() for page in pages(content)
    )
    head = table.loc[at[0], ["roadhead_latitude_deg", "roadhead_longitude_deg"]]
    # A hundredth of a degree; who leaves the vehicle eleven metres away needs no word of it.
    assert whole.count("The vehicle stays at") == 1
    assert f"The vehicle stays at {head.iloc[0]:.5f}, {head.iloc[1]:.5f} (latitude" in whole
    assert "on foot: south 1.1 km straight." in whole
    files = visit_files.render(parked, texts)
    said = b"".join(content for name, content in files.items() if name.endswith(".gpx"))
    assert said.count(b"<name>Vehicle:") == 2


@pytest.mark.parametrize("asked", [False, True])
def test_farmers_are_named_on_day_sheets_only_where_the_plan_asks(results_with_names, texts, asked):
    seen = visited_by(results_with_names, farmer_names=asked)
    whole = " ".join(
        page for content in day_page.render(seen, texts).values() for page in pages(content)
    )
    names = results_with_names.plots["farmer_name"].dropna()
    short = [name for name in names if name.isascii() and len(name) < 25]
    assert any(name in whole for name in short) is asked
    assert "<b>Tavi</b> Orrel" in whole


def test_every_code_has_its_words(texts):
    stages = set(packaged().rows("visit_stages")["name"])
    for part in ("stage", "task", "tools"):
        assert set(texts.section(f"visits.{part}")) == stages
    assert set(texts.section("visits.why")) == set(get_args(Reason))
    assert set(texts.section("visits.remedy")) == set(get_args(Reason))
    changes = set(get_args(Change)) - {"a cut of days"}
    assert set(texts.section("visits.relief_of")) == changes
