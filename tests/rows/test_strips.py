"""Strips along flow lines: where they lie, where they can't be placed, and that rows stop there."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import handbook, rows, water
from tests.conftest import measured, plan_of, square, surface_raster
from tests.rows.fields import fields
from tests.rows.test_lay import MIDDLE, NOTHING, ZONE, ground_of, plots_of
from tests.support import renumbered

SCALE = 0.9996


def line(*points):
    return shapely.affinity.translate(shapely.LineString(points), *MIDDLE)


def ground_with(plots, slope=20.0, cell=10.0):
    cells = 10_000 * plots["area_ha"] / cell**2
    return ground_of(len(plots), slope=slope).assign(cells=cells.to_numpy(), raster_share=1.0)


def stripped(surface, drawn=NOTHING, book=None, **sections):
    """Trace water over a surface, and give the strip of a square plot in the raster's middle."""
    raster = surface_raster(surface)
    shape, plan, book = square(raster), plan_of(**sections), book or handbook.packaged()
    plots = plots_of([shape], shape.bounds[:2])
    ground, _ = measured(raster, [shape], plan)
    _, lines, _ = water.trace(plots, raster, plan, book)
    flow = lines["geometry"].to_numpy(dtype=object)
    assert shapely.intersects(flow, shape).any()
    running = rows.Running(flow, drawn, raster.grid.crs)
    return rows.strips(plots, ground, running, raster, plan, book)[0], shape


def valley(bearing, aside, sides):
    """A plane of 10 % that falls to a bearing's other end, and what its sides add."""
    turn = np.radians(bearing)

    def surface(x, y):
        across = (x - aside) * np.cos(turn) - y * np.sin(turn)
        return 1800 + 0.1 * (x * np.sin(turn) + y * np.cos(turn)) + sides(across)

    return surface


def bottom(shape, bearing, aside):
    turn = np.radians(bearing)
    way = 300 * np.array([np.sin(turn), np.cos(turn)])
    start = np.add(shapely.get_coordinates(shape.centroid)[0], [aside, 0])
    return shapely.LineString([start - way, start + way])


def vee(across):
    return 0.2 * np.abs(across)


def wave(across):
    return 0.6 * (1 - np.cos(2 * np.pi * across / 140))


@pytest.mark.parametrize("aside", [0.0, 5.0, 2.5])
@pytest.mark.parametrize("bearing", [0, 20, 45, 70, 110])
def test_a_strip_lies_along_the_bottom_of_its_valley(bearing, aside):
    """Bottoms on the edge of a cell, on its middle, and between."""
    found, shape = stripped(valley(bearing, aside, vee))
    inside = shapely.intersection(found, shape)
    true = shapely.intersection(bottom(shape, bearing, aside).buffer(2), shape)
    assert isinstance(inside, shapely.Polygon)
    assert shapely.hausdorff_distance(inside, true) < 5


@pytest.mark.parametrize("sides", [wave, np.zeros_like])
@pytest.mark.parametrize("bearing", [0, 20, 45])
def test_no_strip_is_placed_beside_a_valley_or_on_a_plane(bearing, sides):
    assert stripped(valley(bearing, 0.0, sides))[0].is_empty


def test_an_error_that_may_have_made_the_hollow_leaves_its_place_open():
    assert not stripped(valley(0, 5.0, vee))[0].is_empty
    rough = {"vertical_error_m": 3.0, "error_correlation_m": 10.0}
    assert stripped(valley(0, 5.0, vee), elevation=rough)[0].is_empty


def test_a_stream_that_is_drawn_stands_in_for_the_strip():
    _, shape = stripped(valley(0, 5.0, vee))
    stream = bottom(shape, 0, 5.0).buffer(1)
    assert stripped(valley(0, 5.0, vee), np.array([stream], dtype=object))[0] is None


@pytest.mark.parametrize(("key", "value"), [("strip_width_m", 8.0), ("strip_place_max_m", 1.0)])
def test_keys_change_strips(key, value):
    one, other = (stripped(valley(0, 5.0, vee), water=keys)[0] for keys in ({}, {key: value}))
    assert one.area != other.area


@pytest.mark.parametrize(
    ("number", "value"),
    [("hollow_side_min_pct", 30.0), ("hollow_sigmas", 1e6), ("hollow_share_min", 1.01)],
)
def test_each_number_of_a_hollow_matters(number, value):
    surface, error = valley(0, 5.0, vee), {"vertical_error_m": 0.1, "error_correlation_m": 30.0}
    assert not stripped(surface, elevation=error)[0].is_empty
    book = renumbered("flow_limits", number, value)
    assert stripped(surface, book=book, elevation=error)[0].is_empty


@settings(max_examples=60, deadline=None)
@given(fields, st.floats(0, 179.9), st.integers(0, 10**6))
def test_no_row_crosses_a_flow_line_or_its_strip(shape, bearing, seed):
    rng = np.random.default_rng(seed)
    flow = line(*(rng.uniform(-20, 120, 2) for _ in range(4)))
    plots = plots_of([shape])
    ground = ground_with(plots, slope=15.0).assign(row_bearing_grid_deg=bearing)
    found = np.array([flow.buffer(2 * SCALE, quad_segs=4)], dtype=object)
    table, _, laid = rows.lay(plots, ground, ZONE, rows.Clear(NOTHING, found), plan_of())
    drawn = rows.draw(laid, 10**6)[0]["geometry"].to_numpy()
    if len(drawn):
        assert not shapely.intersects(drawn, flow).any()
        # A round end is drawn with corners: 3 % of its radius at most.
        assert (shapely.distance(drawn, flow) >= 0.97 * 2 * SCALE - 1e-6).all()
    outline = plots["geometry"][0]
    strip = 0.0 if found[0] is None else shapely.intersection(found[0], outline).area
    assert table["flow_strip_m2"][0] == pytest.approx(strip / SCALE**2, abs=1e-3)
