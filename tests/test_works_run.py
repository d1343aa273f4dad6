"""What a run writes of the works on hillsides."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely


@pytest.fixture(scope="module")
def lines(demo_folder):
    return gpd.read_file(demo_folder / "run" / "plots.gpkg", layer="structure_lines")


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


NOWHERE = gpd.GeoDataFrame({"work_site": []}, geometry=[], crs=32738)


def test_lines_of_the_demo_are_sound(lines):
    assert len(lines) > 300
    assert faults(lines, NOWHERE) == []


@pytest.mark.parametrize("fault", ["outlet", "cross"])
def test_a_fault_in_what_is_written_is_seen(lines, fault):
    some = lines[lines.geometry.geom_type == "LineString"].copy()
    if fault == "outlet":
        some.loc[some.index[0], "structure_outlet"] = "waterway 1"
        assert "it carries water to a place without an outlet" in faults(some, NOWHERE)
        assert "it rises towards its outlet" in faults(some, NOWHERE)
    else:
        turned = some.geometry.iloc[[0]].rotate(90)
        some.loc[some.index[1], "geometry"] = turned.iloc[0]
        some.loc[some.index[1], "work_site"] = some["work_site"].iloc[0]
        assert "it crosses another" in faults(some, NOWHERE)


def test_no_outlet_is_known_in_the_demo_and_its_order_of_work_says_so(lines, order):
    # Nobody drew a stream or a waterway there: nothing may carry water.
    assert lines["structure_outlet"].isna().all()
    assert set(order["work"]) == {"find_outlet", "structures", "rows"}
    for _, own in order.groupby("work_site", sort=False):
        assert own["work_step"].tolist() == list(range(1, len(own) + 1))
        assert own["work"].iloc[-1] == "rows"
        assert "find_outlet" not in own["work"].tolist()[1:]
    assert order["work_person_days"].isna().all()
    agreed = order["work_agreed_by"].notna()
    assert np.array_equal(agreed, order["work"] == "find_outlet")
