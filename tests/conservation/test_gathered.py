"""Where gathered water has no outlet rows wait, by the land alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS
from shapely import affinity

from districtplan import conservation
from districtplan.handbook import packaged
from tests.conftest import plan_of

BOOK, PLAN = packaged(), plan_of()
PLOTS = np.array([shapely.box(0, 0, 60, 50), shapely.box(0, 60, 60, 110)], dtype=object)
DOWN = shapely.LineString([(30, 120), (30, -20)])
REACH_M = PLAN.rows.outlet_reach_m + BOOK.number("work_site_limits", "link_m")


def waits(*drawn, flow=(DOWN,), length=(50.0, 50.0), dry=()):
    kinds, shapes = zip(*drawn, strict=True) if drawn else ((), ())
    features = pd.DataFrame({"source_row": range(len(drawn)), "kind": list(kinds)})
    features["geometry"] = np.array(shapes, dtype=object)
    terrain = conservation.Terrain(
        PLOTS,
        features,
        np.array(flow, dtype=object),
        CRS.from_epsg(32736),
        CRS.from_epsg(32736),
        None,
    )
    plots = pd.DataFrame({"plot_id": ["low", "high"], "flow_line_length_m": length})
    return conservation.waiting(plots, terrain, PLAN, BOOK, dry)


def test_where_nothing_is_drawn_every_plot_crossed_waits():
    assert waits() == {"low", "high"}


@pytest.mark.parametrize("kind", ["stream", "waterway", "ditch"])
def test_what_is_drawn_along_the_water_takes_it(kind):
    assert waits((kind, DOWN)) == frozenset()
    beside = affinity.translate(DOWN, REACH_M - 0.1, 0)
    assert waits((kind, beside)) == frozenset()
    far = affinity.translate(DOWN, REACH_M + 0.1, 0)
    assert waits((kind, far)) == {"low", "high"}


@pytest.mark.parametrize("kind", ["path", "bank", "grass_strip", "house"])
def test_what_holds_no_water_of_a_hillside_does_not(kind):
    assert waits((kind, DOWN)) == {"low", "high"}


def test_an_outlet_in_one_plot_leaves_the_other_waiting():
    assert waits(("waterway", shapely.LineString([(30, 50), (30, -20)]))) == {"high"}


@pytest.mark.parametrize(("off", "late"), [(-0.5, {"high"}), (0.5, {"low", "high"})])
def test_water_crosses_from_the_plan_s_length(off, late):
    least = PLAN.water.crossing_min_m + off
    assert waits(length=(least, 50.0)) == late
    # A ditch that leaves so much of the flow line below it leaves it to the plot.
    short = shapely.LineString([(30, 120), (30, least + REACH_M)])
    assert waits(("ditch", short), length=(50.0, 50.0)) == late - {"high"}


def test_a_plot_without_a_flow_line_never_waits():
    assert waits(length=(np.nan, 0.0)) == frozenset()


def test_what_staff_recorded_stands_before_what_the_heights_show():
    assert waits(dry=["high"]) == {"low"}
