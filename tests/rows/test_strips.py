"""Strips along flow lines: where they lie, where they can't be placed, and that rows stop there."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import rows
from tests.conftest import plan_of
from tests.rows.fields import fields
from tests.rows.test_lay import MIDDLE, NOTHING, ZONE, ground_of, plots_of

SQUARE = shapely.box(0, 0, 100, 100)
SCALE = 0.9996


def line(*points):
    return shapely.affinity.translate(shapely.LineString(points), *MIDDLE)


def ground_with(plots, slope=20.0, cell=10.0):
    cells = 10_000 * plots["area_ha"] / cell**2
    return ground_of(len(plots), slope=slope).assign(cells=cells.to_numpy(), raster_share=1.0)


def stripped(shapes, lines, plan=None, **ground):
    plots = plots_of(shapes)
    return rows.strips(
        plots, ground_with(plots, **ground), np.array(lines, dtype=object), ZONE, plan or plan_of()
    )


def test_a_strip_lies_on_both_sides_of_its_line():
    down = line((50, -500), (50, 500))
    (found,) = stripped([SQUARE], [down])
    inside = shapely.intersection(found, shapely.box(*MIDDLE, *np.add(MIDDLE, 100)))
    assert inside.area == pytest.approx(4 * SCALE * 100)
    assert shapely.difference(inside, down.buffer(2 * SCALE + 1e-9)).area < 1e-6
    # Of a line of a kilometre only what is near the plot is drawn.
    assert found.length < 250


def test_only_plots_that_it_reaches_have_one():
    beside, at_edge = line((-2.1, -9), (-2.1, 200)), line((-1.5, -9), (-1.5, 200))
    assert stripped([SQUARE], [beside])[0] is None
    (found,) = stripped([SQUARE], [at_edge])
    inside = shapely.intersection(found, shapely.box(*MIDDLE, *np.add(MIDDLE, 100)))
    assert inside.area == pytest.approx((2 * SCALE - 1.5) * 100, rel=1e-3)
    assert stripped([SQUARE], NOTHING)[0] is None


def test_lines_that_meet_are_one_strip():
    meeting = [line((20, 120), (50, 50)), line((80, 120), (50, 50)), line((50, 50), (50, -20))]
    (found,) = stripped([SQUARE], meeting)
    assert isinstance(found, shapely.Polygon)


@pytest.mark.parametrize(
    ("error", "slope", "cell", "placed"),
    [
        (0.0, 20.0, 10.0, True),  # 5 m
        (0.2, 20.0, 10.0, True),  # 5 + 1 m
        (0.25, 20.0, 10.0, False),
        (0.2, 10.0, 10.0, False),  # 5 + 2 m
        (0.2, 10.0, 5.0, True),
        (0.0, 20.0, 30.0, False),
        (0.0, 0.0, 5.0, True),
        (0.1, 0.0, 5.0, False),
    ],
)
def test_a_strip_is_placed_only_where_its_line_is_known(error, slope, cell, placed):
    plan = plan_of(elevation={"vertical_error_m": error}, water={"strip_place_max_m": 6.0001})
    (found,) = stripped([SQUARE], [line((50, -50), (50, 150))], plan, slope=slope, cell=cell)
    assert found is not None
    assert found.is_empty != placed
    assert stripped([SQUARE], [line((500, 0), (500, 9))], plan, slope=slope, cell=cell)[0] is None


@pytest.mark.parametrize(("key", "value"), [("strip_width_m", 8.0), ("strip_place_max_m", 1.0)])
def test_keys_change_strips(key, value):
    lines = [line((50, -50), (50, 150))]
    (one,), (other,) = (
        stripped([SQUARE], lines, plan_of(water=keys)) for keys in ({}, {key: value})
    )
    assert one.area != other.area


@settings(max_examples=60, deadline=None)
@given(fields, st.floats(0, 179.9), st.integers(0, 10**6))
def test_no_row_crosses_a_flow_line_or_its_strip(shape, bearing, seed):
    rng = np.random.default_rng(seed)
    flow = line(*(rng.uniform(-20, 120, 2) for _ in range(4)))
    plots = plots_of([shape])
    ground = ground_with(plots, slope=15.0).assign(row_bearing_grid_deg=bearing)
    found = rows.strips(plots, ground, np.array([flow], dtype=object), ZONE, plan_of())
    table, _, laid = rows.lay(plots, ground, ZONE, rows.Clear(NOTHING, found), plan_of())
    drawn = rows.draw(laid, 10**6)[0]["geometry"].to_numpy()
    if len(drawn):
        assert not shapely.intersects(drawn, flow).any()
        # A round end is drawn with corners: 3 % of its radius at most.
        assert (shapely.distance(drawn, flow) >= 0.97 * 2 * SCALE - 1e-6).all()
    outline = plots["geometry"][0]
    strip = 0.0 if found[0] is None else shapely.intersection(found[0], outline).area
    assert table["flow_strip_m2"][0] == pytest.approx(strip / SCALE**2, abs=1e-3)


def test_the_order_of_plots_and_lines_changes_nothing():
    shapes = [SQUARE, shapely.box(0, 0, 40, 90), shapely.box(0, 0, 70, 30)]
    lines = [line((0, 0), (90, 80)), line((30, -9), (30, 99)), line((300, 0), (310, 20))]
    one = stripped(shapes, lines)
    plots = plots_of(shapes)
    ground = ground_with(plots)
    other = rows.strips(plots[::-1], ground, np.array(lines[::-1], dtype=object), ZONE, plan_of())[
        ::-1
    ]
    assert shapely.equals(one, other).all()
    pd.testing.assert_frame_equal(ground, ground_with(plots))
