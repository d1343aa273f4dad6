"""Catchments of a chosen size: what they hold, what drains in, and that they part the land."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from districtplan import water
from districtplan.handbook import packaged
from tests.conftest import plan_of, square, surface_raster
from tests.water.test_water_plots import plots_of


def two_valleys(x, y):
    """Valleys that run south on both sides of a ridge at x = 0."""
    return 1800 + 0.05 * y + 0.2 * np.minimum(np.abs(x - 305), np.abs(x + 305))


def parted(raster, polygons, least_ha):
    plan = plan_of(water={"catchment_min_area_ha": least_ha})
    table, _, found = water.trace(plots_of(polygons), raster, plan, packaged())
    return table["catchment"].tolist(), found.set_index("catchment")


@pytest.fixture(scope="module")
def raster():
    return surface_raster(two_valleys, cells=120)


def test_plots_on_both_sides_of_a_ridge_are_in_two_catchments(raster):
    west, west_too, east = (square(raster, at, 100) for at in (-250, -350, 250))
    (one, same, other), found = parted(raster, [west, west_too, east], 40.0)
    assert one == same != other
    assert found.loc[one, "catchment_plots"] == 2
    assert found.loc[other, "catchment_plots"] == 1
    shapes = found["geometry"]
    assert shapely.contains(shapes[one], west)
    assert shapely.contains(shapes[other], east)
    assert shapely.area(shapely.intersection(shapes[one], shapes[other])) == 0


def test_areas_are_those_of_the_shapes_and_water_is_handed_on(raster):
    polygons = [square(raster, -250, at) for at in range(-450, 500, 100)]
    names, found = parted(raster, polygons, 5.0)
    assert found["geometry"].is_unique
    assert all(shapely.is_valid(found["geometry"]))
    on_map = shapely.area(found["geometry"].to_numpy(dtype=object)) / 10_000
    assert on_map == pytest.approx(found["catchment_area_ha"].to_numpy(), rel=1e-6)
    # Down the valley each takes in all above it: the land that drains through its lowest cell.
    large = found["catchment_area_ha"] >= 5
    down = [name for name in dict.fromkeys(reversed(names)) if large[name]]
    assert len(down) > 2
    for above, below in itertools.pairwise(down):
        whole = found.loc[above, ["catchment_area_ha", "catchment_run_on_ha"]].sum()
        assert found.loc[below, "catchment_run_on_ha"] >= whole - 1e-9
    assert (found.loc[down, "catchment_area_ha"] < 3 * 5.0).all()


def test_the_size_asked_for_counts_and_none_is_asked_for_by_default(raster):
    polygons = [square(raster, -250, at) for at in range(-450, 500, 100)]
    assert len(parted(raster, polygons, 5.0)[1]) > len(parted(raster, polygons, 40.0)[1])
    table, _, found = water.trace(plots_of(polygons), raster, plan_of(), packaged())
    assert found.empty
    assert table["catchment"].isna().all()


def test_the_size_of_blocks_changes_nothing(raster, monkeypatch):
    polygons = [square(raster, at, 100) for at in (-250, 250)]
    names, whole = parted(raster, polygons, 10.0)
    monkeypatch.setattr(water.plots, "BLOCK_CELLS", 50)
    again, blocks = parted(raster, polygons, 10.0)
    assert names == again
    assert whole.drop(columns="geometry").equals(blocks.drop(columns="geometry"))
    assert shapely.equals(whole["geometry"].to_numpy(), blocks["geometry"].to_numpy()).all()


def test_water_leaves_a_hollow_over_its_pass_and_stays_in_the_catchment_below():
    def hollow(x, y):
        return two_valleys(x, y) - 15 * (np.hypot(x + 305, y - 100) < 60)

    raster = surface_raster(hollow, cells=120)
    names, found = parted(raster, [square(raster, -305, 100), square(raster, -305, -300)], 60.0)
    # The hollow's bottom is no end of water: one catchment from the head of the valley to its foot.
    assert names[0] == names[1]
    assert found.loc[names[0], "catchment_area_ha"] > 40
