"""Demonstration plots in a run: every file read, ways measured three ways, conflicts told."""

from __future__ import annotations

import json

import geopandas as gpd
import pytest
import shapely

from districtplan import pipeline
from districtplan.errors import InputError
from tests.conftest import small_district, write_district
from tests.support import districtplan

WRITES = ("tables", "demos")
FOUND_ONCE = True

DEMOS = """\
[demos]
plots = 2
consent = "not asked"
gathered_water = "taken"
reach_m = 700
answers = "answers.csv"
homesteads = "homesteads.csv"
shown = "shown.csv"
weight_women = 2
{more}
[[demos.messages]]
name = "rows"
treatments = ["seed", "rows"]
[[demos.messages]]
name = "strips"
treatments = ["grass"]
barrier = true
"""
FILES = {
    "answers": [
        "plot_id,tenure,seasons_since_beans,sex,youth,reached",
        "K00,yes,3,female,no,no",
        "K05,yes,1,male,no,no",
        "K99,yes,,,,",
    ],
    "homesteads": [
        "farmer_id,longitude_deg,latitude_deg,sex",
        "K01,33.0001,-1.7999,female",
        "K02,east,-1.8,",
    ],
    "shown": ["plot_id,message,seasons_ago,seasons_shown", "K04,strips,1,1", "K03,rows,1,1"],
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Twelve plots, a road through them, and the files of demonstration plots."""
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("demos"), plots, raster)
    for name, lines in FILES.items():
        (path.parent / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
    west, south, east, north = plots.total_bounds
    road = shapely.LineString([(west, (south + north) / 2 + 60), (east, (south + north) / 2 + 60)])
    drawn = gpd.GeoDataFrame({"kind": ["road"]}, geometry=[road], crs=plots.crs)
    drawn.to_file(path.parent / "features.gpkg", driver="GPKG")
    text = path.read_text(encoding="utf-8")
    text = text.replace("[elevation]\nv", 'features = "features.gpkg"\n[elevation]\nv')
    path.write_text(text, encoding="utf-8")
    return path.parent


def found(folder, more="", name="plan"):
    plan = folder / f"{name}-demos.toml"
    text = (folder / "plan.toml").read_text(encoding="utf-8") + DEMOS.format(more=more)
    plan.write_text(text, encoding="utf-8")
    return plan, pipeline.find(plan)


def test_all_that_is_named_is_read_and_used(folder, tmp_path):
    plan, results = found(folder)
    told = results.demos
    assert len(told.chosen) == 2
    # A barrier that hasn't stood for its seasons stays; rows of last season rest; so do beans.
    kept = told.chosen.set_index("plot_id").loc["K04"]
    assert (kept["demo_why"], kept["demo_message"]) == ("kept", "strips")
    reasons = told.plots.set_index("plot_id")["demo_reasons"]
    assert reasons["K03"] == ("shown too lately",)
    assert reasons["K05"] == ("beans too lately",)
    assert told.farmers == 12
    assert {name: len(given.set_aside) for name, given in results.beside.items()} == {
        "answers": 1, "homesteads": 1, "shown": 0,
    }  # fmt: skip
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    run = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    assert run["counts"]["demos"] == 2
    assert {entry["name"] for entry in run["inputs"]} >= {f"{name}.csv" for name in FILES}
    assert (tmp_path / "run" / "demos.csv").exists()
    assert (tmp_path / "run" / "answers_set_aside.csv").exists()
    done = districtplan("check", plan)
    assert "homesteads.csv row 2" in done.stdout


def test_ways_are_measured_as_the_plan_says(folder):
    reached = {}
    for way in ("straight line", "paths", "on foot"):
        more = f'reach_by = "{way}"\n' + ("reach_min = 14\n" if way == "on foot" else "")
        _, results = found(folder, more, way.replace(" ", "-"))
        reached[way] = results.demos.farmers_reached
        assert results.demos.cover.gap == 0
    # 700 m on the road, more than 583 m off it; 14 minutes at 5 km/h are 1,170 m.
    assert reached["straight line"] <= reached["paths"] <= reached["on foot"]
    assert reached["straight line"] < reached["on foot"]


def test_a_conflict_ends_no_run_and_is_told_first(folder, tmp_path):
    plan, results = found(folder, 'apart_m = 5000\nforced_in = ["K00"]')
    assert results.demos.cover is None
    kinds = set(results.demos.conflicts["demo_condition"])
    assert kinds == {"apart", "count"}
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0
    assert "These can't be kept together" in done.stderr
    assert (tmp_path / "run" / "demos" / "conflicts.csv").exists()


def test_what_nobody_told_stops_the_run(folder):
    plan = folder / "consent-demos.toml"
    text = (folder / "plan.toml").read_text(encoding="utf-8") + DEMOS.format(more="")
    plan.write_text(text.replace('consent = "not asked"\n', ""), encoding="utf-8")
    with pytest.raises(InputError, match=r"names no files\.enrolment"):
        pipeline.find(plan)


def test_a_plan_without_them_has_none(folder):
    results = pipeline.find(folder / "plan.toml")
    assert results.demos is None
