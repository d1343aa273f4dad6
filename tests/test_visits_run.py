"""Visits in a run: every file read, days that can be kept, plans carried on, bad files refused."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from districtplan import pipeline
from districtplan.errors import InputError
from districtplan.outputs import visit_words
from districtplan.outputs.texts import Texts
from districtplan.visits import season
from districtplan.visits.timetable import timetable
from tests.conftest import small_district, write_district
from tests.support import districtplan
from tests.visits.checker import faults

WRITES = ("tables", "visits", "days")

VISITS = """\
[visits]
agents = "agents.csv"
leave = "leave.csv"
meeting_places = "places.csv"
by_hand = "by_hand.csv"
observed = "observed.csv"
trips = "trips.csv"
trips_min = 2
holidays = [2026-04-03]
rest_every = 3
iterations = 100
{more}
"""
HEAD = (
    "agent_id,name,longitude_deg,latitude_deg,week_days,from,to,hours_most,mode,speed_km_h,"
    "wet_speed_km_h,serves,barred,litres_100_km,fuel_l,tank_l,days_most"
)
FILES = {
    "agents": [
        HEAD,
        "T1,Tavi Orrel,33.0,-1.8,mon tue wed thu fri,07:00,13:30,,motorcycle,20,0,,,3.1,40,8,",
        "T2,=Mera Sund,33.004,-1.802,mon wed fri,07:30,15:00,6,on foot,,,Tilverra|Numbassi,,,,,40",
    ],
    "leave": [
        "agent_id,first_day,last_day", "T2,2026-03-16,2026-03-20", "T2,2031-03-16,2031-03-20",
    ],
    "places": [
        "meeting_place,village,longitude_deg,latitude_deg",
        "<b>big tree</b>,Tilverra,33.0,-1.801",
        "nowhere,Atlantis,33,-1.8",
    ],
    "by_hand": [
        "place,stage,agent_id,day",
        "K00,planting,T1,2026-03-17",
        "<b>big tree</b>,consent,T2,",
        "K77,planting,T1,",
        "K05,harvest,,2026-03-17",
    ],
    "trips": [
        "agent_id,day,km,minutes", "T1,2026-01-09,9,30", "T1,2026-01-12,7,30", "T1,2026-01-13,x,5",
        "T2,2026-03-16,1,30", "T2,2026-03-17,3,90",
    ],
    "observed": [
        "event,day,village", "planting,2026-03-16,", "storm,2026-04-10,Tilverra",
        "onset,2025-03-15,",
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Twelve plots, and the files of visits."""
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("visits"), plots, raster)
    for name, lines in FILES.items():
        (path.parent / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
    return path.parent


def plan_in(folder, more="", name="plan"):
    plan = folder / f"{name}-visits.toml"
    text = (folder / "plan.toml").read_text(encoding="utf-8") + VISITS.format(more=more)
    plan.write_text(text, encoding="utf-8")
    return plan


@pytest.fixture(scope="module")
def judged(folder):
    """A run, with each task that it planned and its rows."""
    tasks = []

    def watched(task, days):
        rows = timetable(task, days)
        tasks.append((task, rows))
        return rows

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(season, "timetable", watched)
        results = pipeline.find(plan_in(folder))
    # After each plan stands the one that goes to the nearest visit first.
    return results, tasks[::2]


@pytest.fixture(scope="module")
def found(judged):
    return judged[0]


def test_every_part_of_the_plan_passes_the_judge(judged):
    results, tasks = judged
    # Days before the rains and days in them.
    assert len(tasks) == 2
    left = 0
    for task, rows in tasks:
        made = set(rows.loc[rows["visit"] >= 0, "visit"])
        dropped = dict.fromkeys(set(range(len(task.visits))) - made, "left out")
        assert faults(task, rows, dropped) == []
        left += len(dropped)
    assert left == (results.visits.visits["visit_status"] == "left out").sum()


def test_all_that_is_named_is_read_and_used(found):
    told = found.visits
    made = told.visits[told.visits["visit_status"] == "planned"]
    assert len(made) >= 12
    assert {name: len(given.set_aside) for name, given in found.beside.items()} == {
        "agents": 0, "meeting_places": 1, "observed": 1, "leave": 0, "by_hand": 1,
        "trips": 1,
    }  # fmt: skip
    fixed = made[(made["visit_place"] == "K00") & (made["visit_stage"] == "planting")].iloc[0]
    assert (fixed["agent_id"], fixed["visit_day"]) == ("T1", date(2026, 3, 17))
    tree = made[made["visit_place"] == "<b>big tree</b>"]
    assert set(tree["agent_id"]) == {"T2"}
    assert made.groupby("visit_place")["agent_id"].nunique().eq(1).all()
    days = set(zip(made["agent_id"], made["visit_day"], strict=True))
    assert not any(agent == "T2" and date(2026, 3, 16) <= day <= date(2026, 3, 20)
                   for agent, day in days)  # fmt: skip
    assert date(2026, 4, 3) not in {day for _, day in days}
    assert (
        (made["visit_day"] >= made["visit_first_day"])
        .where(made["visit_by_hand"] == 0, other=True)
        .all()
    )


def test_a_day_fixed_outside_its_window_stands_and_is_told(found):
    told = found.visits.visits.set_index("visit_id").loc["harvest/single/K05"]
    assert told["visit_day"] == date(2026, 3, 17)
    said = [
        one for one in visit_words.noticed(found, Texts.load("en")) if one.startswith("by_hand.csv")
    ]
    # K00 is fixed within its days.
    (sentence,) = said
    assert sentence.startswith("by_hand.csv row 4 (row 5 of a spreadsheet): Harvest")
    assert "K05" in sentence
    assert "17 March 2026" in sentence


def test_leave_of_another_year_and_agents_of_one_name_are_told(found):
    agents = found.visits.agents.assign(name=["Zoë Orrel", "ZOE ORREL"])
    same = replace(found, visits=replace(found.visits, agents=agents))
    said, usual = (
        " ".join(visit_words.noticed(results, Texts.load("en"))) for results in (same, found)
    )
    told = "Agents of one name, but for capitals and accents: 2, such as T1 and T2."
    assert told in said
    assert told not in usual
    assert "leave.csv: rows of leave that fall on no day of the season" in usual
    assert ": 1, the first of them row 2 (row 3 of a spreadsheet)." in usual


def test_times_on_a_sheet_add_up(found):
    made = found.visits.visits.dropna(subset=["visit_day"])
    clock = {
        name: pd.to_timedelta(made[name] + ":00").dt.total_seconds() / 60
        for name in ("visit_leaves", "visit_begins", "visit_ends")
    }
    gone = clock["visit_begins"] - clock["visit_leaves"]
    waits = found.visits.days["day_wait_min"].sum()
    assert (gone >= made["visit_way_min"].astype(float)).all()
    assert (gone - made["visit_way_min"].astype(float)).sum() == waits


def test_a_recorded_speed_stands_in_place_of_the_given(found):
    assert found.visits.speeds["speed_recorded_km_h"].tolist() == [16.0, 2.0]
    # T2 walks: as the crow flies, times the factor, at that speed.
    told = found.visits.visits
    first = told[(told["agent_id"] == "T2") & (told["visit_stop"] == 1)].iloc[0]
    base = found.visits.agents.set_index("agent_id").loc["T2", ["longitude_deg", "latitude_deg"]]
    place = first[["place_longitude_deg", "place_latitude_deg"]]
    metres = Geod(ellps="WGS84").inv(*base, *place)[2]
    minutes = 60 * found.plan.visits.way_factor * metres / 2000
    assert first["visit_way_min"] == pytest.approx(minutes, abs=1.1)
    rode = found.visits.days[found.visits.days["day_ride_km"] > 0]
    minutes = 60 * rode["day_ride_km"] / 16
    assert (rode["day_ride_min"] - minutes).between(-1, 1).all()


def test_the_wet_speed_holds_from_the_onset_on(found):
    days = found.visits.days
    rode = days[days["agent_id"] == "T1"]
    onset = found.visits.stages.loc[
        found.visits.stages["visit_stage"] == "planting", "stage_first_day"
    ].min()
    dry = rode["visit_day"] < onset
    assert (rode.loc[dry, "day_ride_km"] > 0).all()
    # Closed in the rains: on foot.
    assert (rode.loc[~dry, "day_ride_km"] == 0).all()
    assert dry.any()
    assert not dry.all()


def test_a_run_is_carried_on_from_its_own_table(folder, tmp_path):
    plan = plan_in(folder, name="first")
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    assert "visits are planned" in done.stdout
    listed = {path.name for path in (tmp_path / "run" / "visits").iterdir()}
    assert {"a001-t1.ics", "a001-t1.pdf", "a002-t2.ics", "days.csv", "costs.csv"} <= listed
    text = (tmp_path / "run" / "visits.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    # What was seen until then is known: the last of it is a storm on the tenth of April.
    until = min(row["visit_day"] for row in rows if row["visit_day"] > "2026-04-10")
    past = [row for row in rows if row["visit_day"] and row["visit_day"] <= until]
    for row in past[1:]:
        row["done"] = "yes"
    target = io.StringIO(newline="")
    writer = csv.DictWriter(target, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    (folder / "before.csv").write_text(target.getvalue(), encoding="utf-8")
    more = f'carried_on = "before.csv"\nmade_on = {until}'
    done = districtplan("run", plan_in(folder, more, "second"), "--out", tmp_path / "again")
    assert done.returncode == 0, done.stderr
    assert "Carried on: 1 visits changed" in done.stderr
    assert past[0]["visit_id"] in done.stderr
    again = pd.read_csv(tmp_path / "again" / "visits.csv").set_index("visit_id")
    assert (again.loc[[row["visit_id"] for row in past[1:]], "visit_status"] == "done").all()
    rest = [row for row in rows if row["visit_day"] > until]
    assert all(again.loc[row["visit_id"], "visit_day"] == row["visit_day"] for row in rest)
    told = json.loads((tmp_path / "again" / "run.json").read_text(encoding="utf-8"))
    assert told["visits"]["done"] == len(past) - 1
    assert (tmp_path / "again" / "visits" / "changed.csv").exists()


def test_who_never_works_says_so_and_what_to_do(folder):
    there = folder / "leave.csv"
    kept = there.read_text(encoding="utf-8")
    away = [f"{agent},2025-01-01,2027-12-31" for agent in ("T1", "T2")]
    there.write_text("\n".join([kept.split("\n")[0], *away]), encoding="utf-8")
    try:
        results = pipeline.find(plan_in(folder, "relief = false", name="away"))
    finally:
        there.write_text(kept, encoding="utf-8")
    assert results.visits.days.empty
    texts = Texts.load("en")
    said = " ".join(visit_words.noticed(results, texts))
    assert texts.say("visits.why.no day") in said
    assert texts.say("visits.remedy.no day") in said


@pytest.mark.parametrize(
    ("name", "line", "said"),
    [
        ("agents", "T3,x,33,-1.8,mon,08:00,07:00,,on foot,,,,,,,,", r"agents.csv row 3 \(row 4"),
        ("leave", "T9,2026-01-01,2026-01-02", r"leave.csv row 3"),
        # Longitude and latitude have changed places.
        ("agents", "T3,x,-1.8,33,mon,07:00,08:00,,on foot,,,,,,,,", r"agents.csv row 3.* far from"),
    ],
)
def test_a_bad_row_stops_the_run(folder, tmp_path, name, line, said):
    there = folder / f"{name}.csv"
    kept = there.read_text(encoding="utf-8")
    there.write_text(f"{kept}\n{line}", encoding="utf-8")
    try:
        with pytest.raises(InputError, match=said):
            pipeline.find(plan_in(folder, name="bad"))
    finally:
        there.write_text(kept, encoding="utf-8")


def test_a_plan_is_not_carried_on_from_half_a_table(folder):
    head = (
        "visit_id,agent_id,visit_day,visit_begins,visit_ends,visit_status,visit_sequence,"
        "visit_agents_before,done"
    )
    row = "consent/single/K00,T1,2026-01-05,07:00,08:00,planned,0,,made"
    (folder / "half.csv").write_text(f"{head}\n{row}", encoding="utf-8")
    more = 'carried_on = "half.csv"\nmade_on = 2026-02-01'
    with pytest.raises(InputError, match=r"half.csv row 1 .* done = 'made' isn't yes or no"):
        pipeline.find(plan_in(folder, more, "half"))


@pytest.mark.parametrize(
    ("walk_by", "ride_by"),
    [
        ("paths", "straight line"),
        pytest.param("on foot", "straight line", marks=pytest.mark.slow),
        pytest.param("straight line", "roads", marks=pytest.mark.slow),
        ("on foot", "roads"),
    ],
)
def test_ways_are_measured_as_the_plan_says(folder, judged, walk_by, ride_by):
    plots, _ = small_district()
    west, south, east, north = plots.total_bounds
    middle = (south + north) / 2 + 60
    road = shapely.LineString([(west - 900, middle), (east + 900, middle)])
    drawn = gpd.GeoDataFrame({"kind": ["road"]}, geometry=[road], crs=plots.crs)
    drawn.to_file(folder / "features.gpkg", driver="GPKG")
    plan = plan_in(folder, f'walk_by = "{walk_by}"\nride_by = "{ride_by}"\nrelief = false', "ways")
    text = plan.read_text(encoding="utf-8")
    text = text.replace("[elevation]\nv", 'features = "features.gpkg"\n[elevation]\nv')
    plan.write_text(text, encoding="utf-8")
    told, usual = pipeline.find(plan).visits, judged[0].visits
    made = told.visits[told.visits["visit_status"] == "planned"]
    assert len(made) >= (usual.visits["visit_status"] == "planned").sum() - 1
    rode = told.days[told.days["day_ride_km"] > 0]
    assert len(rode) > 0
    # On a road along the plots who rides walks the rest; across the land nobody does.
    assert bool(rode["day_walk_min"].sum() > len(rode)) is (ride_by == "roads")
    # With roads, plots go to others than before; along paths the recorded speed holds as well.
    on_foot = [
        one.days.loc[one.days["agent_id"] == "T2", "day_walk_min"].sum() for one in (told, usual)
    ]
    assert ride_by == "roads" or on_foot[0] < on_foot[1] + (walk_by == "paths")


def test_a_road_that_is_closed_in_the_rains_is_gone_round_on_foot(folder):
    plots, _ = small_district()
    west, south, east, north = plots.total_bounds
    middle = (south + north) / 2
    lines = [[(west - 900, y), (east + 900, y)] for y in (middle, north + 700)]
    lines.append([(west - 900, middle), (west - 900, north + 700)])
    drawn = gpd.GeoDataFrame(
        {"kind": ["road"] * 3, "name": ["valley road", "ridge road", "link"]},
        geometry=[shapely.LineString(line) for line in lines], crs=plots.crs,
    )  # fmt: skip
    drawn.to_file(folder / "two_roads.gpkg", driver="GPKG")
    agents = "\n".join([HEAD, FILES["agents"][1].replace(",20,0,", ",20,20,").replace(",8,", ",,")])
    (folder / "riders.csv").write_text(agents, encoding="utf-8")

    def days(name, closed):
        more = f"roads_closed = {closed}" if closed else ""
        plan = plan_in(folder, f'ride_by = "roads"\nrelief = false\n{more}', name)
        text = plan.read_text(encoding="utf-8")
        text = text.replace("[elevation]\nv", 'features = "two_roads.gpkg"\n[elevation]\nv')
        text = text.replace('"agents.csv"', '"riders.csv"')
        for key in ("leave", "by_hand", "trips"):
            text = text.replace(f'{key} = "{key}.csv"\n', "")
        plan.write_text(text, encoding="utf-8")
        told = pipeline.find(plan).visits
        rode = told.visits[told.visits["visit_ride_km"] > 0]
        rode = rode[rode["visit_day"] >= onset]
        heads = rode[["roadhead_longitude_deg", "roadhead_latitude_deg"]].to_numpy().T
        stays.append(gpd.GeoSeries(gpd.points_from_xy(*heads, crs=4326)).to_crs(plots.crs))
        return told.days

    stays, onset = [], date(2026, 3, 15)
    usual, found = days("open", []), days("closed", ["valley road"])
    # In the rains what is ridden stays on a road that is open.
    for heads, roads in zip(stays, (drawn, drawn[1:]), strict=True):
        assert len(heads)
        assert heads.distance(roads.union_all()).max() < 0.1
    dry, wet = (
        [
            one.loc[(one["visit_day"] >= onset) == rains, "day_walk_min"].sum()
            for one in (usual, found)
        ]
        for rains in (False, True)
    )
    assert dry[0] == dry[1] > 0
    # At least to one plot: some seven hundred metres and back, at three kilometres an hour.
    assert wet[1] > wet[0] + 2 * 14
    with pytest.raises(InputError, match="is the name of no road"):
        days("unknown", ["hill road"])
    with pytest.raises(InputError, match="closes every road"):
        days("every", ["valley road", "ridge road", "link"])


def test_nobody_rides_further_than_the_fuel_lasts(folder):
    agent = FILES["agents"][1].replace(",3.1,40,8,", ",2,0.06,8,")
    (folder / "little_fuel.csv").write_text(f"{HEAD}\n{agent}", encoding="utf-8")
    plan = plan_in(folder, "relief = false", "fuel")
    text = plan.read_text(encoding="utf-8").replace('"agents.csv"', '"little_fuel.csv"')
    for key in ("leave", "by_hand", "trips"):
        text = text.replace(f'{key} = "{key}.csv"\n', "")
    plan.write_text(text, encoding="utf-8")
    told = pipeline.find(plan).visits
    # Two litres on 100 km.
    assert 0 < told.days["day_ride_km"].sum() <= 3
    assert "fuel" in set(told.left_out["visit_left_out"])


def test_ways_on_roads_that_nobody_drew_stop_the_run(folder):
    with pytest.raises(InputError, match=r"goes by roads, and files\.features has none"):
        pipeline.find(plan_in(folder, 'ride_by = "roads"', "roads"))
