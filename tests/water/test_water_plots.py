from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from districtplan import water
from districtplan.grid import Grid
from districtplan.handbook import packaged
from districtplan.water import plots as module
from tests.conftest import ArrayElevation, middle, plan_of, square, surface_raster
from tests.support import renumbered
from tests.water.flow import with_hollows


def valley(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A valley that falls south between crests 400 m away; the head is a crest too."""
    across = 400 - np.abs(np.abs(x - 5) - 400)
    return 1000 + 0.3 * across - 0.05 * np.abs(y - 700)


@pytest.fixture(scope="module")
def raster() -> ArrayElevation:
    return surface_raster(valley)


def plots_of(polygons: list) -> pd.DataFrame:
    outlines = np.array(polygons, dtype=object)
    return pd.DataFrame({"plot_id": [f"P{i}" for i in range(len(outlines))], "geometry": outlines})


def traced(raster, polygons, book=None, **keys):
    plan = plan_of(water=keys)
    table, lines, _ = water.trace(plots_of(polygons), raster, plan, book or packaged())
    return table, lines


def test_a_plot_over_the_valley_line_is_crossed_and_one_beside_it_is_not(raster):
    table, lines = traced(raster, [square(raster, 5, 0), square(raster, 200, 0)])
    over, beside = table.itertuples()
    assert over.water_flags == ("crossed_by_flow",)
    assert over.flow_line_length_m == pytest.approx(90)
    # The valley's bottom drains 80 columns of 10 m from its head at y = 695 to y = -45 and on.
    assert over.upslope_area_ha == pytest.approx(80 * 10 * (700 + 45) / 10_000, rel=0.02)
    assert over.run_on_area_ha == pytest.approx(80 * 10 * (700 - 45) / 10_000, rel=0.02)
    assert beside.water_flags == ()
    assert beside.flow_line_length_m == 0
    assert beside.upslope_area_ha < 0.5
    assert beside.run_on_area_ha < beside.upslope_area_ha
    assert (lines["upslope_area_ha"] >= 1).all()


def test_a_plot_is_crossed_from_the_plans_length_on(raster):
    polygons = [square(raster, 5, 0), square(raster, 200, 0)]
    inside = traced(raster, polygons)[0]["flow_line_length_m"][0]
    for least, flags in ((inside, ("crossed_by_flow",)), (inside + 1e-6, ())):
        table, _ = traced(raster, polygons, crossing_min_m=least)
        assert table["water_flags"].tolist() == [flags, ()]
    # Any length crosses with 0, but none doesn't.
    table, _ = traced(raster, polygons, crossing_min_m=0.0)
    assert table["water_flags"].tolist() == [("crossed_by_flow",), ()]


def test_lines_lead_down_the_flow_near_plots_only(raster):
    _, lines = traced(raster, [square(raster, 5, 0)])
    x0, y0 = middle(raster)
    xy = shapely.get_coordinates(lines["geometry"].to_numpy())
    assert len(lines) == 1
    assert np.allclose(xy[:, 0], x0 + 5)
    assert (np.diff(xy[:, 1]) < 0).all()
    assert xy[0, 1] == pytest.approx(y0 + 95, abs=10)
    assert xy[-1, 1] == pytest.approx(y0 - 105, abs=10)
    assert lines["upslope_area_at_least"].tolist() == [0]


def test_where_the_heights_end_upslope_the_area_is_at_least():
    raster = surface_raster(lambda x, y: 1000 + 0.1 * y + 0 * x)
    table, _ = traced(raster, [square(raster, 0, 400)])
    assert table["upslope_area_at_least"].tolist() == [1]
    assert table["water_flags"].tolist() == [("upslope_at_least",)]
    # 64 cells of the column above the lowest cell inside, the edge cell not among them.
    assert table["upslope_area_ha"][0] == pytest.approx(0.64)


def test_a_nearer_border_never_shows_more_and_says_so(raster):
    polygons = [square(raster, 5, -300), square(raster, 300, 100)]
    far, _ = traced(raster, polygons)
    near, _ = traced(raster, polygons, border_m=200)
    assert far["upslope_area_at_least"].tolist() == [0, 0]
    assert near["upslope_area_at_least"].tolist() == [1, 0]
    assert near["upslope_area_ha"][0] < far["upslope_area_ha"][0]
    assert near["upslope_area_ha"][1] == far["upslope_area_ha"][1]


def test_a_plot_without_heights_has_no_area(raster):
    z = raster.heights.copy()
    z[95:106, 95:106] = np.nan
    holed = ArrayElevation(raster.grid, z)
    table, _ = traced(holed, [square(raster, side=60), square(raster, 5, -200)])
    assert np.isnan(table["upslope_area_ha"][0])
    assert np.isnan(table["run_on_area_ha"][0])
    assert table["upslope_area_at_least"].tolist() == [1, 1]


def test_a_plot_partly_off_the_raster_is_at_least(raster):
    table, _ = traced(raster, [square(raster, 1000, 0)])
    assert table["upslope_area_at_least"].tolist() == [1]


def test_a_small_plot_takes_the_cells_that_it_touches(raster):
    table, _ = traced(raster, [square(raster, 5, 0, side=3), square(raster, 300, 0, side=3)])
    assert table["upslope_area_ha"][0] > 50
    assert 0.01 <= table["upslope_area_ha"][1] < 0.5


def test_neither_order_nor_grouping_nor_blocks_change_anything(rng, monkeypatch):
    raster = surface_raster(lambda x, y: 0 * x)
    raster = ArrayElevation(raster.grid, with_hollows(rng, 200))
    polygons = [square(raster, *rng.uniform(-800, 800, 2), side=60) for _ in range(40)]
    one, lines = traced(raster, polygons, border_m=5000)
    monkeypatch.setattr(module, "BLOCK_CELLS", 33)
    monkeypatch.setattr(module, "GROUP_CELLS", 70)
    again, same = traced(raster, polygons[::-1], border_m=5000)
    again = again.iloc[::-1].reset_index(drop=True)
    columns = [name for name in one if name != "plot_id"]
    pd.testing.assert_frame_equal(one[columns], again[columns])
    pd.testing.assert_frame_equal(lines, same)


def test_turned_by_a_right_angle_all_stays_the_same(rng):
    # Without flats and equal falls, which have an order of their own.
    raster = surface_raster(lambda x, y: 0 * x, cells=120)
    heights = with_hollows(rng, 120).astype(np.float32)
    turned = ArrayElevation(raster.grid, np.rot90(heights).copy())
    places = rng.integers(-40, 40, (25, 2)) * 10 + 5
    one, lines = traced(
        ArrayElevation(raster.grid, heights), [square(raster, x, y, 50) for x, y in places]
    )
    other, there = traced(turned, [square(raster, -y, x, 50) for x, y in places])
    columns = ["upslope_area_ha", "run_on_area_ha", "upslope_area_at_least", "water_flags"]
    pd.testing.assert_frame_equal(one[columns], other[columns])
    np.testing.assert_allclose(
        np.sort(shapely.length(lines["geometry"])), np.sort(shapely.length(there["geometry"]))
    )


def test_lengths_in_degrees_are_those_on_the_ground():
    cell = 1 / 10_800
    grid = Grid(30.0, 60.0, cell, cell, 120, 120, CRS.from_epsg(4326))
    column, row = np.meshgrid(np.arange(120.0), np.arange(120.0))
    heights = 1000 + 3 * np.abs(np.abs(column - 60) - 50) * -1 + 150 - row
    raster = ArrayElevation(grid, heights)
    x, y = grid.west + 60.5 * cell, grid.north - 60.5 * cell
    table, _ = traced(raster, [shapely.box(x - 5 * cell, y - 5 * cell, x + 5 * cell, y + 5 * cell)])
    # Ten cells of a third of a second along the meridian, 10.3 m each at 60° north.
    assert table["flow_line_length_m"][0] == pytest.approx(10 * 111_412 / 10_800, rel=1e-3)


def test_progress_rises_to_the_end(raster):
    told = []
    water.trace(plots_of([square(raster)]), raster, plan_of(), packaged(), told.append)
    assert told == sorted(told)
    assert told[-1] == 1


KEYS = {
    "flow_line_min_area_ha": (30.0, {"flow_line_length_m", "water_flags"}),
    "crossing_min_m": (95.0, {"water_flags"}),
    "border_m": (
        100.0,
        {
            "upslope_area_ha",
            "run_on_area_ha",
            "upslope_area_at_least",
            "water_flags",
            "slope_length_above_m",
            "slope_above_begins",
        },
    ),
}


@pytest.mark.parametrize("key", KEYS)
def test_each_key_changes_its_columns_and_no_others(raster, key):
    polygons = [square(raster, 5, 400), square(raster, 200, 0)]
    value, touched = KEYS[key]
    usual, _ = traced(raster, polygons)
    changed, _ = traced(raster, polygons, **{key: value})
    differs = {name for name in usual if not usual[name].equals(changed[name])}
    assert differs == touched


# The table says of hollows what the strips in rows go by, and their tests try it.
WATERS = [name for name in packaged().rows(module.TABLE)["name"] if not name.startswith("hollow_")]


@pytest.mark.parametrize("row", WATERS)
def test_each_number_of_the_handbook_matters(row, monkeypatch):
    ground = surface_raster(valley, cells=160)
    heights = ground.heights.copy()
    # A hollow that the southern edge cuts, with a low rim to the valley beside it.
    heights[150:, 20:40] = heights.min() - 3
    cut = ArrayElevation(ground.grid, heights)
    polygons = [square(cut, 5, 100), square(cut, -500, -700), square(cut, 300, -100)]
    number = packaged().number(module.TABLE, row)
    other = {"backwater_m": 60.0, "cells_min": 10_000.0, "border_m": 100.0}.get(row, number * 3)
    if row == "crossing_min_m":
        other = 95.0
    if row == "flow_line_min_area_ha":
        other = 45.0
    book = renumbered(module.TABLE, row, other)
    told = []
    for one in (packaged(), book):
        plan = plan_of().under(one)
        table, lines, _ = water.trace(plots_of(polygons), cut, plan, one)
        told.append(table.to_json() + lines["geometry"].astype(str).to_json())
    assert told[0] != told[1]
