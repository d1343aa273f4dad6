"""What a run writes of the works on hillsides."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.conservation.order import WORKS


@pytest.fixture(scope="module")
def lines(demo_folder):
    return gpd.read_file(demo_folder / "run" / "plots.gpkg", layer="structure_lines")


@pytest.fixture(scope="module")
def outlets(demo_folder):
    """What lines may end at: outlets that are there, and waterways to build."""
    path = demo_folder / "run" / "plots.gpkg"
    there = gpd.read_file(path, layer="outlets")
    dug = gpd.read_file(path, layer="waterways")
    return pd.concat([there[["work_site", "geometry"]], dug[["work_site", "geometry"]]])


@pytest.fixture(scope="module")
def order(demo_folder):
    return pd.read_csv(demo_folder / "run" / "work_order.csv")


def faults(lines, outlets):
    """What is wrong with lines as written, found without the code that draws them."""
    wrong = []
    courses = lines[lines.geometry.geom_type == "LineString"]
    carrying = courses[courses["structure_outlet"].notna()]
    for _, line in carrying.iterrows():
        end = shapely.Point(line.geometry.coords[-1])
        mine = outlets[outlets["work_site"] == line["work_site"]]
        if not (mine.distance(end) < 0.05).any():
            wrong.append("it carries water to a place without an outlet")
        if not line["structure_fall_m"] > 0:
            wrong.append("it rises towards its outlet")
    for _, own in courses.groupby("work_site"):
        shapes = own.geometry.to_numpy()
        one, other = shapely.STRtree(shapes).query(shapes, predicate="crosses")
        wrong += ["it crosses another"] * int((one < other).sum())
    return wrong


def test_lines_of_the_demo_are_sound(lines, outlets):
    assert len(lines) > 200
    assert lines["structure_outlet"].notna().sum() >= 3
    assert faults(lines, outlets) == []


@pytest.mark.parametrize("fault", ["outlet", "rises", "cross"])
def test_a_fault_in_what_is_written_is_seen(lines, outlets, fault):
    some = lines[lines.geometry.geom_type == "LineString"].copy()
    carrying = some.index[some["structure_outlet"].notna()]
    if fault == "outlet":
        short = shapely.LineString(some.geometry[carrying[0]].coords[:-1])
        some.loc[carrying[0], "geometry"] = short
        assert faults(some, outlets) == ["it carries water to a place without an outlet"]
    elif fault == "rises":
        some.loc[carrying[0], "structure_fall_m"] = 0.0
        assert faults(some, outlets) == ["it rises towards its outlet"]
    else:
        turned = some.geometry.iloc[[0]].rotate(90)
        some.loc[some.index[1], "geometry"] = turned.iloc[0]
        some.loc[some.index[1], "work_site"] = some["work_site"].iloc[0]
        assert "it crosses another" in faults(some, outlets)


def test_what_takes_water_comes_before_what_sends_it(order):
    place = {name: at for at, name in enumerate(WORKS)}
    assert set(order["work"]) == set(WORKS)
    for _, own in order.groupby("work_site", sort=False):
        assert own["work_step"].tolist() == list(range(1, len(own) + 1))
        assert own["work"].map(place).is_monotonic_increasing
        assert own["work"].iloc[-1] == "rows"
    early = order["work"].isin(WORKS[:3])
    assert np.array_equal(early, order["work_season"] == "the season before")


def test_days_are_known_and_whoever_carries_water_needs_agreement(order):
    built = order["work"].isin(["waterway", "cut_off_drain", "structures"])
    assert (order.loc[built, "work_person_days"] > 0).all()
    carries = order["work"].isin(["find_outlet", "outlet", "waterway", "cut_off_drain"])
    assert order.loc[carries, "work_agreed_by"].notna().all()
