"""Which measures a plot may bear: edges and gaps of slopes, soil known and not."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.conservation.treatment import REASONS, reasons
from tests.conftest import plan_of
from tests.conservation.cases import (
    DEEP,
    FREE,
    MEASURES,
    land,
    plan_with,
    plots_of,
    practice_of,
)
from tests.support import SOIL


def told(measure: str, slope, plan=None, practice=None, **columns):
    plan = plan or plan_with()
    plots = plots_of(slope, plan=plan, practice=practice, **columns)
    return reasons(MEASURES[measure], land(plots, plan, practice), plan).tolist()


@pytest.mark.parametrize(
    ("measure", "slopes", "expected"),
    [
        ("contour_ridges", [0.9, 1, 25, 25.1], ["too_gentle", "", "", "too_steep"]),
        ("grass_strips", [1.9, 2, 49.9, 50], ["too_gentle", "", "", "annual_crops_end"]),
        ("trash_lines", [2, 12, 12.1], ["", "", "too_steep"]),
        ("hillside_ditch", [11.9, 12, 49.9, 50], ["too_gentle", "", "", "annual_crops_end"]),
        ("retention_bund", [4.9, 5, 20, 20.1], ["too_gentle", "", "", "too_steep"]),
        ("bench_terraces", [12.2, 12.3, 46.6, 46.7], ["too_gentle", "", "", "too_steep"]),
        ("permanent_cover", [29.9, 30, 55, 90], ["too_gentle", "", "", ""]),
    ],
)
def test_edges_of_slopes(measure, slopes, expected):
    assert told(measure, slopes) == expected


def test_a_measured_slope_decides():
    assert told("hillside_ditch", 11.0, slope_measured_pct=13.0) == [""]


@pytest.mark.parametrize(("depth", "reason"), [(0.99, "soil_shallow"), (1.0, "")])
@pytest.mark.parametrize("measure", ["retention_bund", "bench_terraces"])
def test_deep_soil(measure, depth, reason):
    assert told(measure, 15.0, plan_with(soil_depth_m=depth)) == [reason]


@pytest.mark.parametrize("measure", ["retention_bund", "bench_terraces"])
def test_what_holds_water_back_needs_soil_that_is_known_to_drain(measure):
    assert told(measure, 15.0, plan_with(soil=SOIL)) == ["soil_not_known"]
    assert told(measure, 15.0, plan_with(soil_depth_m=None)) == ["soil_not_known"]
    poor = plan_with(soil=SOIL | {"drainage": "poor"})
    assert told(measure, 15.0, poor) == ["drains_poorly"]
    assert told(measure, 15.0, poor, soil_drainage="free") == [""]
    assert told(measure, 15.0, plan_with(), soil_depth_m=0.6) == ["soil_shallow"]


def test_ditches_are_offered_where_depth_is_not_known_but_not_on_rock():
    assert told("hillside_ditch", 15.0, plan_with(soil_depth_m=None)) == [""]
    assert told("hillside_ditch", 15.0, plan_with(soil_depth_m=0.4)) == ["soil_shallow"]


def test_nothing_is_dug_or_held_back_on_slipping_ground():
    for measure in ("hillside_ditch", "cut_off_drain", "retention_bund", "bench_terraces"):
        assert told(measure, 15.0, slipping_ground=1, run_on_area_ha=1.0) == ["slipping_ground"]
    assert told("grass_strips", 15.0, slipping_ground=1) == [""]


@pytest.mark.parametrize(
    ("condition", "reason"), [("good", "there_already"), ("poor", ""), ("broken", "")]
)
def test_what_stands_there_sound_is_not_proposed_again(condition, reason):
    there = practice_of(rows="across", structure="stone lines", condition=condition)
    assert told("stone_lines", 15.0, practice=there) == [reason]
    assert told("grass_strips", 15.0, practice=there) == [""]


def test_drains_and_waterways_are_for_water():
    assert told("cut_off_drain", 15.0) == ["no_run_on"]
    assert told("cut_off_drain", 15.0, run_on_area_ha=0.2) == [""]
    assert told("grassed_waterway", 15.0, flow_line_length_m=9.9) == ["no_flow_line"]
    assert told("grassed_waterway", 15.0, flow_line_length_m=10.0) == [""]


def test_where_any_flow_line_crosses_a_plot_without_one_is_dry():
    plan = plan_of(soil=FREE, conservation=DEEP, water={"crossing_min_m": 0.0})
    for inside_m, waterway, bund in ((0.0, "no_flow_line", ""), (0.1, "", "gathered_water")):
        assert told("grassed_waterway", 15.0, plan, flow_line_length_m=inside_m) == [waterway]
        assert told("retention_bund", 15.0, plan, flow_line_length_m=inside_m) == [bund]


@pytest.mark.parametrize(("inside_m", "reason"), [(9.9, ""), (10.0, "gathered_water")])
@pytest.mark.parametrize("measure", ["retention_bund", "bench_terraces"])
def test_nothing_holds_water_back_where_water_gathers(measure, inside_m, reason):
    assert told(measure, 15.0, flow_line_length_m=inside_m) == [reason]
    assert told("grass_strips", 15.0, flow_line_length_m=inside_m) == [""]


def test_every_slope_has_a_measure_and_every_reason_is_declared():
    slopes = np.arange(2, 120, 0.1)
    plan = plan_with(soil=SOIL, soil_depth_m=None)
    table = land(plots_of(slopes, plan=plan), plan)
    found = np.array([reasons(measure, table, plan) for measure in MEASURES.values()])
    assert (found == "").any(axis=0).all()
    assert set(found.ravel()) <= {"", *REASONS}
